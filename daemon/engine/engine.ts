/**
 * The daemon's work: look, decide, act, write down, again and again. What is to be done is derived each time from the
 * ledger and from what is plugged in, so a start after a crash is like any other look.
 *
 * This file holds the rounds and their waiting. Drives are seen to in `driveBay.ts`, cards in `cardDesk.ts`, trips in
 * `tripBook.ts`; drives give each other what they lack in `catchUp.ts`; copies are read again in `scrub.ts`; what is said
 * of its own accord is `voice.ts`. Beside the rounds, pictures are made (`pictures.ts`) and frames rated (`ratings.ts`).
 * How a file is copied is `copyPass.ts`, what the outside sees `board.ts`.
 */

import type { RestoredJson } from "../../shared/editsApi.ts";
import type { CardId, DriveId } from "../../shared/identity.ts";
import { UserMistake } from "../../shared/problems.ts";
import { bytes, type Instant, type Millis, millis } from "../../shared/units.ts";
import type { Ejection } from "../ports/volumes.ts";
import { BlockPool } from "./bounds.ts";
import { CardDesk } from "./cardDesk.ts";
import { CatchUp } from "./catchUp.ts";
import { currentTrip } from "./currentTrip.ts";
import { DriveBay } from "./driveBay.ts";
import { Edits } from "./edits/edits.ts";
import { type Pools, restoreEdit } from "./edits/restore.ts";
import { type Ejectable, findEjectable, refuseWhileBusy } from "./eject.ts";
import { Homecoming } from "./homecoming/homecoming.ts";
import { concludeRun } from "./homecoming/request.ts";
import { Pictures } from "./pictures.ts";
import type { EnginePorts } from "./ports.ts";
import { Presence } from "./presence.ts";
import type { CurrentWork } from "./progress.ts";
import { Ratings } from "./ratings.ts";
import { Scrub } from "./scrub.ts";
import { cardName } from "./survey.ts";
import { TripBook } from "./tripBook.ts";
import { Voice } from "./voice.ts";
import { VolumeUse } from "./volumeUse.ts";

export class Engine {
  readonly ports: EnginePorts;
  readonly presence: Presence;
  readonly tripBook: TripBook;
  readonly bay: DriveBay;
  readonly desk: CardDesk;
  readonly catchUp: CatchUp;
  readonly scrub: Scrub;
  readonly homecoming: Homecoming;
  readonly edits: Edits;
  readonly pictures: Pictures;
  readonly ratings: Ratings;
  readonly #voice: Voice;
  readonly #pools: Pools;

  readonly #stop = new AbortController();
  /** Something came, went or was said: the round under way is broken off between two files. */
  #changed = false;
  #wake: (() => void) | undefined;
  #paused = false;
  /** Counts the looks that were asked for; `#idleAfter` is the latest that ended with nothing left to do. */
  #asked = 0;
  #idleAfter = -1;
  /** The look that is under way, or whose idle time it is. */
  #roundFor = -1;
  /** Nothing is left to do but what gives way. */
  #resting = false;
  /** Who reads or writes volumes beside the rounds. */
  readonly #use = new VolumeUse();
  readonly #idleListeners = new Set<() => void>();
  /** What is to be done before the next round begins: nothing is read or written then. */
  #between: { readonly run: () => Promise<void>; readonly giveUp: () => void }[] = [];
  #running: Promise<unknown> | undefined;
  #hinted: Promise<void> | undefined;

  constructor(ports: EnginePorts) {
    this.ports = ports;
    this.presence = new Presence(ports);
    this.tripBook = new TripBook(ports);
    const { blockBytes, streamBlocks, verifyBlocks } = ports.limits;
    const streamPool = new BlockPool(ports.files.blocks(streamBlocks, bytes(blockBytes)));
    const verifyPool = new BlockPool(ports.files.blocks(verifyBlocks, bytes(blockBytes)));
    this.#pools = { streamPool, verifyPool };
    this.#voice = new Voice(this, this.#stop.signal, (visit, name) =>
      this.#eject({ name, kind: "card", volume: visit.card.volume }),
    );
    const { presence, tripBook } = this;
    const refresh = () => this.refresh();
    const settle = () => this.#voice.settle();
    const interrupted = () => this.#changed || this.#paused || this.#stop.signal.aborted;
    this.bay = new DriveBay({
      ports,
      presence,
      tripBook,
      verifyPool,
      stop: this.#stop.signal,
      cameAnew: (drive) => {
        this.desk.driveCameAnew(drive);
        this.catchUp.driveCameAnew(drive);
        this.#voice.driveCame(drive);
      },
      learnt: () => {
        this.desk.listAnew();
        this.refresh();
      },
      refresh,
      troubled: settle,
    });
    const { bay } = this;
    const work = {
      ports,
      presence,
      tripBook,
      bay,
      streamPool,
      verifyPool,
      interrupted,
      refresh,
      settle,
    };
    this.desk = new CardDesk({
      ...work,
      done: (visit) => this.#voice.sayDone(visit),
      nameOfCard: (card) => this.nameOfCard(card),
    });
    this.catchUp = new CatchUp(work);
    this.scrub = new Scrub({
      ...work,
      stop: this.#stop.signal,
      interrupted: () => interrupted() || this.#asked !== this.#roundFor,
    });
    this.homecoming = new Homecoming({
      ...work,
      stop: this.#stop.signal,
      nameOfCard: (card) => this.nameOfCard(card),
      conclude: (run, drives) => concludeRun(this, run, drives),
      ended: (receipt) => this.#voice.sayHome(receipt),
      mirrorsSoon: () => this.edits.dueIn() !== undefined,
    });
    this.edits = new Edits({
      ...work,
      use: this.#use,
      stop: this.#stop.signal,
      nudge: () => this.#nudge(),
    });
    const places = { ports, presence, tripBook, bay, use: this.#use };
    this.pictures = new Pictures({
      ...places,
      stop: this.#stop.signal,
      ahead: () => (this.#resting && !this.#paused ? currentTrip(this)?.id : undefined),
    });
    this.ratings = new Ratings({ ...places, verifyPool });
  }

  /** Begins to work. `failed` hears of a bug that stops it. */
  start(failed: (bug: unknown) => void): void {
    this.#nameOwner();
    const hint = () => {
      // Hints that come while one waits are the same hint.
      this.#hinted ??= this.#onHint()
        .catch(failed)
        .finally(() => {
          this.#hinted = undefined;
        });
    };
    const watching = this.ports.volumes.watch(hint, this.#stop.signal).catch(failed);
    const polling = this.#poll().catch(failed);
    const running = this.#run().catch(failed);
    const picturing = this.pictures.run().catch(failed);
    this.#running = Promise.all([watching, polling, running, picturing]);
  }

  /** A ledger from before drives had owners gets one, so that another photographer's drive is known as such. */
  #nameOwner(): void {
    const { ledger, randomness } = this.ports;
    if (ledger.owner() === undefined && ledger.drives().length > 0) ledger.setOwner(randomness.hex(16));
  }

  /** Stops between two files; what was begun is finished or thrown away. */
  async stop(): Promise<void> {
    this.#stop.abort();
    this.presence.leaveAll();
    this.#wakeUp();
    await this.#running;
    await this.#hinted;
    for (const { giveUp } of this.#between) giveUp();
    this.scrub.giveUp();
  }

  /** Whether someone asked it to wait. Forgotten at a restart, so that nothing is forgotten for long. */
  get paused(): boolean {
    return this.#paused;
  }

  /** Nothing is read or written from now on; what is under way ends with its file. */
  pause(): void {
    this.#paused = true;
    this.ports.ledger.note("daemon", "", "told to wait", this.now());
    this.refresh();
  }

  goOn(): void {
    this.#paused = false;
    this.ports.ledger.note("daemon", "", "told to go on", this.now());
    this.refresh();
  }

  /** Looks again soon; work under way is broken off between two files. */
  refresh(): void {
    this.#changed = true;
    this.#asked += 1;
    this.#wakeUp();
  }

  /** Resolves true when a look that begins after this call ends with nothing left to do; false when `stop` aborts. */
  async untilIdle(stop: AbortSignal): Promise<boolean> {
    // A further look is asked for; the work under way isn't broken off for it.
    this.#asked += 1;
    this.#wakeUp();
    const wanted = this.#asked;
    while (this.#idleAfter < wanted) {
      if (stop.aborted || this.#stop.signal.aborted) return false;
      await new Promise<void>((resolve) => {
        const done = () => {
          this.#idleListeners.delete(done);
          stop.removeEventListener("abort", done);
          resolve();
        };
        this.#idleListeners.add(done);
        stop.addEventListener("abort", done);
      });
    }
    return true;
  }

  /**
   * Flushes and unmounts a drive or card.
   * @throws UserMistake when nothing is called so, while it is being written or read, or when the system won't let go.
   */
  async eject(name: string): Promise<Ejectable> {
    const what = findEjectable(this, name);
    refuseWhileBusy(this, what);
    const ejection = await this.#eject(what);
    if (ejection.ejected) return what;
    throw new UserMistake(
      `${what.name} couldn't be unmounted: ${ejection.why}. It stays in use here.`,
      "Close what uses it (an editor, a terminal in its folder), then eject it again. Don't unplug it yet.",
      74,
    );
  }

  /**
   * Does something while nothing is read or written: what is under way is broken off between two files.
   * @throws what `work` throws, and UserMistake when the daemon stops before
   */
  between<T>(work: () => Promise<T>): Promise<T> {
    return new Promise((resolve, reject) => {
      this.#between.push({
        run: () => work().then(resolve, reject),
        giveUp: () => reject(new UserMistake("The daemon stops.", "Start it and ask again.", 69)),
      });
      this.refresh();
    });
  }

  async #eject(what: Ejectable): Promise<Ejection> {
    try {
      return await this.between(async () => {
        const { ledger, volumes } = this.ports;
        const ejection = await this.#use.leave(what.volume.id, () => volumes.eject(what.volume.id));
        const said = ejection.ejected ? "ejected" : `couldn't be ejected: ${ejection.why}`;
        ledger.note(what.kind, what.name, said, this.now());
        await this.presence.look();
        return ejection;
      });
    } catch (failure) {
      if (!(failure instanceof UserMistake)) throw failure;
      return { ejected: false, why: "the daemon stops" };
    }
  }

  /** Puts an earlier version of a work file in place again. @throws UserMistake */
  restoreEdit(trip: string | undefined, path: string, at: string): Promise<RestoredJson> {
    return this.between(() => restoreEdit(this, this.#pools, trip, path, at));
  }

  /** What is being done right now. */
  get work(): CurrentWork | undefined {
    return this.desk.work ?? this.catchUp.work ?? this.edits.work ?? this.scrub.work ?? this.homecoming.work;
  }

  /** `Card 7`, as it begins a sentence. */
  nameOfCard(card: CardId): string {
    const row = this.ports.ledger.card(card);
    return cardName(row?.number ?? 0, row?.label ?? "", card);
  }

  now(): Instant {
    return this.ports.clock.now();
  }

  // --- rounds ----------------------------------------------------------------------------------------------------

  async #run(): Promise<void> {
    while (!this.#stop.signal.aborted) {
      const asked = this.#asked;
      this.#resting = false;
      this.#roundFor = asked;
      this.#changed = false;
      const worked = await this.#round();
      if (worked || this.#changed || this.#stop.signal.aborted) continue;
      // What becomes quiet by time alone is work that is still to be done.
      const soon = this.#paused ? undefined : this.edits.dueIn();
      if (soon !== undefined && this.edits.isAwaited()) {
        if (this.#asked === asked) await this.#untilWoken(millis(soon));
        continue;
      }
      this.#idleAfter = asked;
      for (const done of [...this.#idleListeners]) done();
      this.#resting = true;
      this.pictures.lookAhead();
      if (this.#asked === asked && !this.#paused && soon === undefined) await this.scrub.workWhenIdle();
      if (this.#asked === asked) await this.#untilWoken(soon === undefined ? undefined : millis(soon));
    }
  }

  /** @returns whether anything was copied or tried, so that another round is due. */
  async #round(): Promise<boolean> {
    for (const { run } of this.#between.splice(0)) await run();
    const { facts, changed } = await this.tripBook.read();
    this.bay.tell(facts);
    if (changed.length > 0) this.desk.forgetDecisions();
    for (const trip of changed) await this.bay.profileChanged(trip);
    await this.presence.look();
    this.desk.welcomeAll();
    if (this.#paused) {
      this.#voice.settle();
      return false;
    }
    await this.bay.attendAll();
    await this.ratings.recover();
    await this.edits.recover();
    const fromCards = await this.desk.workOnAll();
    // Cards first: what they hold may exist once. Then the drives give each other what they lack.
    const fromDrives = await this.catchUp.workOnAll();
    const mirrored = await this.edits.workOnAll();
    const scrubbed = await this.scrub.workOnAsked();
    // Last of all: what is to be mirrored or made good comes home as it is then.
    const broughtHome = await this.homecoming.workOnAsked();
    await this.bay.flushRecords();
    this.#voice.settle();
    return fromCards || fromDrives || mirrored || scrubbed || broughtHome;
  }

  /** @param longest no longer than this; for ever if not said */
  async #untilWoken(longest?: Millis): Promise<void> {
    if (this.#changed || this.#stop.signal.aborted) return;
    const ended = new AbortController();
    await new Promise<void>((resolve) => {
      this.#wake = resolve;
      if (longest !== undefined) void this.ports.clock.sleep(longest, ended.signal).then(resolve, resolve);
    });
    ended.abort();
    this.#wake = undefined;
  }

  /** A look is due; what is under way isn't broken off for it. */
  #nudge(): void {
    this.#asked += 1;
    this.#wakeUp();
  }

  #wakeUp(): void {
    this.#wake?.();
    if (this.#stop.signal.aborted) for (const done of [...this.#idleListeners]) done();
  }

  async #onHint(): Promise<void> {
    await this.ports.clock.sleep(millis(this.ports.limits.hintSettle), this.#stop.signal);
    if (this.#stop.signal.aborted) return;
    if (await this.presence.look()) this.refresh();
  }

  /** The safety net under lost hints; also brings drives that failed back to work. */
  async #poll(): Promise<void> {
    while (!this.#stop.signal.aborted) {
      await this.ports.clock.sleep(millis(this.ports.limits.pollEvery), this.#stop.signal);
      if (this.#stop.signal.aborted) return;
      const changed = await this.presence.look();
      const ready = this.bay.retryIsDue() || (await this.bay.spaceWasFreed(this.#tooFull()));
      const idle = this.work === undefined;
      if (changed || ready || (idle && (this.scrub.isDue() || this.edits.isDue()))) this.refresh();
      this.#voice.settleIfDue();
    }
  }

  #tooFull(): ReadonlySet<DriveId> {
    return new Set([...this.desk.tooFull(), ...this.catchUp.unfit.keys()]);
  }
}
