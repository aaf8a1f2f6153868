/**
 * The daemon's work: look, decide, act, write down, again and again. What is to be done is derived each time from the
 * ledger and from what is plugged in, so a start after a crash is like any other look.
 *
 * Not its job: how a file is copied (`cardPass.ts`), what to say (`core/`), what the outside sees (`board.ts`).
 */

import { counted } from "../../shared/format.ts";
import type { CardId, DriveId, OriginalId, RelativePath, TripId, VolumeId } from "../../shared/identity.ts";
import { nameKey, under } from "../../shared/identity.ts";
import { FileFault, type FileFaultCode, sentences } from "../../shared/problems.ts";
import { printable } from "../../shared/text.ts";
import { type Bytes, bytes, type Instant, millis } from "../../shared/units.ts";
import { alertsOf } from "../core/alerts.ts";
import { type CardFrame, looksLikeCard, mustLookInside } from "../core/cardLayout.ts";
import type { WantedFrame } from "../core/filing.ts";
import { type CopyPlan, type PlanFile, type PlanGroup, planCopies } from "../core/plan.ts";
import { readProfile } from "../core/profile.ts";
import { safePart } from "../core/safeName.ts";
import type { CardFileState, CopyRow, EncodedFact } from "../ports/ledger.ts";
import { incomingFolder } from "../record/driveLayout.ts";
import { encodeFact } from "../record/journal.ts";
import { alertView, cardVerdict } from "./board.ts";
import { BlockPool, Places } from "./bounds.ts";
import { runPass, type Target } from "./cardPass.ts";
import { decideTrip, gatherFacts, type KnownTrip, takenOf, wantedNames } from "./dating.ts";
import type { EnginePorts } from "./ports.ts";
import { Presence, type PresentDrive } from "./presence.ts";
import { Progress } from "./progress.ts";
import { Publisher } from "./publisher.ts";
import { notStanding } from "./standing.ts";
import { cardName, stillAsListed, surveyCard } from "./survey.ts";
import { CardVisit, type DriveTrouble } from "./visits.ts";

/** What is being done right now. */
export interface CurrentWork {
  readonly kind: "survey" | "copy";
  readonly card: CardId;
  readonly to: readonly string[];
  readonly progress: Progress;
}

export class Engine {
  readonly ports: EnginePorts;
  readonly presence: Presence;
  trips: readonly KnownTrip[] = [];
  readonly visits = new Map<VolumeId, CardVisit>();
  work: CurrentWork | undefined;

  readonly #stop = new AbortController();
  readonly #streamPool: BlockPool;
  readonly #verifyPool: BlockPool;
  readonly #targets = new Map<VolumeId, Target>();
  readonly #troubles = new Map<VolumeId, DriveTrouble>();
  /** Free space as last asked, by drive. */
  readonly #free = new Map<DriveId, Bytes>();
  #profileTexts = new Map<TripId, string>();
  #changed = false;
  #wake: (() => void) | undefined;
  /** Counts the rounds that were asked for and those that ended with nothing left to do. */
  #asked = 0;
  #idleAfter = -1;
  readonly #idleListeners = new Set<() => void>();
  #running: Promise<unknown> | undefined;
  #hinted: Promise<void> | undefined;

  constructor(ports: EnginePorts) {
    this.ports = ports;
    this.presence = new Presence(ports);
    const { blockBytes, streamBlocks, verifyBlocks } = ports.limits;
    this.#streamPool = new BlockPool(ports.files.blocks(streamBlocks, bytes(blockBytes)));
    this.#verifyPool = new BlockPool(ports.files.blocks(verifyBlocks, bytes(blockBytes)));
  }

  /** Begins to work. `failed` hears of a bug that stops it. */
  start(failed: (bug: unknown) => void): void {
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
    this.#running = Promise.all([watching, polling, running]);
  }

  /** Stops between two files; what was begun is finished or thrown away. */
  async stop(): Promise<void> {
    this.#stop.abort();
    this.presence.leaveAll();
    this.#wakeUp();
    await this.#running;
    await this.#hinted;
  }

  /** Looks again soon. */
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

  /** Trips in which a drive of this name takes part. */
  tripsOf(driveName: string): readonly KnownTrip[] {
    const key = nameKey(driveName);
    return this.trips.filter((trip) => trip.profile.drives.some((drive) => nameKey(drive.name) === key));
  }

  spoiltRecords() {
    return [...this.#targets.values()]
      .map(({ publisher }) => ({
        name: publisher.drive.name,
        id: publisher.drive.id,
        lines: publisher.spoiltLines,
      }))
      .filter((record) => record.lines > 0);
  }

  visitOf(card: CardId): CardVisit | undefined {
    return [...this.visits.values()].find((visit) => visit.card.id === card && !visit.card.gone.aborted);
  }

  /** The card was put to a trip by hand: what was decided before doesn't hold. */
  forgetDecision(card: CardId): void {
    const visit = this.visitOf(card);
    if (visit !== undefined) visit.decision = undefined;
  }

  async #run(): Promise<void> {
    while (!this.#stop.signal.aborted) {
      const asked = this.#asked;
      this.#changed = false;
      const worked = await this.#round();
      if (worked || this.#changed || this.#stop.signal.aborted) continue;
      this.#idleAfter = asked;
      for (const done of [...this.#idleListeners]) done();
      if (this.#asked !== asked) continue;
      await this.#untilWoken();
    }
  }

  /** @returns whether anything was copied or tried, so that another round is due. */
  async #round(): Promise<boolean> {
    await this.#readTrips();
    await this.presence.look();
    this.#forgetWhatWent();
    for (const drive of this.presence.drives) await this.#attend(drive);
    for (const card of this.presence.cards) {
      if (!this.visits.has(card.volume.id)) await this.#welcome(new CardVisit(card));
    }
    let worked = false;
    for (const visit of [...this.visits.values()]) {
      if (this.#changed || this.#stop.signal.aborted) break;
      worked = (await this.#workOn(visit)) || worked;
    }
    await this.#flushRecords();
    this.settle();
    return worked;
  }

  /** Alerts and notices follow from what is now known. */
  settle(): void {
    const { ledger, clock } = this.ports;
    const now = clock.now();
    const fresh = ledger.setAlerts(alertsOf(alertView(this)), now);
    const wrong = fresh.filter(
      (alert) => alert.severity !== "note" && ledger.sayOnce(`alert ${alert.code} ${alert.about}`, now),
    );
    for (const alert of wrong) ledger.note("alert", alert.about, `${alert.code}: ${sentences(alert)}`, now);
    const [first] = wrong;
    if (first !== undefined)
      this.#notify({
        title: wrong.length === 1 ? first.happened : `${counted(wrong.length, "matter")} to look at`,
        body: wrong.map((alert) => sentences(alert)).join("\n"),
        urgency: wrong.some((alert) => alert.severity === "urgent") ? "critical" : "normal",
      });
  }

  #notify(notice: { title: string; body: string; urgency: "low" | "normal" | "critical" }): void {
    // Nobody waits for a notice; where none can be shown, the board says the same.
    void this.ports.notices.show({ ...notice, title: printable(notice.title, 60) });
  }

  // --- trips -----------------------------------------------------------------------------------------------------

  async #readTrips(): Promise<void> {
    const { ledger, clock, hashing } = this.ports;
    const known = new Map(ledger.trips().map((row) => [row.id, row]));
    for (const { id, text } of await this.#tripFiles()) {
      const before = known.get(id);
      if (before?.profile === text) continue;
      const { profile } = readProfile(text);
      // A profile with faults changes nothing; `trip check` names them.
      if (profile === undefined) continue;
      const folder = before?.folder ?? this.#freeFolder(profile.trip, id);
      const at = clock.now();
      const fact = encodeFact({ kind: "trip", trip: id, at, folder, profile: text }, hashing);
      ledger.apply([fact]);
      this.#tell([fact]);
      ledger.note("trip", id, `described as ${printable(profile.trip)}`, at);
    }
    const texts = new Map<TripId, string>();
    const trips: KnownTrip[] = [];
    for (const row of ledger.trips()) {
      const { profile } = readProfile(row.profile);
      if (profile === undefined) continue;
      texts.set(row.id, row.profile);
      trips.push({ id: row.id, folder: row.folder, profile });
    }
    for (const trip of trips)
      if (this.#profileTexts.has(trip.id) && this.#profileTexts.get(trip.id) !== texts.get(trip.id))
        await this.#profileChanged(trip, texts.get(trip.id) ?? "");
    this.#profileTexts = texts;
    this.trips = trips;
  }

  /** Trip files that can't be listed change nothing: what is known of the trips holds. */
  async #tripFiles(): Promise<readonly { readonly id: TripId; readonly text: string }[]> {
    try {
      return await this.ports.tripFiles.list();
    } catch (failure) {
      const { ledger, clock } = this.ports;
      const text = printable(String(failure));
      if (ledger.sayOnce(`trip files ${text}`, clock.now())) ledger.note("trip", "", text, clock.now());
      return [];
    }
  }

  async #profileChanged(trip: KnownTrip, text: string): Promise<void> {
    for (const visit of this.visits.values()) visit.decision = undefined;
    for (const { publisher } of this.#targets.values())
      if (publisher.hasRecord(trip.id)) await this.#openRecord(publisher, trip, text);
  }

  /** Two trips of one name don't share a folder, and a folder called like a camera's would make a drive a card. */
  #freeFolder(name: string, id: TripId): string {
    const wanted = safePart(name);
    const taken =
      this.ports.ledger.trips().some((row) => nameKey(row.folder) === nameKey(wanted)) ||
      looksLikeCard([wanted]) ||
      mustLookInside(wanted);
    return taken ? safePart(`${name} ${id}`) : wanted;
  }

  // --- what comes and goes ---------------------------------------------------------------------------------------

  #forgetWhatWent(): void {
    const cards = new Set(this.presence.cards.map((card) => card.volume.id));
    for (const id of this.visits.keys()) if (!cards.has(id)) this.visits.delete(id);
    const drives = new Set(this.presence.drives.map((drive) => drive.volume.id));
    for (const [id, { publisher }] of this.#targets) {
      if (drives.has(id)) continue;
      this.#targets.delete(id);
      this.#troubles.delete(id);
      this.ports.ledger.note("drive", publisher.drive.id, "unplugged", this.ports.clock.now());
    }
  }

  /** Makes a drive ready to be written: leftovers removed, records read and brought up to date. */
  async #attend(drive: PresentDrive): Promise<void> {
    const { ledger, clock } = this.ports;
    let target = this.#targets.get(drive.volume.id);
    if (target === undefined) {
      const publisher = new Publisher(this.ports, drive, this.#verifyPool, (facts, from) =>
        this.#tell(facts, from),
      );
      target = { publisher, verifying: new Places(this.ports.limits.verifyFilesPerDrive) };
      this.#targets.set(drive.volume.id, target);
      ledger.clearFaults(drive.id);
      for (const visit of this.visits.values()) visit.driveCameAnew(drive.id);
      ledger.note("drive", drive.id, `plugged in as ${printable(drive.name)}`, clock.now());
      await this.#guarded(target.publisher, () => this.#clearIncoming(drive));
    }
    const { publisher } = target;
    this.#endTrouble(drive);
    await this.#askFree(drive);
    for (const trip of this.tripsOf(drive.name)) {
      if (publisher.hasRecord(trip.id) || !this.#usable(drive.id)) continue;
      if (ledger.sayOnce(`drive fact ${trip.id} ${drive.id} ${drive.name}`, clock.now())) {
        const fact = encodeFact(
          { kind: "drive", trip: trip.id, at: clock.now(), drive: drive.id, name: drive.name },
          this.ports.hashing,
        );
        ledger.apply([fact]);
        this.#tell([fact]);
      }
      const text = this.#profileTexts.get(trip.id) ?? "";
      await this.#openRecord(publisher, trip, text);
      if (publisher.hasRecord(trip.id))
        await this.#checkStanding(publisher, trip.id, ledger.copiesOn(drive.id, trip.id));
    }
  }

  /** A record that can't be opened keeps the whole drive from being used, whatever the reason. */
  async #openRecord(publisher: Publisher, trip: KnownTrip, text: string): Promise<void> {
    await this.#guarded(publisher, async () => {
      try {
        await publisher.openRecord(trip, text);
      } catch (fault) {
        const ofFile =
          fault instanceof FileFault && (fault.code === "too-large" || fault.code === "bad-name");
        throw ofFile ? new FileFault("io", fault.path, fault) : fault;
      }
    });
  }

  /** Copies that someone removed or cut short don't count any more; they are owed again. */
  async #checkStanding(publisher: Publisher, trip: TripId, copies: readonly CopyRow[]): Promise<void> {
    const { ledger, clock } = this.ports;
    const written = copies.flatMap((copy) => {
      const original = ledger.original(copy.original);
      return original?.trip === trip ? [{ copy, original }] : [];
    });
    await this.#guarded(publisher, async () => {
      const lost = await notStanding(this.ports, publisher, written);
      if (lost.length === 0) return;
      await this.presence.look();
      if (publisher.drive.gone.aborted) return;
      const at = clock.now();
      const medium = publisher.drive.id;
      for (const { copy } of lost) {
        ledger.forgetCopy(copy.original, medium);
        ledger.setFault({ medium, path: copy.path, code: "copy-missing", detail: "", at });
      }
      ledger.note("drive", medium, `${counted(lost.length, "copy", "copies")} gone or cut short`, at);
    });
  }

  /** What drives that are in hold of a card, looked at before anything is said of the card. */
  async #checkCopiesOf(card: CardId): Promise<void> {
    const { ledger } = this.ports;
    const originals = new Set(ledger.cardFiles(card).map((file) => file.original));
    for (const { publisher } of [...this.#targets.values()])
      for (const trip of this.tripsOf(publisher.drive.name)) {
        if (!publisher.hasRecord(trip.id) || !this.#usable(publisher.drive.id)) continue;
        const copies = ledger.copiesOn(publisher.drive.id, trip.id);
        await this.#checkStanding(
          publisher,
          trip.id,
          copies.filter((copy) => originals.has(copy.original)),
        );
      }
  }

  /** Unfinished work of an earlier run is nobody's: it is removed and made anew. */
  async #clearIncoming(drive: PresentDrive): Promise<void> {
    const { files } = this.ports;
    const folder = under(drive.volume.root, incomingFolder);
    const entries = await files.list(folder).catch((fault: unknown) => {
      if (fault instanceof FileFault && fault.code === "missing") return [];
      throw fault;
    });
    for (const entry of entries)
      if (entry.kind === "file") await files.removeUnfinished(under(folder, entry.name));
  }

  /** A drive that failed is tried again after a while, as long as it stays in. */
  #endTrouble(drive: PresentDrive): void {
    const trouble = this.#troubles.get(drive.volume.id);
    if (trouble === undefined) return;
    if (this.ports.clock.steady() - trouble.since < this.ports.limits.driveRetryAfter) return;
    this.#troubles.delete(drive.volume.id);
    this.ports.ledger.clearFaults(drive.id, "");
  }

  async #welcome(visit: CardVisit): Promise<void> {
    const { ledger, clock } = this.ports;
    const { card } = visit;
    ledger.cardSeen(card.id, card.volume.label, card.arrived);
    ledger.clearFaults(card.id);
    ledger.note("card", card.id, `put in, label ${printable(card.volume.label)}`, clock.now());
    this.visits.set(card.volume.id, visit);
  }

  // --- cards -----------------------------------------------------------------------------------------------------

  /** @returns whether copying was tried. */
  async #workOn(visit: CardVisit): Promise<boolean> {
    const { card } = visit;
    if (card.gone.aborted) return false;
    if (visit.survey === undefined && !(await this.#survey(visit))) return false;
    await this.#decide(visit);
    this.settle();
    const plan = this.#plan(visit);
    if (plan === undefined || card.gone.aborted) return false;
    if (plan.jobs.length === 0) {
      if (await this.#changedSince(visit)) return true;
      this.#sayDone(visit);
      return false;
    }
    await this.#copy(visit, plan);
    return true;
  }

  /** Before a card is called done it is listed once more: what was put on it meanwhile must not be passed over. */
  async #changedSince(visit: CardVisit): Promise<boolean> {
    const { survey, card } = visit;
    if (visit.confirmed || survey === undefined) return false;
    const same = await stillAsListed(this.ports, card, survey);
    if (card.gone.aborted) return false;
    visit.confirmed = same || visit.resurveys >= this.ports.limits.resurveysMost;
    if (visit.confirmed) return false;
    visit.resurveys += 1;
    visit.survey = undefined;
    return true;
  }

  async #survey(visit: CardVisit): Promise<boolean> {
    const { card } = visit;
    const { ledger, clock } = this.ports;
    this.work = this.#workOf("survey", card.id, [], bytes(0));
    const survey = await surveyCard(this.ports, card, this.#streamPool, () => this.presence.look());
    this.work = undefined;
    if (survey === undefined) return false;
    visit.survey = survey;
    // What was decided and asked before was about other files.
    visit.decision = undefined;
    visit.facts.clear();
    visit.confirmed = false;
    for (const folder of survey.unreadFolders)
      ledger.setFault({
        medium: card.id,
        path: folder,
        code: "read-error",
        detail: "this folder can't be listed",
        at: clock.now(),
      });
    await this.#checkCopiesOf(card.id);
    return true;
  }

  /** Which trip what is new on the card belongs to. */
  async #decide(visit: CardVisit): Promise<void> {
    const { survey, card } = visit;
    const { ledger } = this.ports;
    if (survey === undefined) return;
    const row = ledger.card(card.id);
    const states = new Map(ledger.cardFiles(card.id).map((file) => [file.path, file]));
    const open = survey.frames.filter((frame) => isOpen(frame, states));
    const news = open.length > 0 || [...states.values()].some((file) => counts(file) && isNew(file));
    if (visit.decision?.decision === "trip") return;
    if (open.length === 0 && (row?.trip !== undefined || !news)) {
      // Without a trip there is nothing on it that counts, so there is nothing to ask either.
      visit.decision = row?.trip === undefined ? undefined : { decision: "trip", trip: row.trip, outside: 0 };
      return;
    }
    this.work = this.#workOf("survey", card.id, [], bytes(0));
    // A card without any open frame, only new extras, is judged by all its frames.
    const judged = open.length > 0 ? open : survey.frames;
    await gatherFacts(this.ports, card, judged, visit.facts, () => undefined);
    this.work = undefined;
    visit.decision = decideTrip(survey, judged, visit.facts, this.trips, row?.assigned);
    this.#noteDays(visit, judged);
    if (visit.decision.decision === "trip") this.#numberCard(visit, visit.decision.trip);
  }

  #noteDays(visit: CardVisit, frames: readonly CardFrame[]): void {
    const { survey, decision } = visit;
    if (survey === undefined) return;
    const trip = decision?.decision === "trip" ? decision.trip : undefined;
    const profile = this.trips.find((each) => each.id === trip)?.profile;
    const reference = profile ?? { bodies: [], zone: "UTC", dayStartsMinutes: 0 };
    const taken = frames.map((frame) => ({ frame, taken: takenOf(survey, frame, visit.facts, reference) }));
    const days = taken.map((each) => each.taken.day).sort();
    visit.days = { from: days[0] ?? "", to: days.at(-1) ?? "" };
    visit.undated = taken
      .filter((each) => each.taken.basis === "file-time")
      .flatMap(({ frame }) => frame.files.map((file) => file.path));
  }

  /** Gives the card its number in the trip, once. */
  #numberCard(visit: CardVisit, trip: TripId): void {
    const { ledger, clock, hashing } = this.ports;
    const row = ledger.card(visit.card.id);
    if (row?.trip === trip && row.number > 0) return;
    const fact = encodeFact(
      {
        kind: "card",
        trip,
        at: clock.now(),
        card: visit.card.id,
        label: visit.card.volume.label,
        number: ledger.highestCardNumber(trip) + 1,
      },
      hashing,
    );
    ledger.apply([fact]);
    this.#tell([fact]);
  }

  #plan(visit: CardVisit): CopyPlan | undefined {
    const { survey, decision, card } = visit;
    if (survey === undefined) return undefined;
    const trip = decision?.decision === "trip" ? decision.trip : undefined;
    const states = new Map(this.ports.ledger.cardFiles(card.id).map((file) => [file.path, file]));
    const planFile = (path: RelativePath): PlanFile | undefined => {
      const file = states.get(path);
      const fileTrip = file?.trip ?? trip;
      if (file === undefined || fileTrip === undefined || file.role === "leaving") return undefined;
      const { size, modified, role, original, drives } = file;
      return { path, size, modified, role, original, trip: fileTrip, heldBy: drives };
    };
    const groupOf = (key: string, paths: readonly RelativePath[]): PlanGroup => ({
      key,
      files: paths.map(planFile).filter((file) => file !== undefined),
    });
    const extras = [...survey.files.values()].filter((file) => file.role === "extra");
    const groups = [
      ...survey.frames.map((frame) =>
        groupOf(
          frame.key,
          frame.files.map((file) => file.path),
        ),
      ),
      ...extras.map((file) => groupOf(`extra ${file.path}`, [file.path])),
    ];
    const plan = planCopies(groups, this.#planDrives(), this.ports.limits, (path, drive) =>
      visit.isGivenUp(path, drive),
    );
    visit.unfit = plan.unfit;
    return plan;
  }

  #planDrives() {
    return this.presence.drives
      .filter((drive) => this.#usable(drive.id) || this.#isFull(drive))
      .map((drive) => ({
        id: drive.id,
        trips: this.#tripsWithRecord(drive),
        freeBytes: this.#isFull(drive) ? bytes(0) : this.freeOf(drive),
        totalBytes: drive.traits.totalBytes,
        blockBytes: drive.traits.blockBytes,
      }));
  }

  #tripsWithRecord(drive: PresentDrive): readonly TripId[] {
    const publisher = this.#targets.get(drive.volume.id)?.publisher;
    const ids = this.tripsOf(drive.name).map((trip) => trip.id);
    return ids.filter((id) => publisher?.hasRecord(id) === true);
  }

  freeOf(drive: PresentDrive): Bytes {
    return this.#free.get(drive.id) ?? drive.traits.freeBytes;
  }

  #isFull(drive: PresentDrive): boolean {
    return this.#troubles.get(drive.volume.id)?.code === "no-space";
  }

  async #copy(visit: CardVisit, plan: CopyPlan): Promise<void> {
    const { card, survey } = visit;
    const { ports } = this;
    if (survey === undefined) return;
    visit.confirmed = false;
    const targets = new Map<DriveId, Target>();
    for (const target of this.#targets.values()) targets.set(target.publisher.drive.id, target);
    const wantedDrives = new Set(plan.jobs.flatMap((job) => job.files.flatMap((file) => file.targets)));
    const names = this.presence.drives
      .filter((drive) => wantedDrives.has(drive.id))
      .map((drive) => drive.name);
    this.work = this.#workOf("copy", card.id, names, plan.readBytes);
    const progress = this.work.progress;
    const extensions = new Map(
      survey.frames.flatMap((frame) => frame.files.map((file) => [file.path, file.extension] as const)),
    );
    try {
      await runPass(
        {
          ports,
          card,
          targets,
          streamPool: this.#streamPool,
          verifyPool: this.#verifyPool,
          wanted: this.#wantedNames(visit, plan),
          siblings: this.#siblings(visit, plan),
          extensions,
          interrupted: () => this.#changed || this.#stop.signal.aborted,
          onBytes: (read) => progress.add(read, ports.clock.steady()),
          onSourceFault: (path, fault) => this.#onSourceFault(visit, path, fault),
          onDriveFault: (drive, path, fault) => this.#onDriveFault(visit, drive, path, fault),
          onDifference: (drive, path) => this.#onDifference(visit, drive, path),
          onCopied: () => undefined,
          tell: (facts) => this.#tell(facts),
          usable: (drive) => this.#usable(drive),
        },
        plan.jobs,
      );
    } finally {
      this.work = undefined;
    }
  }

  #wantedNames(visit: CardVisit, plan: CopyPlan): ReadonlyMap<string, WantedFrame> {
    const { survey, decision, card } = visit;
    const trip = decision?.decision === "trip" ? decision.trip : undefined;
    const known = this.trips.find((each) => each.id === trip);
    if (survey === undefined || known === undefined) return new Map();
    const open = new Set(
      plan.jobs.filter((job) => job.files.some((file) => file.original === undefined)).map((job) => job.key),
    );
    const frames = survey.frames.filter((frame) => open.has(frame.key));
    const number = this.ports.ledger.card(card.id)?.number ?? 0;
    return wantedNames(this.ports, survey, frames, visit.facts, known, number);
  }

  /** What files of frames that are copied now are known to be, whether these are copied or held already. */
  #siblings(visit: CardVisit, plan: CopyPlan): ReadonlyMap<string, readonly OriginalId[]> {
    const jobs = new Set(plan.jobs.map((job) => job.key));
    const originals = new Map(
      this.ports.ledger.cardFiles(visit.card.id).map((file) => [file.path, file.original]),
    );
    const frames = visit.survey?.frames.filter((frame) => jobs.has(frame.key)) ?? [];
    return new Map(
      frames.map((frame) => {
        const known = frame.files.map((file) => originals.get(file.path));
        return [frame.key, known.filter((original) => original !== undefined)];
      }),
    );
  }

  /** Nothing is left to do with what is plugged in: say once how the card stands. */
  #sayDone(visit: CardVisit): void {
    const { card } = visit;
    const { ledger, clock } = this.ports;
    const verdict = cardVerdict(this, card.id);
    if (verdict === undefined || verdict.files === 0 || visit.decision?.decision !== "trip") return;
    const key = `done ${card.id} ${card.arrived} ${verdict.verdict.clear ? "clear" : "not clear"}`;
    if (!ledger.sayOnce(key, clock.now())) return;
    const { clear, sentence } = verdict.verdict;
    ledger.note("card", card.id, sentence, clock.now());
    this.#notify({
      title: clear ? `${verdict.name} may be formatted` : `Keep ${verdict.name.replace(/^Card /, "card ")}`,
      body: clear ? `${sentence} Look at a few frames first, and format it in the camera.` : sentence,
      urgency: "normal",
    });
  }

  // --- faults ----------------------------------------------------------------------------------------------------

  async #onSourceFault(visit: CardVisit, path: RelativePath, fault: unknown): Promise<void> {
    if (await this.presence.look()) this.refresh();
    if (visit.card.gone.aborted) return;
    const code = fault instanceof FileFault ? fault.code : "io";
    // The card isn't what was listed: list it again, a few times at most.
    if ((code === "missing" || code === "changed") && visit.resurveys < this.ports.limits.readTries) {
      visit.resurveys += 1;
      visit.survey = undefined;
      this.#changed = true;
      return;
    }
    visit.giveUpReading(path);
    this.ports.ledger.setFault({
      medium: visit.card.id,
      path,
      code: "read-error",
      detail: wordsFor(code),
      at: this.ports.clock.now(),
    });
    this.settle();
  }

  async #onDriveFault(
    visit: CardVisit | undefined,
    drive: DriveId,
    path: RelativePath,
    fault: unknown,
  ): Promise<void> {
    const code = fault instanceof FileFault ? fault.code : "io";
    const target = [...this.#targets.values()].find((each) => each.publisher.drive.id === drive);
    if (target === undefined) return;
    const { volume, gone } = target.publisher.drive;
    if (await this.presence.look()) this.refresh();
    if (gone.aborted) return;
    if (code === "gone") {
      // It isn't what was plugged in there; the next look finds out what is.
      this.presence.reconsider(volume.id);
      this.refresh();
      return;
    }
    const fileOnly = code === "bad-name" || code === "too-large";
    if (fileOnly) visit?.giveUpCopying(path, drive);
    else this.#troubles.set(volume.id, { code, since: this.ports.clock.steady() });
    if (!fileOnly && code !== "no-space") {
      // A drive that was pulled fails for a moment before its mount goes; that is no fault of the drive's.
      await this.ports.clock.sleep(millis(this.ports.limits.pulledSettle), this.#stop.signal);
      if (await this.presence.look()) this.refresh();
      if (gone.aborted) return;
    }
    if (code !== "no-space")
      this.ports.ledger.setFault({
        medium: drive,
        path: fileOnly ? path : "",
        code: fileOnly ? code : "write-error",
        detail: wordsFor(code),
        at: this.ports.clock.now(),
      });
    this.settle();
  }

  #onDifference(visit: CardVisit, drive: DriveId, path: RelativePath): void {
    if (visit.differed(path, drive) < this.ports.limits.copyTries) return;
    visit.giveUpCopying(path, drive);
    this.ports.ledger.setFault({
      medium: drive,
      path,
      code: "copy-differs",
      detail: "",
      at: this.ports.clock.now(),
    });
    this.settle();
  }

  /** Runs work on one drive; its failure concerns that drive alone. */
  async #guarded(publisher: Publisher, work: () => Promise<void>): Promise<void> {
    try {
      await work();
    } catch (fault) {
      if (!(fault instanceof FileFault)) throw fault;
      await this.#onDriveFault(undefined, publisher.drive.id, "" as RelativePath, fault);
    }
  }

  #usable(drive: DriveId): boolean {
    const present = this.presence.drives.find((each) => each.id === drive);
    return present !== undefined && !present.gone.aborted && !this.#troubles.has(present.volume.id);
  }

  // --- records ---------------------------------------------------------------------------------------------------

  /** Every other drive that is in learns it too; one that is away finds it in the ledger when it comes. */
  #tell(facts: readonly EncodedFact[], from?: Publisher): void {
    for (const { publisher } of this.#targets.values()) if (publisher !== from) publisher.learn(facts);
  }

  async #flushRecords(): Promise<void> {
    for (const { publisher } of [...this.#targets.values()])
      if (this.#usable(publisher.drive.id)) await this.#guarded(publisher, () => publisher.flush());
  }

  async #askFree(drive: PresentDrive): Promise<void> {
    try {
      this.#free.set(drive.id, (await this.ports.files.traits(drive.volume.root)).freeBytes);
    } catch (fault) {
      if (!(fault instanceof FileFault)) throw fault;
    }
  }

  // --- waiting ---------------------------------------------------------------------------------------------------

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
      if (changed || this.#retryIsDue() || (await this.#spaceWasFreed())) this.refresh();
    }
  }

  #retryIsDue(): boolean {
    const steady = this.ports.clock.steady();
    const { driveRetryAfter } = this.ports.limits;
    return [...this.#troubles.values()].some((trouble) => steady - trouble.since >= driveRetryAfter);
  }

  /** Whether a drive that was too full has more room than when it was last asked. */
  async #spaceWasFreed(): Promise<boolean> {
    let freed = false;
    const full = new Set([...this.visits.values()].flatMap((visit) => [...visit.unfit.keys()]));
    for (const drive of this.presence.drives) {
      if (!full.has(drive.id)) continue;
      const before = this.freeOf(drive);
      await this.#askFree(drive);
      if (this.freeOf(drive) <= before) continue;
      freed = true;
      if (this.#isFull(drive)) this.#troubles.delete(drive.volume.id);
    }
    return freed;
  }

  async #untilWoken(): Promise<void> {
    if (this.#changed || this.#stop.signal.aborted) return;
    await new Promise<void>((resolve) => {
      this.#wake = resolve;
    });
    this.#wake = undefined;
  }

  #wakeUp(): void {
    this.#wake?.();
    if (this.#stop.signal.aborted) for (const done of [...this.#idleListeners]) done();
  }

  #workOf(kind: CurrentWork["kind"], card: CardId, to: readonly string[], total: Bytes): CurrentWork {
    return { kind, card, to, progress: new Progress(total, this.ports.clock.steady()) };
  }

  /** `Card 7` */
  nameOfCard(card: CardId): string {
    const row = this.ports.ledger.card(card);
    return cardName(row?.number ?? 0, row?.label ?? "", card);
  }

  now(): Instant {
    return this.ports.clock.now();
  }
}

function counts(file: CardFileState): boolean {
  return file.role !== "leaving";
}

function isNew(file: CardFileState): boolean {
  return file.original === undefined;
}

function isOpen(frame: CardFrame, states: ReadonlyMap<RelativePath, CardFileState>): boolean {
  return frame.files.some((file) => {
    const state = states.get(file.path);
    return state !== undefined && isNew(state);
  });
}

/** What a fault code means, as a part of a sentence. */
function wordsFor(code: FileFaultCode): string {
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
