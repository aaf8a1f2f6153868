/**
 * Names on media are bytes. If text and bytes didn't map one to one, a file could be left on a card, or two of its
 * files be taken for one.
 */

import { expect, test } from "vitest";
import { pathFromBytes, pathToBytes } from "../../daemon/platform/common/pathBytes.ts";
import { FileFault } from "../../shared/problems.ts";

test("a UTF-8 name reads as its text, also with a leading byte order mark", () => {
  for (const text of ["DCIM", "Kestrel Cliffs", "Føroyar", "e\u0301", "鳥.JPG", "🐦", "\ufeffDCIM", ""]) {
    expect(pathFromBytes(Buffer.from(text, "utf8"))).toBe(text);
    expect(pathToBytes(text)).toEqual(Buffer.from(text, "utf8"));
  }
});

test("a byte that is no UTF-8 stands as a lone surrogate, the rest as its text", () => {
  // PEP 383, "surrogateescape": byte 0xNN becomes U+DCNN. ISO 8859-1 "é" is E9.
  expect(pathFromBytes(Buffer.from("caf\xe9.JPG", "latin1"))).toBe("caf\udce9.JPG");
  // RFC 3629 section 3: surrogates (ED A0 80) and overlong forms (C0 AF) are not UTF-8.
  expect(pathFromBytes(Buffer.of(0xed, 0xa0, 0x80))).toBe("\udced\udca0\udc80");
  expect(pathFromBytes(Buffer.of(0xc0, 0xaf))).toBe("\udcc0\udcaf");
  // The first two bytes of a three-byte character, then an ordinary letter.
  expect(pathFromBytes(Buffer.of(0xe9, 0xb3, 0x41))).toBe("\udce9\udcb3A");
});

test("all one-byte and two-byte names, and many longer ones, come back as the same bytes", () => {
  const lost: string[] = [];
  const check = (...raw: number[]): void => {
    if (!pathToBytes(pathFromBytes(Buffer.from(raw))).equals(Buffer.from(raw))) lost.push(raw.join(" "));
  };
  for (let a = 1; a < 256; a += 1) {
    check(a);
    for (let b = 1; b < 256; b += a < 0x80 ? 31 : 1) check(a, b);
    for (let b = 1; b < 256; b += 31) {
      check(0xe9, a, b);
      check(0xf0, 0x9f, a, b);
      check(0xf0, a, b, 0x2e);
    }
  }
  expect(lost).toEqual([]);
});

test("text that stands for no bytes is refused as a bad name", () => {
  for (const text of ["\ud800", "\udc00", "\udc7f", "a\0b"]) {
    expect(() => pathToBytes(text)).toThrow(FileFault);
  }
});
