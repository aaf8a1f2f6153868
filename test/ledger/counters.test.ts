/**
 * What the ledger counts as facts come in is what counting anew gives, whatever comes in which order: a card is called
 * clear and a trip safe by these numbers. Counting anew is spelt out here, by plain queries over copies, originals and
 * drives on a connection of its own.
 */

import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import Database from "better-sqlite3";
import { afterAll, expect, onTestFinished, test } from "vitest";
import { migrations } from "../../daemon/ledger/migrations.ts";
import { SqliteLedger } from "../../daemon/ledger/sqliteLedger.ts";
import { createHashing } from "../../daemon/platform/common/xxHash.ts";
import type { EncodedFact } from "../../daemon/ports/ledger.ts";
import { encodeFact } from "../../daemon/record/journal.ts";
import type { Fact, FrameOfOriginal } from "../../shared/facts.ts";
import type {
  CardId,
  ContentHash,
  DriveId,
  FrameId,
  OriginalId,
  RelativePath,
  TripId,
} from "../../shared/identity.ts";
import { bytes, instant } from "../../shared/units.ts";
import { seeded } from "../core/seeded.ts";

const hashing = await createHashing();
const folder = mkdtempSync(join(tmpdir(), "scrubjay-counters-"));
afterAll(() => rmSync(folder, { recursive: true }));

const trips = ["kc-one", "kc-two"] as TripId[];
const drives = ["blue", "slate", "rust", "amber"] as DriveId[];
const cards = ["card 1", "card 2"] as CardId[];

interface Told {
  readonly ledger: SqliteLedger;
  /** Another connection to the same file. */
  readonly beside: Database.Database;
  readonly countedAnew: () => ReturnType<ReturnType<typeof countingAnew>>;
  close(): void;
}

let opened = 0;

function open(): Told {
  opened += 1;
  const file = join(folder, `${opened}.sqlite`);
  const ledger = new SqliteLedger(file);
  const beside = new Database(file);
  return {
    ledger,
    beside,
    countedAnew: countingAnew(beside),
    close: () => {
      beside.close();
      ledger.close();
      for (const end of ["", "-wal", "-shm"]) rmSync(`${file}${end}`, { force: true });
    },
  };
}

/** As the ledger answered before it counted as it goes. */
function countingAnew(beside: Database.Database) {
  const share = beside.prepare(
    `SELECT count(*) AS files, coalesce(sum(o.size), 0) AS size, count(c.original) AS held,
       coalesce(sum(CASE WHEN c.original IS NULL THEN 0 ELSE o.size END), 0) AS held_size,
       coalesce(sum(c.read_back = 'direct'), 0) AS direct, coalesce(sum(c.read_back = 'remount'), 0) AS remount,
       coalesce(sum(c.read_back = 'cache'), 0) AS cache, max(c.checked) AS latest
     FROM originals o LEFT JOIN copies c ON c.original = o.id AND c.drive = ? WHERE o.trip = ?`,
  );
  const totals = beside.prepare(
    `WITH reached AS (SELECT o.frame AS frame, (SELECT count(*) FROM copies c JOIN drives d ON d.id = c.drive
         WHERE c.original = o.id AND d.seen = 1 AND d.lost IS NULL) >= ? AS ok FROM originals o WHERE o.trip = ?)
     SELECT count(DISTINCT frame) AS frames, count(*) AS files,
       (SELECT count(*) FROM (SELECT frame FROM reached WHERE frame IS NOT NULL
         GROUP BY frame HAVING min(ok) = 1)) AS atGoal,
       coalesce(sum(ok), 0) AS filesAtGoal FROM reached`,
  );
  type Share = Record<"files" | "size" | "held" | "held_size" | "direct" | "remount" | "cache", number> & {
    latest: number | null;
  };
  const nowhere = beside
    .prepare(
      `SELECT o.path FROM originals o LEFT JOIN frames f ON f.id = o.frame
       WHERE NOT EXISTS (SELECT 1 FROM copies c WHERE c.original = o.id) ORDER BY o.trip, f.day, o.path_key`,
    )
    .pluck();
  const shot = beside.prepare(
    `SELECT coalesce(f.day, '') AS day, count(DISTINCT o.frame) AS frames, count(*) AS files, sum(o.size) AS bytes
     FROM originals o LEFT JOIN frames f ON f.id = o.frame
     WHERE o.trip = ? GROUP BY 1 ORDER BY coalesce(f.day, '') = '', 1`,
  );
  const held = beside.prepare(
    `SELECT coalesce(f.day, '') AS day, c.drive, count(*) AS files, sum(o.size) AS bytes,
       sum(c.read_back = 'cache') AS unsure
     FROM copies c JOIN originals o ON o.id = c.original LEFT JOIN frames f ON f.id = o.frame
     WHERE o.trip = ? GROUP BY 1, 2 ORDER BY c.drive, 1`,
  );
  return () => ({
    shot: trips.map((trip) => shot.all(trip)),
    held: trips.map((trip) => held.all(trip)),
    shares: trips.map((trip) =>
      drives.map((drive) => {
        const row = share.get(drive, trip) as Share;
        return {
          holdsFiles: row.held,
          holdsBytes: row.held_size,
          owedFiles: row.files - row.held,
          owedBytes: row.size - row.held_size,
          direct: row.direct,
          remount: row.remount,
          cache: row.cache,
          lastVerified: row.latest ?? undefined,
        };
      }),
    ),
    totals: trips.map((trip) => [0, 1, 2, 3, 4, 5].map((goal) => totals.get(goal, trip))),
    nowhere: nowhere.all(),
  });
}

function counted(ledger: SqliteLedger) {
  return {
    shot: trips.map((trip) => ledger.frames.shotByDay(trip)),
    held: trips.map((trip) =>
      [...ledger.frames.heldByDay(trip)].sort((a, b) =>
        `${a.drive} ${a.day}` < `${b.drive} ${b.day}` ? -1 : 1,
      ),
    ),
    shares: trips.map((trip) => drives.map((drive) => ledger.share(trip, drive))),
    totals: trips.map((trip) => [0, 1, 2, 3, 4, 5].map((goal) => ledger.totals(trip, goal))),
    nowhere: ledger.nowhere().map(({ path }) => path),
  };
}

/** @returns what both say */
function sameCounts({ ledger, countedAnew }: Told, when: string) {
  const anew = countedAnew();
  const now = counted(ledger);
  // Comparing texts is quicker; what differs is told by the other one.
  if (JSON.stringify(now) !== JSON.stringify(anew)) expect(now, when).toEqual(anew);
  return anew;
}

/** Tells a ledger, step by step, what might happen to trips and drives. */
class Life {
  readonly facts: EncodedFact[] = [];
  readonly #originals: { readonly id: OriginalId; readonly trip: TripId; readonly path: RelativePath }[] = [];
  readonly #told: SqliteLedger;
  readonly #below: (most: number) => number;
  #now = 1_000;

  constructor(told: SqliteLedger, seed: number) {
    const roll = seeded(seed);
    this.#told = told;
    this.#below = (most) => roll.below(most);
  }

  pick<T>(list: readonly T[]): T {
    return list[this.#below(list.length)] as T;
  }

  shuffled<T>(list: readonly T[]): readonly T[] {
    return list
      .map((each) => ({ each, at: this.#below(1_000_000) }))
      .sort((a, b) => a.at - b.at)
      .map(({ each }) => each);
  }

  step(): void {
    this.#now += 1 + this.#below(50);
    const what = this.#below(100);
    if (this.#originals.length === 0 || what < 18) this.#shoot();
    else if (what < 52) this.#copy();
    else if (what < 64) this.#lose();
    else if (what < 72) this.#check();
    else if (what < 74) this.#tell({ kind: "drive-lost", ...this.#base(), drive: this.pick(drives) });
    else if (what < 90) changeDrives(this.#told, this.pick(drives), this.#below(9), this.#now);
    else this.#look();
  }

  #tell(...facts: readonly Fact[]): void {
    const encoded = facts.map((fact) => encodeFact(fact, hashing));
    this.#told.apply(encoded);
    this.facts.push(...encoded);
  }

  #base(trip: TripId = this.pick(trips)) {
    return { trip, at: instant(this.#now) };
  }

  /** A file of a new frame, of one that is there, or of none; shown by a card. */
  #shoot(): void {
    const nth = this.#originals.length;
    const trip = this.pick(trips);
    const id = `original ${nth}` as OriginalId;
    const path = `2027-06-05/${nth}.CRW` as RelativePath;
    const size = bytes(10 + nth);
    const number = this.#below(6);
    const frame: FrameOfOriginal | undefined =
      number === 0
        ? undefined
        : {
            id: `${trip} frame ${number}` as FrameId,
            stem: `2027-06-05/frame ${number}` as RelativePath,
            key: `${number}`,
            count: 0,
            taken: { instant: 1, local: "", day: "2027-06-05", basis: "trip-zone", camera: "" },
            letter: "A",
            serial: "",
            model: "",
          };
    this.#originals.push({ id, trip, path });
    const hash = "0123456789abcdef" as ContentHash;
    const role = frame === undefined ? "extra" : "frame";
    const common = { ...this.#base(trip), original: id };
    const fingerprint = { size, modified: instant(1), ends: hash };
    this.#tell(
      { kind: "original", ...common, hash, size, path, role, ...(frame === undefined ? {} : { frame }) },
      { kind: "sighting", ...common, card: this.pick(cards), path: cardPath(nth % 8), fingerprint },
    );
  }

  #copy(): void {
    const { id, trip, path } = this.pick(this.#originals);
    const where = this.#below(5) === 0 ? (`moved/${this.#now}.CRW` as RelativePath) : path;
    const readBack = this.pick(["direct", "remount", "cache"] as const);
    this.#tell({
      kind: "copy",
      ...this.#base(trip),
      drive: this.pick(drives),
      original: id,
      path: where,
      readBack,
    });
  }

  #lose(): void {
    const { id, trip, path } = this.pick(this.#originals);
    const drive = this.pick(drives);
    const copies = this.#told.copyFacts(id, drive);
    const why = this.pick(["damaged", "missing", "changed", "moved"] as const);
    if (copies.length > 0)
      this.#tell({ kind: "loss", ...this.#base(trip), drive, original: id, path, why, copies });
  }

  #check(): void {
    const { trip, id } = this.pick(this.#originals);
    const readBack = this.pick(["direct", "remount", "cache"] as const);
    this.#tell({
      kind: "checked",
      ...this.#base(trip),
      drive: this.pick(drives),
      readBack,
      originals: [id, this.pick(this.#originals).id],
    });
  }

  #look(): void {
    const card = this.pick(cards);
    const what = this.#below(3);
    if (what === 0) this.#told.forgetSighting(card, cardPath(this.#below(8)));
    else if (what === 1) {
      const trip = this.pick(trips);
      const frame = `${trip} frame ${1 + this.#below(5)}` as FrameId;
      this.#tell({ kind: "look", ...this.#base(trip), frame, fine: this.#below(2) === 0 });
    } else listCard(this.#told, card, this.#below(8));
  }
}

function cardPath(nth: number): RelativePath {
  return `DCIM/100ALDIN/ALD_${nth}.CRW` as RelativePath;
}

/** @param sizes as they are, or of the file that came under this path later: then nothing is known of it yet */
function listCard(ledger: SqliteLedger, card: CardId, sizes: number): void {
  const files = Array.from({ length: 8 }, (_, nth) => ({
    path: cardPath(nth),
    size: bytes(10 + nth + (nth < sizes ? 0 : 8)),
    modified: instant(1),
    role: "frame" as const,
    frame: `${nth}`,
    why: "",
  }));
  ledger.setCardFiles(card, files, instant(1));
}

/** Introduced, plugged in, told of by a record, lost, and introduced again. */
function changeDrives(ledger: SqliteLedger, drive: DriveId, what: number, now: number): void {
  const row = { id: drive, name: drive, fsId: "", lastSeen: instant(now) };
  if (what < 3) ledger.addDrive(row);
  else if (what < 6) ledger.driveSeen(drive, instant(now));
  else if (what < 8) ledger.hearOfDrive(row);
  else ledger.loseDrive(drive, instant(now));
}

test("what is counted as facts come in is what counting anew gives, after every step of many lives", () => {
  const most = { nowhere: 0, atGoal: 0, copies: 0 };
  for (let seed = 1; seed <= 60; seed += 1) {
    const told = open();
    const life = new Life(told.ledger, seed);
    for (let step = 0; step < 50; step += 1) {
      life.step();
      const anew = sameCounts(told, `seed ${seed}, step ${step}`);
      most.nowhere = Math.max(most.nowhere, anew.nowhere.length);
      most.atGoal = Math.max(most.atGoal, told.ledger.totals(trips[0] as TripId, 2).atGoal);
      most.copies = Math.max(
        most.copies,
        anew.shares.flat().reduce((sum, each) => sum + each.holdsFiles, 0),
      );
    }
    // Learnt by another computer: in any order, in parts, more than once; drives become known before, between and after.
    const learnt = open();
    const parts = life.shuffled([...life.facts, ...life.facts.slice(0, 9)]);
    for (let first = 0; first < parts.length; first += 20) {
      changeDrives(learnt.ledger, life.pick(drives), (first / 20 + seed) % 9, first);
      learnt.ledger.learn(parts.slice(first, first + 20));
      sameCounts(learnt, `seed ${seed}, learnt from ${first}`);
    }
    learnt.ledger.learn(life.facts);
    sameCounts(learnt, `seed ${seed}, learnt`);
    learnt.close();
    told.close();
  }
  // These lives do what is to be counted.
  expect(most.nowhere).toBeGreaterThan(5);
  expect(most.atGoal).toBeGreaterThan(1);
  expect(most.copies).toBeGreaterThan(10);
}, 240_000);

test("files of cards are told as a ledger tells them that was opened just now, and marked anew when they change", () => {
  let same = 0;
  let different = 0;
  for (let seed = 1_000; seed < 1_040; seed += 1) {
    const told = open();
    const life = new Life(told.ledger, seed);
    for (const card of cards) listCard(told.ledger, card, 8);
    for (let step = 0; step < 40; step += 1) {
      const before = cards.map((card) => ({
        mark: told.ledger.cardMark(card),
        files: told.ledger.cardFiles(card),
      }));
      life.step();
      const fresh = new SqliteLedger(told.beside.name);
      for (const [nth, card] of cards.entries()) {
        const now = fresh.cardFiles(card);
        expect(told.ledger.cardFiles(card), `seed ${seed}, step ${step}`).toEqual(now);
        const changed = JSON.stringify(now) !== JSON.stringify(before[nth]?.files);
        if (changed) different += 1;
        else same += 1;
        if (changed)
          expect(told.ledger.cardMark(card), `seed ${seed}, step ${step}`).not.toBe(before[nth]?.mark);
      }
      fresh.close();
    }
    told.close();
  }
  expect(same).toBeGreaterThan(100);
  expect(different).toBeGreaterThan(100);
}, 120_000);

test("a ledger from before it counted has its counts after it is opened", () => {
  const told = open();
  const life = new Life(told.ledger, 7);
  for (let step = 0; step < 120; step += 1) life.step();
  told.ledger.close();
  const file = join(folder, "before.sqlite");
  const db = new Database(file);
  for (const step of migrations.slice(0, 2)) db.exec(step);
  db.exec(`ATTACH '${told.beside.name}' AS later`);
  const columns = (table: string) =>
    (db.prepare(`SELECT name FROM pragma_table_info('${table}')`).pluck().all() as string[]).join(", ");
  for (const table of ["originals", "frames", "copies", "drives"])
    db.exec(`INSERT INTO ${table} (${columns(table)}) SELECT ${columns(table)} FROM later.${table}`);
  db.pragma("user_version = 2");
  db.close();
  told.beside.close();
  const ledger = new SqliteLedger(file);
  const beside = new Database(file);
  onTestFinished(() => {
    beside.close();
    ledger.close();
  });
  const anew = countingAnew(beside)();
  expect(anew.shares.flat().some(({ holdsFiles }) => holdsFiles > 0)).toBe(true);
  expect(counted(ledger)).toEqual(anew);
});

test("what no count could follow is refused, and what REPLACE takes away is counted", () => {
  const told = open();
  onTestFinished(() => told.close());
  const life = new Life(told.ledger, 3);
  for (let step = 0; step < 80; step += 1) life.step();
  const { beside } = told;
  for (const sql of [
    "DELETE FROM originals",
    "UPDATE originals SET size = size + 1",
    "UPDATE copies SET drive = 'green'",
    "UPDATE drives SET id = 'green'",
  ])
    expect(() => beside.exec(sql), sql).toThrow(/never/);
  // As the ledger's own connection is set.
  beside.pragma("recursive_triggers = ON");
  const before = counted(told.ledger);
  beside.exec("INSERT OR REPLACE INTO copies SELECT * FROM copies");
  beside.exec("INSERT OR REPLACE INTO drives SELECT * FROM drives");
  expect(counted(told.ledger)).toEqual(before);
  sameCounts(told, "replaced");
});
