/**
 * XMP sidecars as bytes: what rating they say, and the same sidecar with another one. Where they stand and how they are
 * replaced is the engine's business; nothing here touches a drive.
 */

/** xmp:Rating: -1 rejected, 0 to 5, halves occur; undefined: none is said, or one that doesn't hold. */
export type Rating = number | undefined;

export type RatedSidecar =
  | { readonly rated: true; readonly content: Uint8Array }
  /** It can't be read as XMP, or what to change in it isn't clear; `why` is a part of a sentence. */
  | { readonly rated: false; readonly why: string };

export interface SidecarTool {
  /** The rating of each, in order. One that can't be read says none. Never rejects for their sake. */
  ratings(contents: readonly Uint8Array[]): Promise<readonly Rating[]>;
  /**
   * Every property of its XMP as text by its name, such as `xmp:Rating`, those of structures by the names of both, those
   * of lists joined; undefined where it is no XMP that can be read. Never rejects.
   */
  properties(content: Uint8Array): Promise<ReadonlyMap<string, string> | undefined>;
  /**
   * The sidecar with this rating and every other byte as it was, proved by reading it again; without an earlier one, a
   * sidecar that says nothing else.
   * @param now RFC 3339, for xmp:MetadataDate where a sidecar says one
   */
  withRating(earlier: Uint8Array | undefined, rating: number, now: string): Promise<RatedSidecar>;
  close(): Promise<void>;
}
