/** The journal on a drive: a torn or altered line is seen and dropped, all others hold. */

import { mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { expect, test } from "vitest";
import { NodeFiles } from "../../daemon/platform/common/nodeFiles.ts";
import { createHashing } from "../../daemon/platform/common/xxHash.ts";
import { checksumLine, readChecksums } from "../../daemon/record/checksums.ts";
import { readIdentity, writeIdentity } from "../../daemon/record/driveIdentity.ts";
import { DriveRecord } from "../../daemon/record/driveRecord.ts";
import { encodeFact, journalLine, readJournal } from "../../daemon/record/journal.ts";
import type { Fact } from "../../shared/facts.ts";
import {
  absolutePath,
  type CardId,
  type ContentHash,
  type DriveId,
  type OriginalId,
  type RelativePath,
  type TripId,
} from "../../shared/identity.ts";
import { bytes, instant } from "../../shared/units.ts";

const hashing = await createHashing();
const trip = "kc-test" as TripId;

function copyFact(nth: number, path = `2027-06-03/KC-A${nth}.NEF`): Fact {
  const original = `original ${nth}` as OriginalId;
  const drive = "blue" as DriveId;
  return {
    kind: "copy",
    trip,
    at: instant(nth),
    original,
    drive,
    path: path as RelativePath,
    readBack: "direct",
  };
}

/** A card's path may be anything; what is filed on a drive has a name of ours. */
function seen(path: string): Fact {
  return {
    kind: "sighting",
    trip,
    at: instant(9),
    card: "0123456789abcdef" as CardId,
    path: path as RelativePath,
    fingerprint: { size: bytes(1), modified: instant(2), ends: "0123456789abcdef" as ContentHash },
    original: "original 1" as OriginalId,
  };
}

const encoder = new TextEncoder();
const lines = (facts: readonly Fact[]): string =>
  facts.map((fact) => journalLine(encodeFact(fact, hashing))).join("");
const read = (text: string) => readJournal(encoder.encode(text), hashing);

test("facts come back as they went in, whatever their names hold", () => {
  const facts = [copyFact(1), seen('a\nb"\\\u2028'), seen("raw byte \udc80")];
  const back = read(lines(facts));
  expect(back.facts.map((each) => each.fact)).toEqual(facts);
  expect(back).toMatchObject({ spoilt: 0, endsWhole: true });
});

test("every line is an object by itself (RFC 8259), readable without this project", () => {
  for (const line of lines([copyFact(1), copyFact(2)])
    .trim()
    .split("\n"))
    expect(JSON.parse(line)).toMatchObject({ check: expect.stringMatching(/^[0-9a-f]{16}$/) });
});

test("a journal torn at any byte gives every whole line before the tear, and says so", () => {
  const text = encoder.encode(lines([copyFact(1), copyFact(2)]));
  const first = text.indexOf(0x0a) + 1;
  for (let cut = 0; cut < text.length; cut += 1) {
    const { facts, spoilt, endsWhole } = readJournal(text.slice(0, cut), hashing);
    // A line whose end alone is missing is whole: its check holds.
    const whole = [first - 1, text.length - 1].filter((end) => cut >= end).length;
    expect(facts, `cut at ${cut}`).toHaveLength(whole);
    const torn = cut !== 0 && cut !== first && cut !== first - 1 && cut !== text.length - 1;
    expect(spoilt, `cut at ${cut}`).toBe(torn ? 1 : 0);
    expect(endsWhole, `cut at ${cut}`).toBe(cut === 0 || cut === first);
  }
});

test("a bit that flips anywhere in a line drops that line and no other", () => {
  const text = encoder.encode(lines([copyFact(1), copyFact(2), copyFact(3)]));
  const start = text.indexOf(0x0a) + 1;
  const end = text.indexOf(0x0a, start);
  for (let at = start; at < end; at += 1) {
    const spoilt = text.slice();
    spoilt[at] = (spoilt[at] ?? 0) ^ 1;
    const times = readJournal(spoilt, hashing).facts.map(({ fact }) => fact.at);
    expect(times, `byte ${at}`).toEqual([1, 3]);
  }
});

test("a line whose check holds but which says nothing known is passed over", () => {
  const json = JSON.stringify({ kind: "rumour", trip, at: 1 });
  const running = hashing.start();
  running.update(encoder.encode(json));
  const { facts, spoilt } = read(journalLine({ id: running.digest(), json }) + lines([copyFact(1)]));
  expect(facts).toHaveLength(1);
  expect(spoilt).toBe(1);
});

test("after a torn end, what is added begins on a line of its own", async () => {
  const folder = mkdtempSync(join(tmpdir(), "scrubjay-record-"));
  try {
    const journal = join(folder, ".scrubjay/trips/kc-test/journal.jsonl");
    mkdirSync(join(journal, ".."), { recursive: true });
    writeFileSync(journal, lines([copyFact(1), copyFact(2)]).slice(0, -7));
    const files = new NodeFiles();
    const root = absolutePath(folder);
    const volume = { root, device: (await files.facts(root)).device };
    const open = () =>
      DriveRecord.open(files, hashing, volume, { id: trip, folder: "Kestrel Cliffs" }, bytes(1_000_000));
    const { record } = await open();
    expect(record.spoiltLines).toBe(1);
    const again = [copyFact(1), copyFact(2), copyFact(3)].map((fact) => encodeFact(fact, hashing));
    await record.add(again);
    await record.add(again);
    const { facts } = readJournal(readFileSync(journal), hashing);
    expect(facts.map(({ fact }) => fact.at)).toEqual([1, 2, 3]);
    const reopened = await open();
    expect(reopened.record.holds(again[2]?.id ?? "")).toBe(true);
    expect(reopened.facts.map(({ fact }) => fact.at)).toEqual([1, 2, 3]);
  } finally {
    rmSync(folder, { recursive: true });
  }
});

test("a checksum line is the one xxhsum writes and reads", () => {
  // Check value: xxhsum 0.8.1 on a file `abc.txt` that holds `abc`.
  const entry = { hash: "44bc2cf5ad770999" as ContentHash, path: "abc.txt" as RelativePath };
  expect(checksumLine(entry)).toBe("44bc2cf5ad770999  abc.txt\n");
  expect(readChecksums(encoder.encode(checksumLine(entry)))).toEqual({ entries: [entry], whole: true });
});

test("a checksum list that is torn or holds something else is known not to be whole", () => {
  for (const text of [
    "44bc2cf5ad770999  abc.txt",
    "44bc2cf5ad7709",
    "44bc2cf5ad770999 abc.txt\n",
    "# note\n",
  ])
    expect(readChecksums(encoder.encode(text)).whole, JSON.stringify(text)).toBe(false);
});

test("a drive's identity comes back as written, and nothing else is taken for one", () => {
  const identity = {
    id: "0123456789abcdef0123456789abcdef" as DriveId,
    name: "Blue",
    fsId: "D22D-08B8",
    made: "2027-06-01T10:00:00+00:00",
  };
  const written = writeIdentity(identity);
  expect(readIdentity(written)).toEqual(identity);
  for (let cut = 0; cut < written.length - 1; cut += 7)
    expect(readIdentity(written.slice(0, cut))).toBeUndefined();
  const other = JSON.stringify({ ...identity, scrubjay: "drive", version: 2 });
  expect(readIdentity(encoder.encode(other))).toBeUndefined();
  expect(readIdentity(encoder.encode(JSON.stringify({ ...identity, version: 1 })))).toBeUndefined();
});
