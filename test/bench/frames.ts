/**
 * What asking costs when a trip has very many frames: the outline of its contact sheet, pages of it from any place, and
 * the board. The facts are put into a ledger on disk, no picture is copied.
 */

import { alertView } from "../../daemon/engine/alertView.ts";
import { statusJson } from "../../daemon/engine/board.ts";
import type { Engine } from "../../daemon/engine/engine.ts";
import { frameDaysJson, framesJson, sampleJson } from "../../daemon/engine/frames.ts";
import { encodeFact } from "../../daemon/record/journal.ts";
import type { Fact, FrameOfOriginal } from "../../shared/facts.ts";
import type {
  CardId,
  ContentHash,
  DriveId,
  FrameId,
  OriginalId,
  RelativePath,
  TripId,
} from "../../shared/identity.ts";
import { bytes, count, instant } from "../../shared/units.ts";
import { profileText } from "../cards/generate/card.ts";
import { makeBench } from "../engine/bench.ts";
import { median, type Say } from "./workbench.ts";

export interface FramesWish {
  readonly frames: number;
  readonly calls: number;
}

export const fullFrames: FramesWish = { frames: 50_000, calls: 9 };

/** Median and longest of the calls, ms. */
export interface FramesResult {
  readonly [what: string]: { readonly usual: number; readonly longest: number };
}

const trip = "kc-2027-06-03-test" as TripId;
const drives = ["blue", "slate", "rust"].map((name) => name as DriveId);
const framesOfCard = 2_000;
const days = 12;

/** Raw and JPEG of each frame, on three drives, seen on a card. */
function factsOf(nth: number): readonly Fact[] {
  const day = `2027-06-${String(3 + (nth % days)).padStart(2, "0")}`;
  const stem = `${day}/KC-${day.replaceAll("-", "")}-A${String(nth).padStart(5, "0")}` as RelativePath;
  const moment = Date.UTC(2027, 5, 3 + (nth % days)) + nth * 500;
  const frame: FrameOfOriginal = {
    id: `frame-${nth}` as FrameId,
    stem,
    key: `4410072 ${nth}`,
    count: 0,
    taken: { instant: moment, local: `${day}T10:00:00.000`, day, basis: "trip-zone", camera: "" },
    letter: "A",
    serial: "4410072",
    model: "Aldine R2",
  };
  const card = `card${Math.floor(nth / framesOfCard)}` as CardId;
  const at = instant(moment);
  return ["NEF", "JPG"].flatMap((extension): Fact[] => {
    const hash = nth.toString(16).padStart(16, "0") as ContentHash;
    const original = `${hash}-1000-${extension}` as OriginalId;
    const path = `${stem}.${extension}` as RelativePath;
    const size = bytes(1_000);
    const fingerprint = { size, modified: at, ends: hash };
    const onCard = `DCIM/100ALDIN/ALD_${nth}.${extension}` as RelativePath;
    return [
      { kind: "original", trip, at, original, hash, size, path, role: "frame", frame },
      { kind: "sighting", trip, at, card, path: onCard, fingerprint, original },
      ...drives.map((drive): Fact => ({ kind: "copy", trip, at, original, drive, path, readBack: "direct" })),
    ];
  });
}

/** One more frame than were put in, told as when it was just copied to all drives. */
function tellOfOne({ ports }: Engine, nth: number): void {
  ports.ledger.apply(factsOf(nth).map((each) => encodeFact(each, ports.hashing)));
}

/** @param unread how many more frames the last card lists, of which nothing else is known yet */
function fill({ ports }: Engine, frames: number, unread: number): void {
  const { ledger, hashing } = ports;
  for (const [nth, drive] of drives.entries())
    ledger.addDrive({
      id: drive,
      name: ["Blue", "Slate", "Rust"][nth] ?? "",
      fsId: drive,
      lastSeen: instant(1),
    });
  for (let first = 0; first < frames; first += framesOfCard) {
    const number = first / framesOfCard + 1;
    const card = `card${number - 1}` as CardId;
    ledger.cardSeen(card, "ALDINE", bytes(64e9), instant(first));
    const fact: Fact = { kind: "card", trip, at: instant(first), card, label: "ALDINE", number };
    ledger.apply([encodeFact(fact, hashing)]);
    const last = Math.min(frames, first + framesOfCard);
    const facts = Array.from({ length: last - first }, (_, nth) => factsOf(first + nth)).flat();
    ledger.apply(facts.map((each) => encodeFact(each, hashing)));
    const more = last < frames ? [] : Array.from({ length: unread }, (_, nth) => factsOf(last + nth)).flat();
    const files = [...facts, ...more].flatMap((each) => (each.kind === "sighting" ? [each] : []));
    ledger.setCardFiles(
      card,
      files.map(({ path, fingerprint: { size, modified } }) => ({
        path,
        size,
        modified,
        role: "frame",
        frame: path.slice(0, -4),
        why: "",
      })),
      instant(first),
    );
  }
}

/** What each call costs; said against the same in a ledger that is almost empty. */
export async function frames(wish: FramesWish, say: Say): Promise<FramesResult> {
  const few = { frames: Math.min(20, wish.frames), calls: wish.calls };
  const least = await measure(few);
  const result = await measure(wish);
  for (const [what, { usual, longest }] of Object.entries(result)) {
    const ratio = usual / (least[what]?.usual ?? Number.NaN);
    const times = `${usual.toFixed(1)} ms, ${longest.toFixed(1)} at most`;
    say(`${what} of ${wish.frames} frames: ${times}; ${ratio.toFixed(1)} times that of ${few.frames}`);
  }
  return result;
}

async function measure({ frames: many, calls }: FramesWish): Promise<FramesResult> {
  const bench = await makeBench();
  try {
    bench.trip(profileText({ drives: ["Blue", "Slate", "Rust"], copies: 3 }));
    await bench.idle();
    bench.engine.pause();
    fill(bench.engine, many, 3 * calls);
    await bench.idle();
    let told = many;
    const tell = () => {
      tellOfOne(bench.engine, told);
      told += 1;
    };
    const nothing = () => undefined;
    const page = (day: string | undefined, from: number, most: number) =>
      framesJson(bench.engine, trip, day, count(Math.max(0, Math.floor(from))), count(most));
    /** What is done before, untimed, and what is timed. */
    const asked: Readonly<Record<string, readonly [() => unknown, () => unknown]>> = {
      "the outline": [nothing, () => frameDaysJson(bench.engine, undefined)],
      "the first 200": [nothing, () => page(undefined, 0, 200)],
      "the first 500": [nothing, () => page(undefined, 0, 500)],
      "500 from the middle": [nothing, () => page(undefined, many / 2, 500)],
      "the last 500": [nothing, () => page(undefined, many - 500, 500)],
      "500 of one day": [nothing, () => page("2027-06-05", 0, 500)],
      "a sample of one day": [nothing, () => sampleJson(bench.engine, trip, "2027-06-05")],
      "the board": [nothing, () => statusJson(bench.engine)],
      "the board, just after a frame was copied": [tell, () => statusJson(bench.engine)],
      "what there is to say, just after a frame was copied": [tell, () => alertView(bench.engine)],
      "a frame taken in": [nothing, tell],
    };
    const result: Record<string, { usual: number; longest: number }> = {};
    for (const [what, [before, ask]] of Object.entries(asked)) {
      const times: number[] = [];
      for (let nth = 0; nth < calls; nth += 1) {
        await before();
        const began = performance.now();
        await ask();
        times.push(performance.now() - began);
      }
      result[what] = { usual: median(times), longest: Math.max(...times) };
    }
    return result;
  } finally {
    await bench.end();
  }
}
