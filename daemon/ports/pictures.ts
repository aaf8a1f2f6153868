/** Small pictures of frames, made from what cameras put into their files, and where they are kept on this computer. */

import type { AbsolutePath, FrameId } from "../../shared/identity.ts";

/** `sheet`: one of many. `large`: one that fills a screen. */
export type PictureSize = "sheet" | "large";

/** `why` is a part of a sentence. */
export type MadePicture =
  | { readonly made: true; readonly jpeg: Uint8Array }
  | { readonly made: false; readonly why: string };

/** What a file says of a frame, name and value, both for people; hostile text. */
export interface ShownFact {
  readonly name: string;
  readonly value: string;
}

export interface PictureMaker {
  /**
   * A JPEG without metadata, upright as its file says, made of the first of these files that gives one large enough,
   * else of the largest. The files are one frame's. Hostile content costs its own picture only. Never rejects.
   * @param stop between two readings of the files nothing more is read
   */
  make(sources: readonly AbsolutePath[], size: PictureSize, stop: AbortSignal): Promise<MadePicture>;
  /** How it was exposed; empty where the file can't be read. Never rejects. */
  exposure(source: AbsolutePath): Promise<readonly ShownFact[]>;
  close(): Promise<void>;
}

/** Pictures that were made, kept as long as there is room. Losing one costs the making of it. */
export interface PictureCache {
  has(frame: FrameId, size: PictureSize): boolean;
  /** undefined where none is kept, or what is kept is no picture any more. Never rejects. */
  get(frame: FrameId, size: PictureSize): Promise<Uint8Array | undefined>;
  /** Those that were used longest ago go when there is no room. Never rejects: a picture that can't be kept isn't. */
  put(frame: FrameId, size: PictureSize, jpeg: Uint8Array): Promise<void>;
}
