/**
 * Homecoming: a trip is merged into its archives from whichever drives are in; together they may hold what none holds
 * alone. It looks at what is to come and what stands in the archives, reads what may be the same, carries what is lacking,
 * and ends with a receipt.
 *
 * It runs inside the rounds and gives way to cards and to drives that lack something: it is broken off between two files
 * and goes on in the next round. A daemon that ends forgets it; begun again, it believes what it verified before.
 */

import type { ReceiptJson } from "../../../shared/homeApi.ts";
import type { RelativePath, TripId } from "../../../shared/identity.ts";
import { earlierFolder } from "../../record/driveLayout.ts";
import { encodeFact } from "../../record/journal.ts";
import type { CurrentWork } from "../progress.ts";
import { bringUpToDate } from "./archive.ts";
import { Carrying } from "./carrying.ts";
import { dropTarget } from "./failing.ts";
import { bringBeside } from "./histories.ts";
import { type HomeSurroundings, HomeTools } from "./homeTools.ts";
import { listBelow } from "./listing.ts";
import { Looking } from "./looking.ts";
import { neverCopied } from "./neverCopied.ts";
import { judgeDrives } from "./reuse.ts";
import type { Run } from "./run.ts";
import { mendList } from "./writeDown.ts";

export interface HomecomingSurroundings extends HomeSurroundings {
  /** Puts together what is told of its end, and writes it beside the archives. */
  readonly conclude: (run: Run, drives: ReceiptJson["drives"]) => Promise<ReceiptJson>;
  /** It ended, not by hand, and was no rehearsal. */
  readonly ended: (receipt: ReceiptJson) => void;
  /** Whether work files are about to be mirrored, as soon as they are quiet. */
  readonly mirrorsSoon: () => boolean;
}

export class Homecoming {
  readonly #around: HomecomingSurroundings;
  readonly #tools: HomeTools;
  readonly #looking: Looking;
  readonly #carrying: Carrying;
  #run: Run | undefined;
  readonly #receipts = new Map<TripId, ReceiptJson>();

  constructor(around: HomecomingSurroundings) {
    this.#around = around;
    this.#tools = new HomeTools(around);
    this.#looking = new Looking(this.#tools);
    this.#carrying = new Carrying(this.#tools);
  }

  get work(): CurrentWork | undefined {
    return this.#tools.work;
  }

  /** The one under way. */
  get run(): Run | undefined {
    return this.#run;
  }

  /** Of the homecoming of this trip that ended last since the start, a rehearsal included. */
  receiptOf(trip: TripId): ReceiptJson | undefined {
    return this.#receipts.get(trip);
  }

  begin(run: Run): void {
    this.#run = run;
    this.#around.refresh();
  }

  /** Ends the one under way between two files; what is merged stays. */
  stopNow(): void {
    if (this.#run === undefined) return;
    this.#run.stoppedByHand = true;
    this.#run.stopped = "It was stopped. What was merged by then stays, and is known the next time.";
    this.#around.refresh();
  }

  /** @returns whether anything was done, so that another round is due */
  async workOnAsked(): Promise<boolean> {
    const run = this.#run;
    if (run === undefined || this.#around.interrupted()) return false;
    if (this.#waitsForMirror(run)) return false;
    try {
      while (this.#run === run && !this.#around.interrupted()) {
        const anyTakesPart = run.step === "look" || run.targets.some(({ takesPart }) => takesPart);
        if (run.stopped === "" && !anyTakesPart) run.stopped = "No archive takes part any more.";
        if (run.stopped !== "") run.step = "end";
        await this.#doStep(run);
      }
    } finally {
      this.#tools.work = undefined;
    }
    return true;
  }

  /** What is being mirrored comes home as it is then; a program that never rests isn't waited for long. */
  #waitsForMirror({ step, rounds, stopped, begun }: Run): boolean {
    const { clock, limits } = this.#around.ports;
    if (step !== "look" || rounds > 0 || stopped !== "" || !this.#around.mirrorsSoon()) return false;
    const waited = clock.now() - begun;
    return waited >= 0 && waited < limits.editsPatience;
  }

  async #doStep(run: Run): Promise<void> {
    switch (run.step) {
      case "look":
        await this.#looking.look(run);
        break;
      case "read":
        await this.#looking.read(run);
        break;
      case "carry":
        await this.#carrying.carry(run);
        break;
      case "history":
        await this.#histories(run);
        break;
      case "end":
        await this.#end(run);
        break;
    }
  }

  // --- the last steps --------------------------------------------------------------------------------------------

  async #histories(run: Run): Promise<void> {
    const context = this.#tools.context(run);
    for (const { drive } of run.looks) {
      const publisher = this.#tools.publisherOf(drive, run.trip.id);
      if (publisher === undefined) continue;
      const inside = earlierFolder(run.trip.id);
      await this.#tools.around.bay.guarded(publisher, async () => {
        for (const file of await listBelow(this.#tools.around.ports, publisher.absolute(inside))) {
          const path = `${inside}/${file.path}` as RelativePath;
          const source = {
            path: publisher.absolute(path),
            gone: publisher.drive.gone,
            stop: this.#tools.stopOf(publisher.drive.gone),
          };
          this.#tools.show(run, publisher.drive.volume.id, publisher.drive.name);
          for (const target of run.targets)
            if (target.takesPart && (await bringBeside(context, source, { ...file, path }, target)))
              target.versions += 1;
          if (this.#tools.around.stop.aborted) return;
        }
      });
      if (this.#tools.around.stop.aborted) return;
    }
    run.step = "end";
  }

  async #end(run: Run): Promise<void> {
    const { bay, settle } = this.#tools.around;
    const { ledger, clock, hashing } = this.#tools.around.ports;
    const { trip } = run;
    const context = this.#tools.context(run);
    if (this.#hasMore(run)) {
      run.step = "look";
      return;
    }
    if (!run.rehearsal) for (const target of run.targets) await mendList(context, target);
    run.neverCopied = neverCopied(this.#tools.around.ports, trip.id, this.#tools.around.nameOfCard);
    const drives = await judgeDrives(this.#tools.around.ports, this.#around, run);
    if (!run.rehearsal) {
      const whole = run.targets.filter((target) => run.isWhole(target));
      const fact = encodeFact(
        {
          kind: "home",
          trip: trip.id,
          at: clock.now(),
          archives: whole.flatMap(({ archive }) => archive?.id ?? []),
          complete: run.isComplete,
        },
        hashing,
      );
      if (run.stopped === "") {
        ledger.apply([fact]);
        bay.tell([fact]);
      }
      for (const target of run.targets) {
        const record = target.archive?.record;
        if (record === undefined || !target.takesPart) continue;
        await bringUpToDate(this.#tools.around.ports, record, trip).catch((fault: unknown) =>
          dropTarget(this.#tools.around.ports.files, target, fault),
        );
      }
    }
    const receipt = await this.#around.conclude(run, drives);
    this.#receipts.set(trip.id, receipt);
    ledger.note("trip", trip.id, `homecoming: ${receipt.headline} ${receipt.advice}`, clock.now());
    this.#run = undefined;
    settle();
    if (!run.rehearsal && !run.stoppedByHand) this.#around.ended(receipt);
  }

  /** Whether a card was copied meanwhile: what came with it is to come home as well. */
  #hasMore({ trip, stopped, rehearsal, rounds, originals, targets }: Run): boolean {
    const { ledger, limits } = this.#tools.around.ports;
    if (rehearsal || stopped !== "" || rounds > limits.resurveysMost) return false;
    if (!targets.some(({ takesPart }) => takesPart)) return false;
    return ledger.archives.expected(trip.id).length !== originals.length;
  }
}
