/**
 * What an operating system, not a camera, left on a card, and what can't be copied because it is no file. These are
 * not copied, but each is named to the photographer. The list is short on purpose: whatever isn't on it is kept,
 * hidden files and recovered fragments (`FOUND.000`, `LOST.DIR`, `lost+found`) included, for they may be pictures.
 */

import { baseName, type RelativePath } from "../../shared/identity.ts";
import type { Bytes } from "../../shared/units.ts";

/** The four kinds that the file port knows. */
export type CardEntryKind = "file" | "folder" | "link" | "other";

/**
 * Why this entry of a card is left behind; undefined: it is kept. A folder with a reason need not be entered, yet
 * every path inside it has the same reason.
 * @param size of a file, where known: an AppleDouble file that is too big for one is kept.
 */
export function leavingReason(path: RelativePath, kind: CardEntryKind, size?: Bytes): string | undefined {
  if (kind === "link") return "a link; what it points to is not on the card";
  if (kind === "other") return "neither a file nor a folder";
  const root = rootFolderReason(path, kind);
  if (root !== undefined || kind === "folder") return root;
  const name = baseName(path).toLowerCase();
  if (name.startsWith("._") && (size ?? 0) <= appleDoubleBytesMax) return "macOS keeps attributes in it";
  return systemFiles.get(name);
}

/**
 * AppleDouble holds attributes of the file it is named after (RFC 1740). Cameras never write such a name: DCF
 * (CIPA DC-009) allows letters, digits and `_` only. What is bigger than attributes ever are could be a picture that
 * somebody hid, and is kept. bytes.
 */
const appleDoubleBytesMax = 256 * 1024;

/** Folders that systems make in a volume's root and nowhere else; lower case. Common practice, no single source. */
const systemFolders: ReadonlyMap<string, string> = new Map([
  [".trashes", "the trash of macOS"],
  [".spotlight-v100", "the search index of macOS"],
  [".fseventsd", "a log of macOS"],
  [".temporaryitems", "temporary files of macOS"],
  [".documentrevisions-v100", "document versions of macOS"],
  ["system volume information", "settings of Windows"],
  ["$recycle.bin", "the recycle bin of Windows"],
  ["recycler", "the recycle bin of Windows"],
  ["recycled", "the recycle bin of Windows"],
]);

/** Files that systems leave in any folder; lower case. */
const systemFiles: ReadonlyMap<string, string> = new Map([
  [".ds_store", "a folder's view in macOS"],
  [".metadata_never_index", "a setting of macOS"],
  [".volumeicon.icns", "a volume's icon in macOS"],
  [".apdisk", "a setting of macOS"],
  ["thumbs.db", "thumbnails of Windows"],
  ["ehthumbs.db", "thumbnails of Windows"],
  ["desktop.ini", "a folder's view in Windows"],
]);

/** A file that only has the name of a system's folder isn't it, and is kept. */
function rootFolderReason(path: RelativePath, kind: CardEntryKind): string | undefined {
  const cut = path.indexOf("/");
  if (cut < 0 && kind !== "folder") return undefined;
  const root = (cut < 0 ? path : path.slice(0, cut)).toLowerCase();
  // The trash of Linux desktops carries the user's number (Trash specification 1.0).
  if (/^\.trash(-\d+)?$/.test(root)) return "the trash of a Linux desktop";
  return systemFolders.get(root);
}
