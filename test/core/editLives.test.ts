/**
 * Whole lives of drives that come and go while people write on them and delete: nothing vanishes by what is decided, all
 * drives end alike, and a conflict is one exactly when two sides wrote apart. The rounds are the engine's, in small.
 */

import { expect, test } from "vitest";
import { decide } from "../../daemon/core/edits/decide.ts";
import { headsOf, holding, type Version } from "../../daemon/core/edits/versions.ts";
import type { ContentHash } from "../../shared/identity.ts";
import { bytes, instant } from "../../shared/units.ts";
import { seeded } from "./seeded.ts";

const version = (id: string, hash: string, modified: number, ...after: readonly string[]): Version => ({
  id,
  hash: hash as ContentHash | "",
  size: bytes(hash.length),
  modified: instant(modified),
  after,
});

interface Content {
  readonly hash: string;
  readonly modified: number;
  /** The writings that whoever made it had before them: what the decisions never see. */
  readonly line: ReadonlySet<number>;
}

/** A drive, as far as one work file goes. */
interface Drive {
  readonly name: string;
  in: boolean;
  there: Content | undefined;
  /** As it was left after the last round. */
  left: Content | undefined;
  readonly history: Set<string>;
  /** Its journal: versions, and who held them. */
  readonly versions: Map<string, Version>;
  readonly held: Map<string, Set<string>>;
}

interface Computer {
  readonly versions: Map<string, Version>;
  readonly held: Map<string, Set<string>>;
}

const primary = "Blue";

/** The engine's rounds on one work file, in small. */
class Life {
  readonly drives: readonly Drive[] = [primary, "Slate", "Rust"].map((name) => ({
    name,
    in: true,
    there: undefined,
    left: undefined,
    history: new Set(),
    versions: new Map(),
    held: new Map(),
  }));
  readonly #made: Map<string, ReadonlySet<number>> = new Map();
  /** How often what one side wrote was met by what another wrote apart. */
  metApart = 0;
  #named = 0;

  write(drive: Drive, hash: string, modified: number, id: number): void {
    const base = drive.left;
    // The same as was left: for whoever looks, nothing was written.
    const line = base?.hash === hash ? base.line : new Set([...(base?.line ?? []), id]);
    drive.there = { hash, modified, line };
  }

  round(computer: Computer): boolean {
    const here = this.drives.filter((drive) => drive.in);
    for (const drive of here) learn(drive, computer);
    const marks = () =>
      JSON.stringify([computer.versions.size, here.map(({ there, held }) => [there?.hash, sizes(held)])]);
    const before = marks();
    const losers = here.flatMap((drive) => this.#assess(computer, drive));
    losers.push(...this.#join(computer));
    for (const hash of losers) {
      if (hash === "" || !here.some(({ there }) => there?.hash === hash)) continue;
      for (const drive of here) if (drive.there?.hash !== hash) drive.history.add(hash);
    }
    this.#mirror(computer, here);
    for (const drive of here) {
      drive.left = drive.there ?? drive.left;
      learn(computer, drive);
    }
    return marks() !== before;
  }

  head(computer: Computer): Version | undefined {
    return holding([...computer.versions.values()]);
  }

  conflicts({ versions }: Computer): number {
    const other = (hash: string) => (id: string) => versions.get(id)?.hash !== hash;
    return [...versions.values()].filter(({ after, hash }) => after.length > 1 && after.some(other(hash)))
      .length;
  }

  #assess(computer: Computer, drive: Drive): readonly string[] {
    const versions = [...computer.versions.values()];
    const held = computer.held.get(drive.name);
    const there = drive.there;
    const head = this.head(computer);
    // On a drive of which nothing is written down, what is known already is an elder one.
    const isElder = held === undefined && versions.some(({ hash }) => hash === there?.hash);
    if (there !== undefined && !isElder) this.#meet(there, head, drive);
    const decision = decide({
      versions,
      held,
      found:
        there === undefined
          ? undefined
          : { hash: there.hash as ContentHash, size: bytes(0), modified: instant(there.modified) },
      primary: drive.name === primary,
    });
    const hold = (id: string) => addHeld(computer, drive.name, id);
    const put = (hash: string, modified: number, after: readonly string[], line: ReadonlySet<number>) => {
      this.#named += 1;
      const id = `v${this.#named}`;
      computer.versions.set(id, version(id, hash, modified, ...after));
      this.#made.set(id, line);
      return id;
    };
    const line = there?.line ?? drive.left?.line ?? new Set();
    const headLine = this.#lineOf(head);
    switch (decision.what) {
      case "same":
        if (decision.record !== undefined) hold(decision.record);
        // Both wrote the same.
        if (there !== undefined && head !== undefined) {
          drive.there = { ...there, line: new Set([...line, ...headLine]) };
          this.#made.set(head.id, drive.there.line);
        }
        return [];
      case "behind":
        return [];
      case "new":
      case "deleted":
        hold(put(there?.hash ?? "", there?.modified ?? 0, decision.after, new Set([...line, ...headLine])));
        return [];
      case "apart": {
        if (head === undefined || there === undefined) throw new Error("apart from nothing");
        const own = put(there.hash, there.modified, decision.base, line);
        hold(own);
        const both = new Set([...line, ...headLine]);
        if (!decision.foundWins) {
          put(head.hash, head.modified, [own, ...decision.heads], both);
          return [there.hash];
        }
        hold(put(there.hash, there.modified, [...decision.heads, own], both));
        drive.there = { ...there, line: both };
        return [head.hash];
      }
    }
  }

  /** By what people wrote alone: neither had the other's before them. */
  #meet(there: Content, head: Version | undefined, drive: Drive): void {
    if (head === undefined || head.hash === there.hash) return;
    const theirs = this.#lineOf(head);
    const without = (a: ReadonlySet<number>, b: ReadonlySet<number>) => [...a].some((each) => !b.has(each));
    // A deletion is no writing, and stands against whatever wasn't there when it was made.
    if (drive.left !== undefined && drive.left.hash === head.hash) return;
    const isNews = without(there.line, theirs) && (head.hash !== "" || drive.left?.hash !== there.hash);
    const knows = !without(theirs, there.line) && (head.hash !== "" || drive.left === undefined);
    if (isNews && !knows) this.metApart += 1;
  }

  #lineOf(of: Version | undefined): ReadonlySet<number> {
    return (of === undefined ? undefined : this.#made.get(of.id)) ?? new Set();
  }

  #join(computer: Computer): readonly string[] {
    const heads = headsOf([...computer.versions.values()]);
    const last = this.head(computer);
    if (heads.length < 2 || last === undefined) return [];
    this.#named += 1;
    const id = `v${this.#named}`;
    computer.versions.set(id, version(id, last.hash, last.modified, ...heads.map((head) => head.id)));
    this.#made.set(id, new Set(heads.flatMap((head) => [...this.#lineOf(head)])));
    return heads.filter(({ hash }) => hash !== last.hash).map(({ hash }) => hash);
  }

  #mirror(computer: Computer, here: readonly Drive[]): void {
    const head = this.head(computer);
    if (head === undefined) return;
    const source = here.find(({ there }) => (there?.hash ?? "") === head.hash)?.there;
    if (source === undefined && head.hash !== "") return;
    for (const drive of here) {
      if ((drive.there?.hash ?? "") !== head.hash) {
        if (drive.there !== undefined) drive.history.add(drive.there.hash);
        drive.there = source === undefined ? undefined : { ...source, line: this.#lineOf(head) };
        if (source === undefined) drive.left = undefined;
      }
      addHeld(computer, drive.name, head.id);
    }
  }
}

function learn(from: Pick<Drive, "versions" | "held">, to: Pick<Drive, "versions" | "held">): void {
  for (const [id, each] of from.versions) to.versions.set(id, each);
  for (const [drive, held] of from.held) for (const id of held) addHeld(to, drive, id);
}

function addHeld({ held }: Pick<Drive, "held">, drive: string, id: string): void {
  held.set(drive, new Set([...(held.get(drive) ?? []), id]));
}

const sizes = (held: ReadonlyMap<string, ReadonlySet<string>>) => [...held.values()].map(({ size }) => size);

const newComputer = (): Computer => ({ versions: new Map(), held: new Map() });

const contents = (life: Life): ReadonlySet<string> =>
  new Set(
    life.drives.flatMap(({ there, history }) => [...history, ...(there === undefined ? [] : [there.hash])]),
  );

function settle(life: Life, computer: Computer, label: string): void {
  for (let rounds = 0; life.round(computer); rounds += 1) expect(rounds, `${label}: it ends`).toBeLessThan(6);
}

/** @param deletions whether people delete too */
function live(seed: number, computers: readonly Computer[], deletions: boolean): Life {
  const random = seeded(seed);
  const life = new Life();
  const label = `seed ${seed}`;
  const deleted = new Set<string>();
  for (let step = 1; step <= 30; step += 1) {
    const drive = random.pick(life.drives);
    const what = random.below(10);
    if (what < 3) drive.in = !drive.in;
    else if (what < 6) {
      // Now and then something that was there before; times of files prove nothing.
      const hash =
        random.below(5) === 0 && drive.left !== undefined ? `w${1 + random.below(step)}` : `w${step}`;
      life.write(drive, hash, random.below(1_000), step);
    } else if (what === 6 && deletions) {
      if (drive.left !== undefined) deleted.add(drive.left.hash);
      drive.there = undefined;
    } else {
      const computer = random.pick(computers);
      for (let rounds = 1 + random.below(3); rounds > 0; rounds -= 1) {
        const before = contents(life);
        life.round(computer);
        const after = contents(life);
        for (const each of before) expect(after, `${label} step ${step}: ${each} stays`).toContain(each);
      }
    }
  }
  for (const drive of life.drives) drive.in = true;
  for (const computer of [...computers, ...computers]) settle(life, computer, label);
  const [first] = computers;
  if (first === undefined) throw new Error("no computer");
  const head = life.head(first);
  // What was deleted before any other drive got it can't be brought up again.
  const isNowhere = life.drives.every(({ there }) => (there?.hash ?? "") !== (head?.hash ?? ""));
  if (isNowhere) expect(deleted, `${label}: only people take away the last`).toContain(head?.hash);
  else
    for (const { name, there } of life.drives)
      expect(there?.hash ?? "", `${label}: ${name} ends as the others`).toBe(head?.hash ?? "");
  expect(headsOf([...first.versions.values()]).length, `${label}: one newest`).toBeLessThan(2);
  return life;
}

test("whoever writes and deletes where and when: nothing vanishes by it, and all drives end alike", () => {
  for (let seed = 1; seed <= 500; seed += 1) live(seed, [newComputer()], true);
});

test("with all drives in and time between, everything that anyone ever wrote is kept", () => {
  for (let seed = 1; seed <= 60; seed += 1) {
    const random = seeded(seed);
    const life = new Life();
    const computer = newComputer();
    const written = Array.from({ length: 10 }, (_, nth) => `w${nth}`);
    for (const [nth, hash] of written.entries()) {
      const drive = random.pick(life.drives);
      life.write(drive, hash, random.below(1_000), nth);
      settle(life, computer, `seed ${seed}`);
      if (random.below(4) === 0) random.pick(life.drives).there = undefined;
      settle(life, computer, `seed ${seed}`);
    }
    expect(contents(life), `seed ${seed}`).toEqual(new Set(written));
    expect(life.conflicts(computer), `seed ${seed}`).toBe(0);
  }
});

test("with two computers that never meet but through the drives it is the same", () => {
  for (let seed = 1; seed <= 500; seed += 1) live(seed, [newComputer(), newComputer()], true);
});

test("a conflict is written down exactly when two sides wrote apart", () => {
  let met = 0;
  for (let seed = 1; seed <= 500; seed += 1) {
    const computer = newComputer();
    const life = live(seed, [computer], false);
    expect(life.conflicts(computer), `seed ${seed}`).toBe(life.metApart);
    met += life.metApart;
  }
  expect(met).toBeGreaterThan(100);
});
