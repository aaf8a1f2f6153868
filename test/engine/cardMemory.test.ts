/**
 * Verdicts are remembered, and nothing may show it: after each change that a verdict rests on, what is told of every
 * card is what is told by someone who remembers nothing and has just opened the ledger.
 */

import { mkdirSync } from "node:fs";
import { join } from "node:path";
import { afterEach, expect, test } from "vitest";
import { cardsJson, judgedCards } from "../../daemon/engine/cardBoard.ts";
import { type CardCircumstances, judge, judgementOf } from "../../daemon/engine/cardJudgement.ts";
import { acceptDamage, declareLost } from "../../daemon/engine/declare.ts";
import type { Engine } from "../../daemon/engine/engine.ts";
import { framesJson } from "../../daemon/engine/frames.ts";
import { framesFace } from "../../daemon/faces/framesFace.ts";
import { SqliteLedger } from "../../daemon/ledger/sqliteLedger.ts";
import type { CardFileState } from "../../daemon/ports/ledger.ts";
import { encodeFact } from "../../daemon/record/journal.ts";
import type { CardStatusJson } from "../../shared/api.ts";
import type { CardId, DriveId, OriginalId, RelativePath, TripId } from "../../shared/identity.ts";
import { bytes, count, instant } from "../../shared/units.ts";
import { profileText } from "../cards/generate/card.ts";
import { encodeJpeg } from "../cards/generate/jpeg.ts";
import { type Bench, makeBench } from "./bench.ts";
import { comeHome } from "./homeBench.ts";
import { away, back, cardOf, layCard } from "./pictures.ts";

let bench: Bench;
let ended = async (): Promise<void> => undefined;
afterEach(async () => {
  await ended();
  ended = async () => undefined;
});

const trip = "kc-2027-06-03-test" as TripId;
const all = ["Blue", "Slate"];
const jpeg = encodeJpeg({ width: 64, height: 48, data: Buffer.alloc(64 * 48 * 4, 127) }, 80);
const other = encodeJpeg({ width: 64, height: 48, data: Buffer.alloc(64 * 48 * 4, 90) }, 80);
const half = jpeg.subarray(0, jpeg.length / 2);
const picture = (nth: number) => `DCIM/100ABCDE/ABCD000${nth}.JPG`;

/** The same engine, looked at through a ledger that was opened just now: nothing is remembered of it. */
function asNew(engine: Engine): { readonly engine: Engine; close(): void } {
  const ledger = new SqliteLedger(join(bench.folder, "ledger.sqlite"));
  const looked: Engine = Object.create(engine, { ports: { value: { ...engine.ports, ledger } } });
  return { engine: looked, close: () => ledger.close() };
}

const withoutTime = (cards: readonly CardStatusJson[]) => cards.map((card) => ({ ...card, judgedAt: "" }));

/** @returns what is told of the cards */
function sameAsNew(what: string): string {
  const fresh = asNew(bench.engine);
  try {
    const now = withoutTime(cardsJson(bench.engine));
    expect(now, what).toEqual(withoutTime(cardsJson(fresh.engine)));
    expect(judgedCards(bench.engine), what).toEqual(judgedCards(fresh.engine));
    return JSON.stringify(now.map(({ lastSeen: _, ...card }) => card));
  } finally {
    fresh.close();
  }
}

const engine = () => bench.engine;
const ledger = () => engine().ports.ledger;
const one = () => cardOf(bench, "ONE").id as CardId;
const driveId = (name: string) =>
  ledger()
    .drives()
    .find((drive) => drive.name === name)?.id as DriveId;
const originalOf = (path: string) =>
  ledger()
    .cardFiles(one())
    .find((file) => file.path === path)?.original;

async function look(fine: boolean): Promise<void> {
  const { frames } = await framesJson(engine(), trip, undefined, count(0), count(9));
  await framesFace(engine()).look(frames[0]?.id ?? "", fine);
}

function lose(why: "missing" | "damaged"): void {
  const original = originalOf(picture(1));
  if (original === undefined) throw new Error("it isn't known yet");
  const drive = driveId("Blue");
  const copies = ledger().copyFacts(original, drive);
  const path = ledger().copyOf(original, drive)?.path;
  if (path === undefined) throw new Error("Blue doesn't hold it");
  const fact = { kind: "loss", trip, at: engine().now(), drive, original, path, why, copies } as const;
  ledger().apply([encodeFact(fact, engine().ports.hashing)]);
}

const fault = (medium: CardId, path: string, detail: string) =>
  ledger().setFault({ medium, path, code: "read-error", detail, at: engine().now() });

/** Each is a change that a verdict, or what is told of a card, rests on. Those after `pause` aren't made good by a round. */
const changes: readonly (readonly [what: string, change: () => unknown])[] = [
  ["a second card is put in", () => back(bench, "TWO")],
  ["damage is accepted", () => acceptDamage(engine(), one(), picture(2))],
  ["a frame isn't fine", () => look(false)],
  ["it is fine", () => look(true)],
  ["the profile asks for more copies", () => describe([...all, "Rust"], 3)],
  ["and for fewer again", () => describe(all, 2)],
  ["another drive takes the place of one", () => describe(["Blue", "Amber"], 2)],
  ["and that one takes part again", () => describe(all, 2)],
  ["nothing is made good from here on", () => engine().pause()],
  ["a copy is missing", () => lose("missing")],
  ["the drive that owes it is pulled", () => away(bench, "Blue")],
  ["it is back", () => back(bench, "Blue")],
  ["a file can't be read", () => fault(one(), picture(1), "the card gave an error")],
  ["its fault is another one", () => fault(one(), picture(1), "it ends too early")],
  ["a folder can't be read", () => fault(one(), "DCIM/101ABCDE", "the card gave an error")],
  ["faults are gone", () => ledger().clearFaults(one())],
  ["a file isn't what it was", () => ledger().forgetSighting(one(), picture(3) as never)],
  ["it vanished from the card", () => vanish(one(), "DCIM/100ABCDE/ABCD0009.JPG")],
  ["and that is of no concern", () => ledger().forgetVanished(one())],
  ["a scrub finds copies that may be from a cache", () => scrubbed()],
  ["a drive is called otherwise", () => rename("Slate", "Shale")],
  ["and as before", () => rename("Slate", "Slate")],
  ["a drive can't be looked at", () => doubt(true)],
  ["it can again", () => doubt(false)],
  ["the card is taken out", () => away(bench, "ONE")],
  ["work goes on", () => engine().goOn()],
  ["the card comes back with other files", () => changed()],
  ["the trip is home", () => comeHome(bench, { to: archive() })],
  ["a drive is lost", () => loseDrive()],
];

function archive(): string {
  const folder = join(bench.folder, "archive");
  mkdirSync(folder);
  return folder;
}

let slate: DriveId;
let doubted = false;

async function describe(drives: readonly string[], copies: number): Promise<void> {
  bench.trip(profileText({ drives: [...drives], copies }));
}

async function loseDrive(): Promise<void> {
  await away(bench, "Blue");
  await engine().between(async () => declareLost(engine(), "Blue"));
}

function vanish(card: CardId, path: string): void {
  const gone = { kind: "vanished", trip, at: engine().now(), card, path, size: 9, modified: instant(5) };
  ledger().apply([encodeFact(gone as never, engine().ports.hashing)]);
}

function scrubbed(): void {
  const originals = ledger()
    .cardFiles(one())
    .flatMap(({ original }) => original ?? []);
  const checked = { kind: "checked", trip, at: engine().now(), drive: slate, readBack: "cache", originals };
  ledger().apply([encodeFact(checked as never, engine().ports.hashing)]);
}

function rename(from: string, name: string): void {
  const row = ledger()
    .drives()
    .find((drive) => drive.id === slate);
  if (row === undefined) throw new Error(`${from} isn't known`);
  ledger().addDrive({ ...row, name });
}

/** The bay is asked by each judgement; what it says is set here. */
function doubt(on: boolean): void {
  const { bay } = engine();
  if (!doubted) {
    const before = bay.isDoubtful.bind(bay);
    bay.isDoubtful = (drive) => (doubting && drive === slate) || before(drive);
    doubted = true;
  }
  doubting = on;
}
let doubting = false;

async function changed(): Promise<void> {
  layCard(bench, "ONE", { [picture(3)]: other, [picture(5)]: jpeg });
  await back(bench, "ONE");
}

test("after each change that a verdict rests on it is the one that nobody remembers", async () => {
  bench = await makeBench();
  ended = () => bench.end();
  await describe(all, 2);
  for (const drive of all) await bench.drive(drive);
  layCard(bench, "ONE", { [picture(1)]: jpeg, [picture(2)]: half, [picture(3)]: other, "DCIM/a.txt": jpeg });
  layCard(bench, "TWO", { "DCIM/101ABCDE/ABCD0004.JPG": jpeg.subarray(0, jpeg.length / 3) });
  await back(bench, "ONE");
  slate = driveId("Slate");
  const unchanged: string[] = [];
  let before = sameAsNew("at first");
  for (const [what, change] of changes) {
    await change();
    sameAsNew(`${what}, at once`);
    const atOnce = sameAsNew(what);
    await bench.idle();
    const after = sameAsNew(`${what}, and all is done`);
    if (atOnce === before && after === before) unchanged.push(what);
    before = after;
  }
  // Everything else shows in what is told, so that a change that goes unnoticed would be noticed here.
  expect(unchanged).toEqual(["nothing is made good from here on"]);
}, 60_000);

const file: CardFileState = {
  path: "DCIM/100ABCDE/ABCD0001.JPG" as RelativePath,
  size: bytes(9),
  modified: instant(1),
  role: "frame",
  frame: "1",
  why: "",
  original: "original 1" as OriginalId,
  trip,
  drives: ["blue", "slate"] as DriveId[],
  unsure: [],
  archives: ["attic"],
  copied: true,
  damage: "",
  accepted: false,
  doubted: false,
};

/** A card that is clear. */
const clear: CardCircumstances = {
  name: "Card 1",
  present: true,
  surveyed: true,
  confirmed: true,
  goal: 2,
  goals: [[trip, 2]],
  drives: [
    { id: "blue" as DriveId, name: "Blue", present: true, lost: false },
    { id: "slate" as DriveId, name: "Slate", present: true, lost: false },
    { id: "rust" as DriveId, name: "Rust", present: true, lost: false },
  ],
  archives: [],
  faults: [],
  losses: [],
  doubtful: [],
  vanished: 0,
  unseen: false,
};
/** And one that isn't, so that reasons are told. */
const short: CardCircumstances = { ...clear, goal: 3 };
const [blue, slateDrive, rust] = clear.drives;

type Case = readonly [CardCircumstances, Partial<CardCircumstances>, readonly CardFileState[]];

/** For each circumstance, one that changes alone, and with it what is told. */
const alone: { readonly [C in keyof CardCircumstances]: Case } = {
  name: [clear, { name: "Card 2" }, [file]],
  present: [{ ...clear, surveyed: false }, { present: false }, [file]],
  surveyed: [clear, { surveyed: false }, [file]],
  confirmed: [clear, { confirmed: false }, [file]],
  goal: [clear, { goal: 3 }, [file]],
  goals: [clear, { goals: [[trip, 3]] }, [file]],
  drives: [short, { drives: [blue, slateDrive, { ...rust, present: false }] as never }, [file]],
  archives: [short, { archives: [{ id: "attic", folder: "/archive", trip, unsure: false }] }, [file]],
  faults: [short, { faults: [[file.path, "the card gave an error"]] }, [file]],
  losses: [short, { losses: [["original 1" as OriginalId, "rust" as DriveId, "damaged"]] }, [file]],
  doubtful: [clear, { doubtful: ["slate" as DriveId] }, [file]],
  vanished: [clear, { vanished: 1 }, [file]],
  unseen: [clear, { unseen: true }, []],
};

test("a circumstance that changes alone changes what is told, though nothing changed about the files", () => {
  for (const [what, [before, change, files]] of Object.entries(alone)) {
    const mark = {};
    const after = { ...before, ...change };
    const judged = (circumstances: CardCircumstances) => judgementOf(mark, () => files, circumstances);
    expect(judged(before), what).toEqual(judge(files, before));
    expect(judged(after), what).toEqual(judge(files, after));
    expect(judge(files, after).told, what).not.toEqual(judge(files, before).told);
    expect(judged(after), what).toBe(judged(after));
  }
});
