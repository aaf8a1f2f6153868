/** What a fault code means to a person, as a part of a sentence. */

import type { FileFaultCode } from "../../shared/problems.ts";

export function wordsFor(code: FileFaultCode): string {
  switch (code) {
    case "io":
      return "the medium answered with an error";
    case "read-only":
      return "it is write-protected";
    case "denied":
      return "this user may not";
    case "missing":
      return "it was there and is not any more";
    case "changed":
      return "it reads differently from one time to the next";
    case "differs":
      return "two readings of it gave different bytes";
    case "exists":
      return "something else stands there";
    case "gone":
      return "it was unplugged";
    case "no-space":
      return "it is full";
    case "bad-name":
      return "its file system can't hold the name";
    case "too-large":
      return "the file is too large for it";
    case "too-many":
      return "too many files are open on this computer";
  }
}
