/** What the operating system calls a failure, and what the engine hears. The first cause must survive. */

import { expect, test } from "vitest";
import { fileFault } from "../../daemon/platform/common/fileFault.ts";
import { FileFault } from "../../shared/problems.ts";

const systemError = (code: string, errno = 0): Error => Object.assign(new Error(code), { code, errno });

test("each of the system's words has its fault, and the cause is kept", () => {
  // errno(3); which of them a medium gives is in the comments of the adapter.
  const words: Readonly<Record<string, string>> = {
    ENOENT: "missing",
    ENOTDIR: "missing",
    EEXIST: "exists",
    ENOSPC: "no-space",
    EDQUOT: "no-space",
    EROFS: "read-only",
    EACCES: "denied",
    EPERM: "denied",
    ENAMETOOLONG: "bad-name",
    EILSEQ: "bad-name",
    EFBIG: "too-large",
    EMFILE: "too-many",
    ENFILE: "too-many",
    EIO: "io",
    ENODEV: "gone",
    ENXIO: "gone",
    ESTALE: "gone",
    ENOTCONN: "gone",
    ESHUTDOWN: "gone",
  };
  for (const [word, code] of Object.entries(words)) {
    const cause = systemError(word);
    const fault = fileFault(cause, "/media/x/file");
    expect(fault, word).toMatchObject({ code, path: "/media/x/file", cause });
  }
});

test("an invalid argument is about the name only where a name was to be made", () => {
  expect(fileFault(systemError("EINVAL"), "/p", true).code).toBe("bad-name");
  expect(fileFault(systemError("EINVAL"), "/p").code).toBe("io");
});

test("errors that Node has no word for are known by their number, all others are failures of the medium", () => {
  // Linux errno.h: ENOMEDIUM is 123, EUCLEAN is 117.
  expect(fileFault(systemError("Unknown system error -123", -123), "/p").code).toBe("gone");
  expect(fileFault(systemError("Unknown system error -117", -117), "/p").code).toBe("io");
  expect(fileFault("a text", "/p").code).toBe("io");
});

test("a fault stays the fault it was", () => {
  const first = new FileFault("no-space", "/first");
  expect(fileFault(first, "/second")).toBe(first);
});
