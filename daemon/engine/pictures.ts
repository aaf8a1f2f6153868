/**
 * Small pictures of frames: those that somebody looks for are made at once, also while copying is under way, one at a
 * time; when nothing else is to do, those of the current trip's contact sheet ahead, the latest first.
 *
 * Invariants: nothing waits for a picture, neither `wait` nor the work; a drive that is to leave is let go before it
 * leaves; a file that shows nothing is asked once in a run, and one that couldn't be read not again on that plug-in.
 * Not its job: how a picture is made (`PictureMaker`) and kept (`PictureCache`).
 */

import type { FrameId, TripId, VolumeId } from "../../shared/identity.ts";
import { FileFault } from "../../shared/problems.ts";
import { count, millis } from "../../shared/units.ts";
import type { FrameRow } from "../ports/frameLedger.ts";
import type { PictureSize, ShownFact } from "../ports/pictures.ts";
import { type FramePlace, type FramePlaces, placeOf } from "./framePlace.ts";
import type { EnginePorts } from "./ports.ts";
import type { VolumeUse } from "./volumeUse.ts";

export interface PictureSurroundings extends FramePlaces {
  readonly ports: EnginePorts;
  readonly use: VolumeUse;
  readonly stop: AbortSignal;
  /** Whose frames are made ahead; undefined while something else is to do. */
  readonly ahead: () => TripId | undefined;
}

export type PictureState = "ready" | "waiting" | "away" | "none";

interface Job {
  readonly frame: FrameId;
  readonly size: PictureSize;
}

/** Looking through frames takes one part of the time and leaves so many. */
const lookRest = 5;
/** jobs. More than somebody scrolls past while one is made; the ones asked for first fall out. */
const wantedMost = 2_000;

export class Pictures {
  readonly #around: PictureSurroundings;
  readonly #ports: EnginePorts;
  #wanted = new Map<string, Job>();
  /** Frames that show nothing, with the reason. */
  readonly #none = new Map<FrameId, string>();
  /** Frames that couldn't be read on a volume, though it stayed. */
  readonly #unread = new Set<string>();
  /** How many of the trip's frames, from the latest on, were looked through. */
  #ahead: { readonly trip: TripId; looked: number; found: FrameId[] } | undefined;
  #wake: (() => void) | undefined;
  /** There may be something to do since it was last looked. */
  #stirred = false;

  constructor(around: PictureSurroundings) {
    this.#around = around;
    this.#ports = around.ports;
  }

  /** Works until the engine stops. */
  async run(): Promise<void> {
    const { stop } = this.#around;
    stop.addEventListener("abort", () => this.#stir());
    while (!stop.aborted) {
      this.#stirred = false;
      const job = await this.#next();
      if (stop.aborted) return;
      if (job === undefined) await this.#untilWoken();
      else await this.#make(job);
    }
  }

  /** Nothing else is to do now, or something came: what can be made ahead is looked for anew. */
  lookAhead(): void {
    this.#ahead = undefined;
    this.#stir();
  }

  stateOf(frame: FrameRow, size: PictureSize): PictureState {
    if (this.#ports.pictureCache.has(frame.id, size)) return "ready";
    if (this.#none.has(frame.id)) return "none";
    const place = placeOf(this.#around, frame);
    return place === undefined || this.#isUnread(frame.id, place) ? "away" : "waiting";
  }

  /** These are made before all others, and before what was asked for earlier. */
  want(frames: readonly FrameRow[], size: PictureSize): void {
    const fresh = frames
      .filter((frame) => this.stateOf(frame, size) === "waiting")
      .map(({ id }): [string, Job] => [`${id} ${size}`, { frame: id, size }]);
    this.#wanted = new Map([...new Map([...fresh, ...this.#wanted])].slice(0, wantedMost));
    this.#stir();
  }

  /** How the frame was exposed, as its main file says; empty while no drive with it is here. */
  async exposure(frame: FrameRow): Promise<readonly ShownFact[]> {
    const place = placeOf(this.#around, frame);
    const main = place?.files[0];
    if (place === undefined || main === undefined) return [];
    const read = () => this.#ports.pictures.exposure(main.absolute);
    return (await this.#around.use.during(place.drive.volume.id, read)) ?? [];
  }

  #stir(): void {
    this.#stirred = true;
    this.#wake?.();
  }

  async #untilWoken(): Promise<void> {
    if (this.#stirred) return;
    await new Promise<void>((resolve) => {
      this.#wake = resolve;
    });
    this.#wake = undefined;
  }

  async #next(): Promise<Job | undefined> {
    const [wanted] = this.#wanted;
    if (wanted !== undefined) {
      this.#wanted.delete(wanted[0]);
      return wanted[1];
    }
    const frame = await this.#nextAhead();
    return frame === undefined ? undefined : { frame, size: "sheet" };
  }

  async #nextAhead(): Promise<FrameId | undefined> {
    const { ledger, clock, limits, pictureCache } = this.#ports;
    for (;;) {
      const trip = this.#around.ahead();
      if (trip === undefined || this.#wanted.size > 0) return undefined;
      if (this.#ahead?.trip !== trip) this.#ahead = { trip, looked: 0, found: [] };
      const ahead = this.#ahead;
      const next = ahead.found.shift();
      if (next !== undefined) return next;
      if (ahead.looked >= limits.picturesAheadMost || this.#around.presence.drives.length === 0)
        return undefined;
      const began = clock.steady();
      const batch = count(limits.pictureBatch);
      const ids = ledger.frames.latestFirst(trip, count(ahead.looked), batch);
      if (ids.length === 0) return undefined;
      ahead.looked += ids.length;
      const open = ids.filter((id) => !pictureCache.has(id, "sheet") && !this.#none.has(id));
      const waiting = ledger.frames.byId(open).filter((frame) => this.stateOf(frame, "sheet") === "waiting");
      const can = new Set(waiting.map(({ id }) => id));
      ahead.found = open.filter((id) => can.has(id));
      // Most of the time belongs to the rest of the daemon.
      await clock.sleep(millis(1 + (clock.steady() - began) * lookRest), this.#around.stop);
    }
  }

  async #make({ frame: id, size }: Job): Promise<void> {
    const { ledger, pictures, pictureCache, clock } = this.#ports;
    const [frame] = ledger.frames.byId([id]);
    if (frame === undefined || this.stateOf(frame, size) !== "waiting") return;
    const place = placeOf(this.#around, frame);
    if (place === undefined) return;
    const sources = place.files.map(({ absolute }) => absolute);
    const { volume, gone } = place.drive;
    const made = await this.#around.use.during(volume.id, async (leaving) => {
      const stop = AbortSignal.any([leaving, gone, this.#around.stop]);
      const answer = await pictures.make(sources, size, stop);
      return stop.aborted ? undefined : { answer, readable: answer.made || (await this.#canBeRead(place)) };
    });
    if (made === undefined || gone.aborted) return;
    if (made.answer.made) {
      await pictureCache.put(id, size, made.answer.jpeg);
      // Where it can't be kept it isn't tried for ever.
      if (!pictureCache.has(id, size)) this.#none.set(id, "it can't be kept");
      return;
    }
    if (!made.readable) {
      this.#unread.add(unreadKey(id, volume.id));
      return;
    }
    this.#none.set(id, made.answer.why);
    if (made.answer.why.startsWith("decoding"))
      ledger.note("picture", frame.trip, `${frame.stem} can't be shown: ${made.answer.why}`, clock.now());
  }

  /** A drive that fails says nothing about the frame. */
  async #canBeRead(place: FramePlace): Promise<boolean> {
    try {
      for (const { file, absolute } of place.files) {
        const handle = await this.#ports.files.openToRead(absolute);
        try {
          const { size } = await handle.facts();
          if (size !== file.size) return false;
        } finally {
          await handle.close();
        }
      }
      return true;
    } catch (fault) {
      if (fault instanceof FileFault) return false;
      throw fault;
    }
  }

  #isUnread(frame: FrameId, place: FramePlace): boolean {
    return this.#unread.has(unreadKey(frame, place.drive.volume.id));
  }
}

function unreadKey(frame: FrameId, volume: VolumeId): string {
  return `${frame} ${volume}`;
}
