/** Names that every drive can hold: what is refused somewhere, what must pass, and what holds for any text at all. */

import { expect, test } from "vitest";
import { bytesOf, fitPath, hash8, safePart, safePath } from "../../daemon/core/safeName.ts";
import { relativePath } from "../../shared/identity.ts";
import { hostileText, seeded } from "./seeded.ts";

// exFAT file system specification (2019) 7.7.3 and Microsoft, Naming Files, Paths, and Namespaces; written anew here.
const refusedSomewhere = /[\u0000-\u001f"*/:<>?\\|]|[. ]$|^$|^\.{1,2}$/;
const device = /^(con|prn|aux|nul|com[1-9¹²³]|lpt[1-9¹²³]) *(\.|$)/i;

const isLegal = (name: string): boolean =>
  !refusedSomewhere.test(name) &&
  !device.test(name) &&
  name.length <= 255 &&
  name.normalize("NFD").length <= 255 &&
  Buffer.byteLength(name) <= 255 &&
  Buffer.from(name).toString() === name;

test("names that some drive refuses are percent-encoded", () => {
  const cases: readonly (readonly [string, string])[] = [
    ["a:b", "a%3Ab"],
    ["a/b", "a%2Fb"],
    ['"*<>?\\|', "%22%2A%3C%3E%3F%5C%7C"],
    ["new\nline", "new%0Aline"], // RFC 8493 2.1.3 encodes LF so
    ["trip.", "trip%2E"],
    ["trip ", "trip%20"],
    ["a..", "a.%2E"],
    [".", "%2E"],
    ["..", ".%2E"],
    ["", "_"],
    ["line\u2028end", "line%E2%80%A8end"],
    ["turn\u202egpj", "turn%E2%80%AEgpj"],
    ["byte\udc80\udcff", "byte%80%FF"],
  ];
  for (const [name, safe] of cases) expect(safePart(name), JSON.stringify(name)).toBe(safe);
});

test("device names of Windows are changed in their first letter, in any case and with any ending", () => {
  // Microsoft, Naming Files, Paths, and Namespaces: NUL.txt and NUL.tar.gz count as NUL.
  expect(safePart("aux.jpg")).toBe("%61ux.jpg");
  expect(safePart("Com1")).toBe("%43om1");
  expect(safePart("con .xmp")).toBe("%63on .xmp");
  expect(safePart("COM¹")).toBe("%43OM¹");
  expect(safePart("NUL.tar.gz")).toBe("%4EUL.tar.gz");
});

test("names that are legal everywhere come back as they are", () => {
  const names = [
    ".temp",
    "COM10",
    "console.txt",
    "auxiliary.jpg",
    "100%",
    "50% off.jpg",
    "ALD_0421.NEF",
    "~a",
    "a b",
    "写真",
  ];
  for (const name of names) expect(safePart(name)).toBe(name);
});

test("composed and decomposed names are kept as found", () => {
  // UAX #15; the bytes are those of `Nuñez` in either form.
  const composed = Buffer.from("4e75c3b1657a", "hex").toString();
  const decomposed = Buffer.from("4e756ecc83657a", "hex").toString();
  expect(Buffer.from(safePart(composed)).toString("hex")).toBe("4e75c3b1657a");
  expect(Buffer.from(safePart(decomposed)).toString("hex")).toBe("4e756ecc83657a");
});

test("a percent sign is encoded only where it could be taken for an encoding", () => {
  expect(safePart("a%3Ab")).toBe("a%253Ab");
  expect(safePart("a%3ab")).toBe("a%253ab");
  expect(safePart("a%b")).toBe("a%b");
  expect(safePart("a%:")).toBe("a%%3A");
});

test("a long name keeps its ending and a check of the whole, so that two stay two", () => {
  const one = safePart(`${"ä".repeat(200)}1.NEF`);
  const two = safePart(`${"ä".repeat(200)}2.NEF`);
  expect(one).toMatch(/^ä+~[0-9a-f]{8}\.NEF$/);
  expect(one).not.toBe(two);
  expect(Buffer.byteLength(one)).toBeGreaterThan(250);
  expect(Buffer.byteLength(one)).toBeLessThanOrEqual(255);
  expect(safePart(one)).toBe(one);
});

test("a shortened name never ends within an encoding", () => {
  for (let length = 16; length < 40; length += 1) {
    expect(safePart("::::::::::::::::", length).replace(/%3A/g, "")).toMatch(/^~[0-9a-f]{8}$|^$/);
  }
});

test("any text becomes a legal name, different texts different names, and a legal result stays", () => {
  const seed = 20270603;
  const random = seeded(seed);
  const seen = new Map<string, string>();
  for (let round = 0; round < 20_000; round += 1) {
    const name = hostileText(random, round % 50 === 0 ? 400 : 8);
    const safe = safePart(name);
    const said = `seed ${seed}, round ${round}, ${JSON.stringify(name)} → ${JSON.stringify(safe)}`;
    expect(isLegal(safe), said).toBe(true);
    if (isLegal(name) && !/[\p{Cc}\p{Cf}\p{Zl}\p{Zp}]|%[0-9a-f]{2}/iu.test(name))
      expect(safe, said).toBe(name);
    // Only "" and "_" share a name; a card's file is never called "".
    if (name !== "") expect(seen.get(safe) ?? name, said).toBe(name);
    if (name !== "") seen.set(safe, name);
    if (safe.length > 32) expect(Buffer.byteLength(safePart(name, 32)), said).toBeLessThanOrEqual(32);
  }
});

test("the check value is FNV-1a", () => {
  // Vectors of the FNV reference code, as in the IETF draft "The FNV Non-Cryptographic Hash Algorithm", 32 bits.
  expect(hash8("")).toBe("811c9dc5");
  expect(hash8("a")).toBe("e40c292c");
  expect(hash8("foobar")).toBe("bf9cf968");
});

test("a path is made safe part by part", () => {
  expect(safePath(relativePath("PRIVATE/a:b/nul"))).toBe("PRIVATE/a%3Ab/%6Eul");
  expect(safePath(relativePath(""))).toBe("");
  expect(safePath(relativePath("../../etc"))).toBe(".%2E/.%2E/etc");
});

test("a path too long keeps its first folder and its name, with one folder for those between", () => {
  const folders = Array.from({ length: 40 }, (_, index) => `folder number ${index} of many`);
  const path = relativePath(["extras", ...folders, "name.bin"].join("/"));
  const other = relativePath(["extras", ...folders, "again", "name.bin"].join("/"));
  expect(safePath(path)).toMatch(/^extras\/folders-[0-9a-f]{8}\/name\.bin$/);
  expect(safePath(other)).not.toBe(safePath(path));
  const wide = relativePath(`${"a".repeat(250)}/${"b".repeat(250)}/${"c".repeat(250)}.NEF`);
  for (const longest of [80, 200, 300, 600]) {
    expect(bytesOf(safePath(wide, longest))).toBeLessThanOrEqual(longest);
    expect(safePath(wide, longest)).toMatch(/\.NEF$/);
  }
});

test("fitting a safe path changes nothing the second time", () => {
  const random = seeded(7);
  for (let round = 0; round < 2000; round += 1) {
    const path = relativePath(`x/${hostileText(random, 60)}/y${hostileText(random, 10)}`);
    const safe = safePath(path);
    expect(fitPath(safe)).toBe(safe);
  }
});
