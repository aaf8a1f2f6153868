/**
 * The one place where an error of Node's file functions becomes a `FileFault`. The first cause is kept.
 */

import { FileFault, type FileFaultCode } from "../../../shared/problems.ts";

const codes: Readonly<Record<string, FileFaultCode>> = {
  ENOENT: "missing",
  ENOTDIR: "missing",
  EEXIST: "exists",
  EISDIR: "exists",
  ENOTEMPTY: "exists",
  ENOSPC: "no-space",
  EDQUOT: "no-space",
  EROFS: "read-only",
  EACCES: "denied",
  EPERM: "denied",
  ELOOP: "denied", // A symbolic link where a file of a volume was meant: never followed.
  ENAMETOOLONG: "bad-name",
  EILSEQ: "bad-name",
  EFBIG: "too-large",
  EMFILE: "too-many",
  ENFILE: "too-many",
  EIO: "io",
  ENODEV: "gone",
  ENXIO: "gone",
  ESTALE: "gone",
  ENOTCONN: "gone", // A FUSE helper that died.
  ESHUTDOWN: "gone",
};

// Numbers for which libuv has no word (Linux, errno.h).
const numbers: ReadonlyMap<number, FileFaultCode> = new Map([
  [-122, "no-space"], // EDQUOT
  [-123, "gone"], // ENOMEDIUM
]);

/** Node's word for an error, such as `ENOENT`; "" for what isn't a system error. */
export function systemCode(error: unknown): string {
  return error instanceof Error && "code" in error && typeof error.code === "string" ? error.code : "";
}

/** The system's number for an error, below 0; 0 for what isn't a system error. */
export function systemNumber(error: unknown): number {
  return error instanceof Error && "errno" in error ? Number(error.errno) : 0;
}

/**
 * The fault that `error` is at `path`. `naming`: the call would have made a name, so that EINVAL is about the name
 * (exFAT and FAT answer so to `:`).
 */
export function fileFault(error: unknown, path: string, naming = false): FileFault {
  if (error instanceof FileFault) return error;
  const code = systemCode(error);
  if (naming && code === "EINVAL") return new FileFault("bad-name", path, error);
  return new FileFault(codes[code] ?? numbers.get(systemNumber(error)) ?? "io", path, error);
}
