/**
 * The step that brings what an archive lacks: file by file, from the first drive that gives the right bytes. One that
 * gives others is looked into like any copy that isn't good, and the next drive is asked.
 */

import type { HomeDamageJson } from "../../../shared/homeApi.ts";
import { nameKey } from "../../../shared/identity.ts";
import { FileFault } from "../../../shared/problems.ts";
import { Places } from "../bounds.ts";
import { type CarryContext, readInto } from "./carry.ts";
import { dropTarget } from "./failing.ts";
import type { HomeTools } from "./homeTools.ts";
import type { Item, Job, Place, Run, Target } from "./run.ts";
import { unchangedName } from "./workFiles.ts";
import { Batch, writeBatch } from "./writeDown.ts";

export class Carrying {
  readonly #tools: HomeTools;

  constructor(tools: HomeTools) {
    this.#tools = tools;
  }

  async carry(run: Run): Promise<void> {
    const batches = new Map(run.targets.map((target) => [target, new Batch(target)] as const));
    const context = this.#tools.context(run);
    await this.#writeDownWhatStands(run, batches, context);
    const inFlight = new Places(this.#tools.around.ports.limits.framesInFlight);
    const behind = new Set<Promise<void>>();
    let bug: unknown;
    const finishing = (job: Job, finish: Awaited<ReturnType<typeof readInto>>["finish"]): void => {
      if (finish === undefined) {
        inFlight.leave();
        return;
      }
      const done = finish()
        .then(async (placed) => {
          for (const [target, each] of placed) {
            batches.get(target)?.placed.push(each);
            target.put.add(each.path);
            if (job.item.work) target.edits += 1;
            else target.copied.add(job.item.size);
          }
          const lacking = this.#lacking(run, job.item, batches);
          if (lacking.length > 0) await this.#again(run, job, lacking);
        })
        .catch((fault: unknown) => {
          bug = fault;
        })
        .finally(() => {
          inFlight.leave();
          behind.delete(done);
        });
      behind.add(done);
    };
    for (;;) {
      const [job] = run.jobs;
      if (job === undefined && behind.size > 0) {
        // What reads back differently is carried once more.
        await Promise.all(behind);
        continue;
      }
      if (job === undefined || bug !== undefined || this.#tools.around.interrupted() || run.stopped !== "")
        break;
      run.jobs.shift();
      const targets = this.#lacking(run, job.item, batches);
      if (targets.length === 0) continue;
      if (run.rehearsal) {
        await this.#rehearse(run, job.item, targets);
        continue;
      }
      await inFlight.enter();
      const carried = await this.#fromSomeDrive(context, job.item, targets).catch((fault: unknown) => {
        // What is under way is waited for, whatever happened.
        bug = fault;
        return undefined;
      });
      if (carried === "broken off") run.jobs.unshift(job);
      finishing(job, carried === "broken off" ? undefined : carried);
      if (carried === "broken off" && !this.#tools.around.interrupted()) break;
      for (const batch of batches.values()) {
        if (batch.placed.length < this.#tools.around.ports.limits.archiveBatch) continue;
        await writeBatch(context, batch).catch((fault: unknown) => {
          bug = fault;
        });
      }
    }
    await Promise.all(behind);
    for (const batch of batches.values()) await writeBatch(context, batch);
    if (bug !== undefined) throw bug;
    if (run.jobs.length > 0) return;
    run.step = run.history && !run.rehearsal ? "history" : "end";
  }

  /** What was found there with the same content counts like what was brought. */
  async #writeDownWhatStands(
    run: Run,
    batches: ReadonlyMap<Target, Batch>,
    context: CarryContext,
  ): Promise<void> {
    for (const [target, batch] of batches) {
      const standing = new Map(target.standing.map((each) => [each.path, each]));
      for (const [item, placement] of target.placements) {
        if (placement.what !== "there" || target.stands.has(item)) continue;
        if (item.work) target.edits += 1;
        else if (!target.put.has(placement.path)) target.there.add(item.size);
        const there = standing.get(placement.path);
        if (there?.known === true || run.rehearsal || there === undefined) {
          target.stands.set(item, placement.path);
          continue;
        }
        const readBackHow = target.readBack ?? "cache";
        batch.placed.push({ item, path: placement.path, modified: there.modified, readBack: readBackHow });
        if (batch.placed.length >= this.#tools.around.ports.limits.archiveBatch)
          await writeBatch(context, batch);
      }
    }
  }

  /** Archives where it is neither written down nor about to be, and that can hold it. */
  #lacking(run: Run, item: Item, batches: ReadonlyMap<Target, Batch>): readonly Target[] {
    return run.targets.filter(
      (target) =>
        target.takesPart &&
        target.placements.get(item)?.what === "put" &&
        !target.stands.has(item) &&
        !target.refused.has(item) &&
        batches.get(target)?.placed.some((each) => each.item === item) !== true,
    );
  }

  async #again(run: Run, job: Job, targets: readonly Target[]): Promise<void> {
    job.tries += 1;
    if (job.tries < this.#tools.around.ports.limits.copyTries) {
      run.jobs.push(job);
      return;
    }
    const { files } = this.#tools.around.ports;
    for (const target of targets) await dropTarget(files, target, new FileFault("differs", item(job)));
  }

  /** Whether a drive that is in has it, by name and size. */
  async #rehearse(run: Run, item: Item, targets: readonly Target[]): Promise<void> {
    for (const place of this.#placesOf(run, item)) {
      const source = this.#tools.sourceAt(run, place);
      if (source === undefined) continue;
      const facts = await this.#tools.around.ports.files.facts(source.path).catch(() => undefined);
      if (facts?.kind !== "file" || facts.size !== item.size) continue;
      run.givenBy.set(item, place.drive);
      for (const target of targets) {
        if (item.work) target.edits += 1;
        else target.copied.add(item.size);
        target.stands.set(item, target.placements.get(item)?.path ?? item.path);
      }
      return;
    }
    run.without.add(item);
  }

  /** Drive by drive until one gives the right bytes. */
  async #fromSomeDrive(
    context: CarryContext,
    item: Item,
    targets: readonly Target[],
    again = false,
  ): Promise<"broken off" | Awaited<ReturnType<typeof readInto>>["finish"]> {
    const { run } = context;
    for (const place of this.#placesOf(run, item)) {
      const source = this.#tools.sourceAt(run, place);
      const drive = this.#tools.around.presence.drives.find((each) => each.id === place.drive);
      if (source === undefined || drive === undefined) continue;
      this.#tools.show(run, drive.volume.id, drive.name);
      const { given, finish } = await readInto(context, source, item, targets);
      if (given === "given") {
        run.givenBy.set(item, place.drive);
        for (const [key, damage] of run.damage)
          if (damage.item === item) run.damage.set(key, { ...damage, healed: true });
        return finish;
      }
      if (this.#tools.around.stop.aborted) return "broken off";
      if (source.gone.aborted) continue;
      if (given === "broken off") {
        if (targets.every((target) => !target.takesPart)) return undefined;
        continue;
      }
      const moved = await this.#lookInto(run, place, item, drive.name, given);
      // It stands under another name there, and is asked for once more.
      if (moved && !again) return this.#fromSomeDrive(context, item, targets, true);
    }
    run.without.add(item);
    return undefined;
  }

  /** The drive's copy isn't what was verified: it is looked into like any other, so that it counts there no more. */
  async #lookInto(
    run: Run,
    place: Place,
    item: Item,
    name: string,
    given: "differs" | "unreadable",
  ): Promise<boolean> {
    const { bay, presence, settle } = this.#tools.around;
    const { ledger } = this.#tools.around.ports;
    await presence.look();
    const publisher = this.#tools.publisherOf(place.drive, run.trip.id);
    if (publisher === undefined) return false;
    const original = item.original === undefined ? undefined : ledger.original(item.original.id);
    const copy = original === undefined ? undefined : ledger.copyOf(original.id, place.drive);
    if (original !== undefined && copy !== undefined) {
      let moved = false;
      await bay.guarded(publisher, async () => {
        const [concluded] = await bay.lookInto(publisher, [{ copy, original }]);
        moved = concluded?.why === "moved";
      });
      settle();
      if (moved) return true;
    } else if (given === "differs") {
      // A work file that was written meanwhile is no damage.
      return false;
    }
    if (this.#tools.publisherOf(place.drive, run.trip.id) === undefined) return false;
    const what =
      given === "differs" ? "It reads differently from what was verified there." : "It can't be read there.";
    const damage: HomeDamageJson & { readonly item: Item } = {
      path: place.path,
      drive: name,
      what,
      healed: false,
      item,
    };
    run.damage.set(`${place.drive} ${place.path}`, damage);
    return false;
  }

  /** Where it is known to stand: the primary first, then in the order of the trip's drives. */
  #placesOf(run: Run, { original, at, path }: Item): readonly Place[] {
    const { ledger } = this.#tools.around.ports;
    const places: Place[] =
      original === undefined
        ? at.flatMap((place) => {
            const before = unchangedName(path);
            return before === undefined ? [place] : [place, { drive: place.drive, path: before }];
          })
        : [...this.#tools.around.bay.targets.keys()].flatMap((drive) => {
            const copy = ledger.copyOf(original.id, drive);
            return copy === undefined ? [] : [{ drive, path: copy.path }];
          });
    const names = run.trip.profile.drives.map(({ name }) => nameKey(name));
    const rank = ({ drive }: Place): number => {
      const nth = names.indexOf(
        nameKey(this.#tools.around.presence.drives.find(({ id }) => id === drive)?.name ?? ""),
      );
      return nth < 0 ? names.length : nth;
    };
    return [...places].sort((a, b) => rank(a) - rank(b));
  }
}

const item = ({ item: { path } }: Job): string => path;
