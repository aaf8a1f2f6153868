/**
 * What the daemon tells the page of frames: by day, in the order taken. What cameras and editors wrote into files is
 * hostile text until shown through `printable`.
 */

export interface FrameDayJson {
  /** The shooting day; "" for frames of none. */
  readonly day: string;
  readonly frames: number;
  readonly files: number;
  readonly bytes: number;
}

/** The outline of a trip's contact sheet: the days in order, so that a place in it is known without its frames. */
export interface FrameDaysJson {
  readonly trip: { readonly id: string; readonly name: string; readonly zone: string };
  readonly days: readonly FrameDayJson[];
  /** Trips that have frames, for choosing another; this one is among them if it has any. */
  readonly trips: readonly { readonly id: string; readonly name: string }[];
}

/** Where a frame's small picture stands. */
export type PictureState =
  | "ready" // it can be asked for
  | "waiting" // it can be made: ask for it to be made
  | "away" // no drive that holds the frame is plugged in
  | "none"; // the frame holds no picture that can be shown

export interface FrameJson {
  readonly id: string;
  /** Its name below the trip's folder without extension, such as `2027-06-03/KC-20270603-A0421`. */
  readonly stem: string;
  readonly day: string;
  /** RFC 3339 with the trip's offset. */
  readonly taken: string;
  readonly letter: string;
  readonly model: string;
  /** Endings of its files as they stand, such as `NEF`, `JPG`. */
  readonly kinds: readonly string[];
  readonly film: boolean;
  /** xmp:Rating: -1 rejected, 0 to 5, halves occur; null where no sidecar says any. As last seen. */
  readonly rating: number | null;
  /** What somebody said who looked at it; null where nobody did. */
  readonly looked: "fine" | "not-fine" | null;
  readonly picture: PictureState;
}

/** Frames `from`, `from + 1`, … of a trip, counted from 0 over all its days. */
export interface FramesJson {
  readonly from: number;
  readonly total: number;
  readonly frames: readonly FrameJson[];
  /** Sidecars that changed are still being read: asked again soon, the ratings are there. */
  readonly reading?: boolean;
}

export interface FrameCopyJson {
  readonly drive: string;
  readonly place: string | null;
  readonly present: boolean;
  /** Below the trip's folder on that drive. */
  readonly path: string;
  readonly readBack: "direct" | "remount" | "cache";
  /** When it was last read from the medium and found equal, RFC 3339. */
  readonly checked: string;
}

export interface FrameFileJson {
  /** Below the trip's folder. */
  readonly path: string;
  readonly bytes: number;
  /** XXH64, 16 hex digits. */
  readonly hash: string;
  readonly copies: readonly FrameCopyJson[];
  /** Cards it was read from: name and path there. */
  readonly cards: readonly { readonly name: string; readonly path: string }[];
  /** What is wrong with it as the card gave it, as a part of a sentence; "" where nothing is. */
  readonly damage: string;
}

/** A frame by itself. */
export interface FrameFactsJson extends FrameJson {
  readonly serial: string;
  /** How the moment is known, in words; what the camera itself wrote. */
  readonly basis: string;
  readonly camera: string;
  readonly goal: number;
  readonly files: readonly FrameFileJson[];
  /** Exposure and the like, as the file says: name and value, both for people. Empty while no drive with it is here. */
  readonly facts: readonly { readonly name: string; readonly value: string }[];
  /** The sidecar that ratings are read from and written to; null: none stands there (yet). */
  readonly sidecar: { readonly drive: string; readonly path: string } | null;
  /** Names the sidecar as it was read, "" where none stands; rating hands it back. */
  readonly stamp: string;
  /** Why it can't be rated now, as a sentence with what to do; "" where it can. */
  readonly notRatable: string;
}

export interface RatedJson {
  readonly rating: number | null;
  readonly stamp: string;
  readonly sidecar: { readonly drive: string; readonly path: string };
}

/** What became of pictures that were asked to be made. */
export interface PicturesJson {
  readonly states: readonly { readonly id: string; readonly picture: PictureState }[];
}

/** Frames to look at before a card is formatted. */
export interface SampleJson {
  readonly day: string;
  readonly frames: readonly (FrameJson & {
    /** Why this one: `card 7`, `body A`, `22 h`. */
    readonly stands: readonly string[];
  })[];
  readonly covers: { readonly cards: number; readonly bodies: number; readonly hours: number };
}
