/**
 * Ratings: xmp:Rating in the sidecars beside the frames on the trip's primary drive, where editors look for it. Read
 * when they changed, by size and time; written only over what the caller was shown, one at a time on a drive.
 *
 * Invariants: what a card gave is never written; nothing another program wrote meanwhile is replaced or lost
 * (`sidecarSwap.ts`); a drive that can't be read leaves the ratings as they were last seen. Not its job: what XMP is
 * (`SidecarTool`), and mirroring sidecars to other drives.
 */

import { rfc3339 } from "../../shared/format.ts";
import {
  type ContentHash,
  type FrameId,
  folderOf,
  nameKey,
  type RelativePath,
  under,
} from "../../shared/identity.ts";
import { FileFault, UserMistake } from "../../shared/problems.ts";
import { printable } from "../../shared/text.ts";
import { bytes } from "../../shared/units.ts";
import { type SidecarPlace, sidecarPlace } from "../core/sidecarName.ts";
import type { FrameRow, SidecarRow } from "../ports/frameLedger.ts";
import { type BlockPool, Places } from "./bounds.ts";
import { type FramePlace, type FramePlaces, placeOn } from "./framePlace.ts";
import type { EnginePorts } from "./ports.ts";
import type { PresentDrive } from "./presence.ts";
import { changedMeanwhile, mistakeOf } from "./ratingMistakes.ts";
import { swapSidecar, undoSwap } from "./sidecarSwap.ts";
import type { VolumeUse } from "./volumeUse.ts";

export interface RatingSurroundings extends FramePlaces {
  readonly ports: EnginePorts;
  readonly use: VolumeUse;
  readonly verifyPool: BlockPool;
}

/** A frame's sidecar as it stands now. */
export interface SidecarNow {
  readonly drive: PresentDrive;
  /** Below the trip's folder; undefined: none stands there. */
  readonly path: RelativePath | undefined;
  readonly rating: number | undefined;
  /** Names its bytes; "" where none stands. */
  readonly stamp: string;
}

type Entries = ReadonlyMap<string, { readonly name: string; readonly isFile: boolean }>;

export class Ratings {
  readonly #around: RatingSurroundings;
  readonly #ports: EnginePorts;
  /** One writing at a time on a drive. */
  readonly #writing = new Map<string, Places>();
  readonly #refreshing = new Map<string, Promise<void>>();

  constructor(around: RatingSurroundings) {
    this.#around = around;
    this.#ports = around.ports;
  }

  /** What was broken off on drives that are here is undone. A drive that fails is tried again when it comes. */
  async recover(): Promise<void> {
    for (const drive of this.#around.presence.drives) {
      if (!this.#around.bay.isUsable(drive.id)) continue;
      if (this.#ports.ledger.frames.ratingIntents(drive.id).length === 0) continue;
      await this.#around.use.during(drive.volume.id, () =>
        this.#placesOf(drive).inside(() => this.#recoverOn(drive)),
      );
    }
  }

  /** @returns whether everything was undone; what can't be now stays to be. */
  async #recoverOn(drive: PresentDrive): Promise<boolean> {
    for (const intent of this.#ports.ledger.frames.ratingIntents(drive.id)) {
      try {
        await undoSwap(this.#ports, drive, intent);
      } catch (fault) {
        if (fault instanceof FileFault) return false;
        throw fault;
      }
    }
    return true;
  }

  /** Reads the sidecars of these frames that changed since they were last read. Never rejects for a drive's sake. */
  async refresh(frames: readonly FrameRow[]): Promise<void> {
    const key = `${frames[0]?.id} ${frames.length}`;
    const running =
      this.#refreshing.get(key) ??
      this.#refreshNow(frames).finally(() => {
        this.#refreshing.delete(key);
      });
    this.#refreshing.set(key, running);
    await running;
  }

  async #refreshNow(frames: readonly FrameRow[]): Promise<void> {
    const drives = new Map<PresentDrive, FramePlace[]>();
    const byPlace = new Map<FramePlace, FrameRow>();
    for (const frame of frames) {
      const place = this.#onPrimary(frame);
      if (place === undefined) continue;
      drives.set(place.drive, [...(drives.get(place.drive) ?? []), place]);
      byPlace.set(place, frame);
    }
    for (const [drive, places] of drives)
      await this.#around.use.during(drive.volume.id, async (stop) => {
        try {
          await this.#refreshOn(drive, places, byPlace, stop);
        } catch (fault) {
          if (!(fault instanceof FileFault)) throw fault;
        }
      });
  }

  async #refreshOn(
    drive: PresentDrive,
    places: readonly FramePlace[],
    frames: ReadonlyMap<FramePlace, FrameRow>,
    stop: AbortSignal,
  ): Promise<void> {
    const { ledger, files, sidecars: tool } = this.#ports;
    const known = ledger.frames.sidecars([...frames.values()].map(({ id }) => id));
    const listed = new Map<string, Entries>();
    const changed = new Map<FrameId, SidecarRow | undefined>();
    const toRead: { readonly frame: FrameId; readonly row: SidecarRow; readonly content: Uint8Array }[] = [];
    for (const place of places) {
      const frame = frames.get(place);
      if (stop.aborted || drive.gone.aborted || frame === undefined) return;
      const folder = folderOf(place.files[0]?.path ?? ("" as RelativePath));
      const entries = listed.get(folder) ?? (await this.#list(drive, frame, folder));
      listed.set(folder, entries);
      const before = known.get(frame.id);
      if (entries.size === 0 && before === undefined) continue;
      const beside = this.#sidecarOf(frame, place, entries);
      const path = beside?.stands === true ? beside.path : beside?.companion;
      if (path === undefined) {
        if (before !== undefined) changed.set(frame.id, undefined);
        continue;
      }
      const facts = await files.facts(this.#absolute(drive, frame, path));
      const { size, modified } = facts;
      if (before?.path === path && before.size === size && before.modified === modified) continue;
      const content = await this.#read(drive, frame, path).catch((fault: unknown) => {
        if (fault instanceof FileFault && fault.code !== "gone" && fault.code !== "io") return undefined;
        throw fault;
      });
      if (content === undefined) {
        if (before !== undefined) changed.set(frame.id, undefined);
        continue;
      }
      const hash = this.#hash(content);
      const row: SidecarRow = { path, size, modified, hash, rating: before?.rating };
      if (before?.hash === hash) changed.set(frame.id, row);
      else toRead.push({ frame: frame.id, row, content });
    }
    const ratings = await tool.ratings(toRead.map(({ content }) => content));
    toRead.forEach(({ frame, row }, nth) => {
      changed.set(frame, { ...row, rating: ratings[nth] });
    });
    // A drive that went meanwhile was perhaps listed empty.
    if (!drive.gone.aborted) ledger.frames.setSidecars(changed);
  }

  /** How the frame's sidecar stands at this moment; undefined where it can't be looked at. */
  async now(frame: FrameRow): Promise<SidecarNow | undefined> {
    const place = this.#onPrimary(frame);
    if (place === undefined) return undefined;
    return this.#around.use.during(place.drive.volume.id, async () => {
      try {
        const { beside, content } = await this.#look(frame, place);
        const companion =
          content === undefined && beside.companion !== undefined
            ? await this.#read(place.drive, frame, beside.companion)
            : undefined;
        const says = content ?? companion;
        const [rating] = says === undefined ? [undefined] : await this.#ports.sidecars.ratings([says]);
        return {
          drive: place.drive,
          path: content === undefined ? undefined : beside.path,
          rating,
          stamp: content === undefined ? "" : this.#stampOf(content),
        };
      } catch (fault) {
        if (fault instanceof FileFault || fault instanceof UserMistake) return undefined;
        throw fault;
      }
    });
  }

  /** Why the frame can't be rated now, as sentences with what to do; "" where it can. */
  notRatable(frame: FrameRow): string {
    const trip = this.#around.tripBook.find(frame.trip);
    const primary = trip?.profile.drives.find(({ role }) => role === "primary");
    if (primary === undefined) return "The trip has no primary drive. Say in its profile which one it is.";
    const name = printable(primary.name);
    const drive = this.#primary(frame);
    if (drive === undefined)
      return `Ratings stand beside the frames on ${name}, which isn't plugged in. Plug it in.`;
    if (drive.traits.readOnly) return `${name} can only be read here. Plug it in so that it can be written.`;
    if (!this.#around.bay.isUsable(drive.id))
      return `${name} can't be used at the moment. Take it out and put it in again.`;
    if (placeOn(this.#around, frame, drive) === undefined)
      return `${name} doesn't hold this frame yet. It can be rated when ${name} is caught up.`;
    return "";
  }

  /**
   * Writes the rating into the frame's sidecar.
   * @param stamp of the sidecar as the caller was shown it
   * @throws UserMistake; then the sidecar is as another program or the caller left it
   */
  async rate(frame: FrameRow, rating: number, stamp: string): Promise<SidecarNow> {
    const why = this.notRatable(frame);
    const place = this.#onPrimary(frame);
    if (why !== "" || place === undefined)
      throw new UserMistake(
        `This frame can't be rated now. ${why === "" ? "Its drive went." : why}`,
        "Nothing was changed; rate it again then.",
      );
    const { drive } = place;
    const rated = await this.#around.use.during(drive.volume.id, () =>
      this.#placesOf(drive).inside(() => this.#rateNow(frame, place, rating, stamp)),
    );
    if (rated !== undefined) return rated;
    throw new UserMistake(
      `${printable(drive.name)} is being ejected. The rating wasn't written; nothing was changed.`,
      "Plug it in again and rate the frame then.",
      1,
    );
  }

  async #rateNow(frame: FrameRow, place: FramePlace, rating: number, stamp: string): Promise<SidecarNow> {
    const { drive } = place;
    try {
      if (!(await this.#recoverOn(drive))) throw new FileFault("io", drive.volume.root);
      const { beside, content } = await this.#look(frame, place);
      if (stamp !== (content === undefined ? "" : this.#stampOf(content))) throw changedMeanwhile();
      const { path } = beside;
      const [before] = content === undefined ? [undefined] : await this.#ports.sidecars.ratings([content]);
      if (content !== undefined && before === rating) return { drive, path, rating, stamp };
      return await this.#write(frame, drive, path, content, rating);
    } catch (fault) {
      if (!(fault instanceof FileFault)) throw fault;
      throw mistakeOf(fault, drive);
    }
  }

  async #write(
    frame: FrameRow,
    drive: PresentDrive,
    path: RelativePath,
    before: Uint8Array | undefined,
    rating: number,
  ): Promise<SidecarNow> {
    const { ports } = this.#around;
    const at = ports.clock.now();
    const zone = this.#around.tripBook.find(frame.trip)?.profile.zone ?? "UTC";
    const made = await ports.sidecars.withRating(before, rating, rfc3339(at, zone));
    if (!made.rated)
      throw new UserMistake(
        `The sidecar ${printable(path)} can't be rated: ${printable(made.why)}. It was left as it is.`,
        "Rate this frame in the program that wrote the sidecar.",
      );
    // Every part of the way is a folder of this drive: nothing is written through a link.
    await ports.files.makeFolder(drive.at, this.#inside(frame, folderOf(path)));
    const swapped = await swapSidecar(ports, this.#around.verifyPool, {
      drive,
      trip: frame.trip,
      path: this.#inside(frame, path),
      work: path,
      earlier: before === undefined ? undefined : this.#hash(before),
      content: made.content,
      at,
    });
    if (swapped === "theirs") throw changedMeanwhile();
    const { size, modified } = await ports.files.facts(this.#absolute(drive, frame, path));
    const hash = this.#hash(made.content);
    ports.ledger.frames.setSidecars(new Map([[frame.id, { path, size, modified, hash, rating }]]));
    return { drive, path, rating, stamp: this.#stampOf(made.content) };
  }

  /** Which sidecar it is, and its bytes. @throws FileFault, and UserMistake where it can't be one */
  async #look(
    frame: FrameRow,
    place: FramePlace,
  ): Promise<{ readonly beside: SidecarPlace; readonly content: Uint8Array | undefined }> {
    const folder = folderOf(place.files[0]?.path ?? ("" as RelativePath));
    const entries = await this.#list(place.drive, frame, folder);
    const beside = this.#sidecarOf(frame, place, entries);
    if (beside === undefined)
      throw new UserMistake(
        "What stands under the sidecar's name is no file. It was left as it is.",
        `Look at ${printable(folder)} on ${printable(place.drive.name)}.`,
      );
    return { beside, content: beside.stands ? await this.#read(place.drive, frame, beside.path) : undefined };
  }

  #sidecarOf(frame: FrameRow, place: FramePlace, entries: Entries): SidecarPlace | undefined {
    const { ledger } = this.#ports;
    const { id: drive } = place.drive;
    return sidecarPlace({
      files: place.files.map(({ path }) => path),
      entries,
      isOriginal: (path) =>
        ledger.originalAt(frame.trip, nameKey(path)) !== undefined ||
        ledger.copyAt(drive, frame.trip, nameKey(path)) !== undefined,
    });
  }

  /** What may be a sidecar in a folder. */
  async #list(drive: PresentDrive, frame: FrameRow, folder: RelativePath): Promise<Entries> {
    const found = await this.#ports.files.list(this.#absolute(drive, frame, folder));
    const sidecars = found.filter(({ name }) => nameKey(name).endsWith(".xmp"));
    // Of two that differ in case only, where the file system tells them apart, always the same one.
    const sorted = sidecars.sort((a, b) => (a.name < b.name ? 1 : -1));
    return new Map(sorted.map(({ name, kind }) => [nameKey(name), { name, isFile: kind === "file" }]));
  }

  #read(drive: PresentDrive, frame: FrameRow, path: RelativePath): Promise<Uint8Array> {
    const { files, limits } = this.#ports;
    return files.readSmall(this.#absolute(drive, frame, path), bytes(limits.sidecarBytesMax));
  }

  #onPrimary(frame: FrameRow): FramePlace | undefined {
    const drive = this.#primary(frame);
    return drive === undefined ? undefined : placeOn(this.#around, frame, drive);
  }

  #primary(frame: FrameRow): PresentDrive | undefined {
    const { tripBook, presence } = this.#around;
    const primary = tripBook.find(frame.trip)?.profile.drives.find(({ role }) => role === "primary");
    if (primary === undefined) return undefined;
    return presence.drives.find(({ name }) => nameKey(name) === nameKey(primary.name));
  }

  #inside(frame: FrameRow, path: RelativePath): RelativePath {
    const folder = this.#around.tripBook.find(frame.trip)?.folder ?? "";
    return (path === "" ? folder : `${folder}/${path}`) as RelativePath;
  }

  #absolute(drive: PresentDrive, frame: FrameRow, path: RelativePath) {
    return under(drive.volume.root, this.#inside(frame, path));
  }

  #stampOf(content: Uint8Array): string {
    return `${this.#hash(content)}-${content.length}`;
  }

  #hash(content: Uint8Array): ContentHash {
    const running = this.#ports.hashing.start();
    running.update(content);
    return running.digest();
  }

  #placesOf(drive: PresentDrive): Places {
    const places = this.#writing.get(drive.id) ?? new Places(1);
    this.#writing.set(drive.id, places);
    return places;
  }
}
