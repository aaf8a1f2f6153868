/**
 * Files and folders on volumes. One interface for real media, practice folders and a simulated world. Every method
 * fails with `FileFault` and nothing else. Nothing here follows a symbolic link in the last part of a path.
 *
 * Invariants of every implementation: `moveNoReplace` never replaces; `removeUnfinished` removes only what stands
 * below `.scrubjay/incoming/`, `removeEarlier` only earlier versions of work files below `.scrubjay/trips/ID/earlier/`;
 * there is no method that deletes anything else.
 */

import type { ReadBack } from "../../shared/facts.ts";
import type { AbsolutePath, RelativePath } from "../../shared/identity.ts";
import type { Bytes, Instant } from "../../shared/units.ts";

export type EntryKind = "file" | "folder" | "link" | "other";

export interface Entry {
  readonly name: string;
  readonly kind: EntryKind;
}

export interface FileFacts {
  readonly kind: EntryKind;
  readonly size: Bytes;
  /** Modification time, whole milliseconds since the epoch. */
  readonly modified: Instant;
  /** The file system it stands on, and its number there. */
  readonly device: string;
  readonly inode: string;
}

/** What a mounted file system is and can promise. */
export interface FsTraits {
  /** The kernel's word or number for it, such as `ext4`, `fuseblk`, `exfat`. */
  readonly fsType: string;
  readonly device: string;
  readonly totalBytes: Bytes;
  /** What an ordinary user may still write. */
  readonly freeBytes: Bytes;
  /** A file takes whole blocks of this size. */
  readonly blockBytes: Bytes;
  /** How a read for verification reaches the medium here. */
  readonly readBack: ReadBack;
  readonly readOnly: boolean;
}

/** A volume's root and the file system that belongs there. */
export interface VolumeRoot {
  readonly root: AbsolutePath;
  readonly device: string;
}

/** Memory for streaming: page aligned, so that reading past the cache can fill it. */
export type Block = Uint8Array;

export interface ReadHandle {
  /** Fills `into` from `position` as far as the file goes; fewer bytes than asked means that the file ended. */
  read(into: Block, position: number): Promise<number>;
  facts(): Promise<FileFacts>;
  close(): Promise<void>;
}

export interface WriteHandle {
  /** Writes all of `from` at `position`; short writes are continued inside. */
  write(from: Uint8Array, position: number): Promise<void>;
  /** Sets the modification time and forces data and metadata to the medium. After a failure the file is lost: never retry. */
  finish(modified: Instant): Promise<void>;
  facts(): Promise<FileFacts>;
  /** Closing what is closed is fine. */
  close(): Promise<void>;
}

export interface Files {
  /** The entries of a folder, in no order. */
  list(folder: AbsolutePath): Promise<readonly Entry[]>;
  facts(path: AbsolutePath): Promise<FileFacts>;
  traits(root: AbsolutePath): Promise<FsTraits>;
  /** What tells the file system below a folder from others: its UUID, or `server:/share`; "" where nothing tells. */
  fileSystemId(folder: AbsolutePath): Promise<string>;
  /** The whole file, refused with `too-large` past `most`. */
  readSmall(path: AbsolutePath, most: Bytes): Promise<Uint8Array>;
  openToRead(path: AbsolutePath): Promise<ReadHandle>;
  /** Opened so that reads come from the medium where `FsTraits.readBack` says so. Positions must be block aligned. */
  openToVerify(path: AbsolutePath): Promise<{ readonly handle: ReadHandle; readonly readBack: ReadBack }>;
  /** Creates a file that must not exist yet; its folder must exist. */
  createToWrite(path: AbsolutePath): Promise<WriteHandle>;
  /**
   * Makes the folder `inside` a volume and those above it, each flushed into its parent. One that exists is fine. The
   * volume's own root is never made, and nothing is made when another file system stands there (`gone`): a drive that
   * was pulled may leave its mount point behind, which is an ordinary folder of this computer.
   */
  makeFolder(volume: VolumeRoot, inside: RelativePath): Promise<void>;
  /** Gives a file its final name. `taken`: something stands there already and both stay as they are. */
  moveNoReplace(from: AbsolutePath, to: AbsolutePath): Promise<"moved" | "taken">;
  /** Forces the folder's entries to the medium. */
  flushFolder(folder: AbsolutePath): Promise<void>;
  /** Appends to a file of ours (journal, checksum list), made if missing, and forces it to the medium. */
  appendOwn(path: AbsolutePath, addition: Uint8Array): Promise<void>;
  /** Writes a small file of ours as a whole, in place of the earlier one: new file, flush, rename, folder flush. */
  replaceOwn(path: AbsolutePath, content: Uint8Array): Promise<void>;
  /** Removes unfinished work; refuses every path that isn't below an `incoming` folder of ours. */
  removeUnfinished(path: AbsolutePath): Promise<void>;
  /** Removes an earlier version of a work file; refuses every path that isn't one of ours below `earlier` of a record. */
  removeEarlier(path: AbsolutePath): Promise<void>;
  /** `amount` page-aligned blocks of `size` bytes each. */
  blocks(amount: number, size: Bytes): Block[];
}
