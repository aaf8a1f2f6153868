/**
 * A file as a structure check sees it: bytes at a place, asked for only when they aren't in hand yet, and the numbers
 * that stand in them. Also the one kind of damage that no format's own rules show: an end that was never written.
 *
 * Invariants: nothing past the end is asked for, no answer is longer than what was asked for, and a place beyond the
 * end has no bytes. Not its job: what the bytes mean.
 */

import { assert } from "../../../shared/brand.ts";
import { type Bytes, bytes } from "../../../shared/units.ts";
import type { Want } from "./probe.ts";

/** A step of a check that asks for bytes on its way to a `T`. */
export type Asking<T> = Generator<Want, T, Uint8Array>;

/** bytes. Longest single want: much fewer of these fit into memory than files into a pass. */
export const wantBytesMost = 1024 * 1024;

/** bytes. Asked for at least: directories, chunks and boxes stand close together, and a card answers in pages. */
const wantBytesLeast = 4096;

/**
 * looks at a place in one file, each with one want or none. A film of ten hours in fragments of a second has 72,000
 * boxes, a JPEG some dozens of segments; a hostile file of empty parts would keep a core busy for minutes.
 */
const looksMost = 100_000;

/** Thrown at that bound, for `probe.ts` to catch: nothing is known of this file. */
export class GaveUp extends Error {}

export class Reading {
  readonly size: number;
  #looks = 0;
  #at = 0;
  #held: Uint8Array = new Uint8Array(0);

  constructor(size: Bytes) {
    this.size = size;
  }

  /**
   * The bytes at a place, fewer where the file ends.
   * @param ahead how many to ask for if they must be asked for: what will be wanted next
   */
  *bytes(at: number, length: number, ahead = wantBytesLeast): Asking<Uint8Array> {
    assert(length <= wantBytesMost, "a check asks for bytes in pieces");
    this.#looks += 1;
    if (this.#looks > looksMost) throw new GaveUp();
    const wanted = Math.min(length, this.size - at);
    if (!(at >= 0 && wanted > 0)) return this.#held.subarray(0, 0);
    const from = at - this.#at;
    if (from >= 0 && from + wanted <= this.#held.length) return this.#held.subarray(from, from + wanted);
    const asked = Math.min(Math.max(length, ahead), this.size - at);
    this.#held = yield { at: bytes(at), length: bytes(asked) };
    this.#at = at;
    return this.#held.subarray(0, wanted);
  }

  /** From a place on as many bytes as are in hand; none in hand: the next `ahead` ones. None: the file ends there. */
  *onward(at: number, ahead: number): Asking<Uint8Array> {
    const from = at - this.#at;
    if (from >= 0 && from < this.#held.length) return this.#held.subarray(from);
    return yield* this.bytes(at, ahead, ahead);
  }
}

/**
 * bytes. Zeros behind the last part that are taken for padding. Less than a sector (512 bytes), since nothing that was
 * interrupted ends within one.
 */
const paddingMost = 511;

/** Whether there is no more than padding from here to the end. */
export function* onlyPaddingFrom(file: Reading, at: number): Asking<boolean> {
  if (file.size - at > paddingMost) return false;
  return isZero(yield* file.bytes(at, paddingMost));
}

/** bytes. An end shorter than this says nothing: a few zeros may be anything. */
const emptyEndLeast = 512;
/** bytes. Read of the very end: more than any padding to a cluster of a camera's card ends in by chance. */
const endBytes = 64 * 1024;
/** bytes; how many. Pieces of the last sixteenth that are looked at besides. */
const sampleBytes = 4096;
const samples = 8;

/**
 * Whether the last sixteenth of the file holds zeros only: its room was reserved, and what belongs there never came.
 * Found by samples, so a few bytes that aren't zero may be missed, never zeros taken for something else.
 */
export function* endIsEmpty(file: Reading): Asking<boolean> {
  const end = Math.floor(file.size / 16);
  if (end < emptyEndLeast) return false;
  const tail = Math.min(end, endBytes);
  if (!isZero(yield* file.bytes(file.size - tail, tail))) return false;
  for (let n = 0; n < samples; n += 1) {
    const at = file.size - end + Math.floor((n * (end - tail)) / samples);
    if (!isZero(yield* file.bytes(at, sampleBytes))) return false;
  }
  return true;
}

/** What is said of such a file. */
export const emptyEnd = "its end is empty";

export const isZero = (from: Uint8Array): boolean => from.every((byte) => byte === 0);

/** 0 where the bytes end: callers look at lengths first. */
export function u16(from: Uint8Array, at: number, little: boolean): number {
  const [low, high] = little ? [at, at + 1] : [at + 1, at];
  return (from[low] ?? 0) + (from[high] ?? 0) * 0x100;
}

export function u32(from: Uint8Array, at: number, little: boolean): number {
  const [low, high] = little ? [at, at + 2] : [at + 2, at];
  return u16(from, low, little) + u16(from, high, little) * 0x1_0000;
}

/** Not exact beyond 2^53, where it is larger than any file all the same. */
export function u64(from: Uint8Array, at: number, little: boolean): number {
  const [low, high] = little ? [at, at + 4] : [at + 4, at];
  return u32(from, low, little) + u32(from, high, little) * 0x1_0000_0000;
}

/** The four bytes of a type or magic as characters of Latin-1. */
export function fourCharacters(from: Uint8Array, at: number): string {
  return String.fromCharCode(...from.subarray(at, at + 4));
}

/** Whether a type consists of four characters that can be printed, as those of every known maker do. */
export const isPrintableType = (type: string): boolean => /^[\x20-\x7e]{4}$/.test(type);
