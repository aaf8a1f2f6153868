/** Where the files of a frame stand on a drive that is plugged in and in use, so that they can be looked at. */

import { type AbsolutePath, extensionOf, type RelativePath, under } from "../../shared/identity.ts";
import { kindOfFile } from "../core/fileKinds.ts";
import type { FrameFileRow, FrameRow } from "../ports/frameLedger.ts";
import type { DriveBay } from "./driveBay.ts";
import type { Presence, PresentDrive } from "./presence.ts";
import type { TripBook } from "./tripBook.ts";

export interface FramePlaces {
  readonly presence: Presence;
  readonly tripBook: TripBook;
  readonly bay: DriveBay;
}

export interface FrameFile {
  readonly file: FrameFileRow;
  /** Below the trip's folder on this drive. */
  readonly path: RelativePath;
  readonly absolute: AbsolutePath;
}

export interface FramePlace {
  readonly drive: PresentDrive;
  /** Those that it holds, the main one first. */
  readonly files: readonly FrameFile[];
}

/** What says most of a frame first: what the sensor saw, then what the camera made of it, then what belongs to it. */
const kindsInOrder = ["raw", "picture", "video", "thumbnail"];

/** The frame's files that may hold a picture, the main one first. */
export function mainFirst(frame: FrameRow): readonly FrameFileRow[] {
  const rank = (file: FrameFileRow): number => kindsInOrder.indexOf(kindOfFile(extensionOf(file.path)));
  return frame.files.filter((file) => rank(file) >= 0).sort((a, b) => rank(a) - rank(b));
}

/** Whether it is a film and nothing else. */
export function isFilm(frame: FrameRow): boolean {
  const [main] = mainFirst(frame);
  return main !== undefined && kindOfFile(extensionOf(main.path)) === "video";
}

/** The frame on one drive; undefined where that holds none of its files, or isn't in use. */
export function placeOn(around: FramePlaces, frame: FrameRow, drive: PresentDrive): FramePlace | undefined {
  const trip = around.tripBook.find(frame.trip);
  if (trip === undefined || !around.bay.isUsable(drive.id)) return undefined;
  const files = mainFirst(frame).flatMap((file): FrameFile[] => {
    const copy = file.copies.find((each) => each.drive === drive.id);
    if (copy === undefined) return [];
    const absolute = under(drive.volume.root, `${trip.folder}/${copy.path}`);
    return [{ file, path: copy.path, absolute }];
  });
  return files.length === 0 ? undefined : { drive, files };
}

/** The frame on the drive that holds most of it; undefined where none that is here does. */
export function placeOf(around: FramePlaces, frame: FrameRow): FramePlace | undefined {
  let best: FramePlace | undefined;
  for (const drive of around.presence.drives) {
    const place = placeOn(around, frame, drive);
    if (place !== undefined && place.files.length > (best?.files.length ?? 0)) best = place;
  }
  return best;
}
