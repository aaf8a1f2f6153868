/**
 * What is said of its own accord: alerts follow from what is known, and what is new among them becomes a notice; so do
 * a card that is done, a drive that caught up and a trip that came home. Each is said once, missing drives again after a while, and all of it
 * stands in the list of what happened. Not its job: the sentences of alerts and verdicts (`core/`).
 */

import { counted } from "../../shared/format.ts";
import type { ReceiptJson } from "../../shared/homeApi.ts";
import { type DriveId, nameKey } from "../../shared/identity.ts";
import { type Alert, sentences } from "../../shared/problems.ts";
import { inSentence, printable } from "../../shared/text.ts";
import { type Instant, type Millis, millis } from "../../shared/units.ts";
import { alertsOf } from "../core/alerts.ts";
import { type Budget, type Saying, spend, together } from "../core/noticeBudget.ts";
import type { Ejection } from "../ports/volumes.ts";
import { alertView } from "./alertView.ts";
import { judgedCard, judgedCards } from "./cardBoard.ts";
import type { KnownTrip } from "./dating.ts";
import type { Engine } from "./engine.ts";
import type { CardVisit } from "./visits.ts";

export class Voice {
  readonly #engine: Engine;
  readonly #stop: AbortSignal;
  readonly #ejectCard: (visit: CardVisit, name: string) => Promise<Ejection>;
  /** On the steady clock: when it was last looked whether something is to be said again. */
  #remindedAt: Millis;
  /** What drives that came owed their trips, until they owe nothing or go. */
  readonly #catchingUp = new Map<
    string,
    { readonly drive: DriveId; readonly trip: KnownTrip; readonly files: number }
  >();
  #budget: Budget;
  readonly #unsaid: Saying[] = [];
  #saying = false;

  constructor(
    engine: Engine,
    stop: AbortSignal,
    ejectCard: (visit: CardVisit, name: string) => Promise<Ejection>,
  ) {
    this.#engine = engine;
    this.#stop = stop;
    this.#ejectCard = ejectCard;
    const { clock, limits } = engine.ports;
    this.#remindedAt = clock.steady();
    this.#budget = { left: limits.noticesAtOnce, at: clock.steady() };
  }

  /** Alerts and notices follow from what is now known. */
  settle(): void {
    const { ledger, clock } = this.#engine.ports;
    const now = clock.now();
    this.#rememberClear(now);
    const alerts = alertsOf(alertView(this.#engine));
    const fresh = ledger.setAlerts(alerts, now);
    this.#remind(alerts, fresh, now);
    const wrong = fresh.filter(
      (alert) => alert.severity !== "note" && ledger.sayOnce(`alert ${alert.code} ${alert.about}`, now),
    );
    for (const alert of wrong) ledger.note("alert", alert.about, `${alert.code}: ${sentences(alert)}`, now);
    const [first] = wrong;
    if (first !== undefined)
      this.#say({
        title: wrong.length === 1 ? first.happened : `${counted(wrong.length, "matter")} to look at`,
        body: wrong.map((alert) => sentences(alert)).join("\n"),
        urgency: wrong.some((alert) => alert.severity === "urgent") ? "critical" : "normal",
        matter: wrong.length === 1 ? placeOf(first) : "evening",
      });
    this.#sayCaughtUp(now);
  }

  /** Settles once in a while though nothing happened: what is missing is to be said again. */
  settleIfDue(): void {
    const { clock, limits } = this.#engine.ports;
    const now = clock.steady();
    if (now - this.#remindedAt < limits.remindLookEvery) return;
    this.#remindedAt = now;
    this.settle();
  }

  /** Nothing is left to do with what is plugged in: say once how the card stands. */
  sayDone(visit: CardVisit): void {
    const { card, decision } = visit;
    const { ledger, clock } = this.#engine.ports;
    const state = judgedCard(this.#engine, card.id);
    if (state === undefined || state.files === 0 || decision?.decision !== "trip") return;
    const { clear, sentence } = state.verdict;
    const key = `done ${card.id} ${card.arrived} ${clear ? "clear" : "not clear"}`;
    if (!ledger.sayOnce(key, clock.now())) return;
    ledger.note("card", card.id, sentence, clock.now());
    const matter = "evening";
    if (!clear) {
      this.#say({ title: `Keep ${inSentence(state.name)}`, body: sentence, urgency: "normal", matter });
      return;
    }
    const say = (then: string) =>
      this.#say({
        title: `${state.name} may be formatted`,
        body: `${sentence} Look at a few frames first, and format it in the camera.${then}`,
        urgency: "normal",
        matter,
      });
    if (state.trip?.profile.after.ejectCard !== true) {
      say("");
      return;
    }
    // It is ejected before the next round; what is said waits for that, the work doesn't.
    void this.#ejectCard(visit, state.name).then((ejection) =>
      say(ejection.ejected ? " It may be taken out." : ` It couldn't be ejected: ${ejection.why}.`),
    );
  }

  /** A homecoming takes hours; whoever began it has walked away. */
  sayHome({ headline, advice, complete }: ReceiptJson): void {
    const urgency = complete ? "normal" : "critical";
    this.#say({ title: headline, body: `${headline} ${advice}`, urgency, matter: "home" });
  }

  /** Cards that are clear now, in or out: if they aren't any more one day, that is to be said. */
  #rememberClear(now: Instant): void {
    const { ledger } = this.#engine.ports;
    for (const { row, files, verdict } of judgedCards(this.#engine)) {
      if (row.cleared !== undefined || row.dismissed) continue;
      if (files > 0 && verdict.clear) ledger.cardCleared(row.id, now);
    }
  }

  /** What is missing is said again as long as it is, twice a day at most. */
  #remind(alerts: readonly Alert[], fresh: readonly Alert[], now: Instant): void {
    const { ledger, limits } = this.#engine.ports;
    const missing = alerts.filter((alert) => alert.code === "drive-missing");
    const due = missing.filter((alert) => {
      const again = ledger.sayAgain(`again ${alert.code} ${alert.about}`, now, millis(limits.remindEvery));
      const saidJustNow = fresh.some((each) => each.code === alert.code && each.about === alert.about);
      return again && !saidJustNow;
    });
    const [first] = due;
    if (first === undefined) return;
    this.#say({
      title: due.length === 1 ? first.happened : `${counted(due.length, "drive")} are still missing`,
      body: due.map((alert) => sentences(alert)).join("\n"),
      urgency: "normal",
      matter: due.length === 1 ? placeOf(first) : "evening",
    });
  }

  /** A drive was plugged in: what it owes now is brought up, and then that is said. */
  driveCame(drive: DriveId): void {
    const { ports, presence, tripBook } = this.#engine;
    const name = presence.drives.find(({ id }) => id === drive)?.name ?? "";
    for (const trip of tripBook.tripsOf(name)) {
      const files = ports.ledger.share(trip.id, drive).owedFiles;
      if (files > 0) this.#catchingUp.set(`${trip.id} ${drive}`, { drive, trip, files });
    }
  }

  /** Drives that came owing files and owe none any more. */
  #sayCaughtUp(now: Instant): void {
    const { ports, presence } = this.#engine;
    for (const [key, { drive, trip, files }] of this.#catchingUp) {
      const here = presence.drives.find(({ id }) => id === drive);
      if (here !== undefined && ports.ledger.share(trip.id, drive).owedFiles > 0) continue;
      this.#catchingUp.delete(key);
      if (here === undefined) continue;
      const said = caughtUp(here.name, trip, files);
      ports.ledger.note("drive", drive, said.body, now);
      this.#say(said);
    }
  }

  /** Nobody waits for a notice; where none can be shown, the board says the same. */
  #say(saying: Saying): void {
    this.#unsaid.push({ ...saying, title: printable(saying.title, 60) });
    if (this.#saying) return;
    this.#saying = true;
    void this.#sayAll();
  }

  async #sayAll(): Promise<void> {
    const { clock, limits, notices } = this.#engine.ports;
    const bounds = { most: limits.noticesAtOnce, every: millis(limits.noticesEvery) };
    while (!this.#stop.aborted) {
      const [first, ...others] = this.#unsaid;
      if (first === undefined) break;
      const { budget, wait } = spend(this.#budget, clock.steady(), bounds);
      this.#budget = budget;
      if (wait > 0) {
        await clock.sleep(wait, this.#stop);
        continue;
      }
      this.#unsaid.length = 0;
      void notices.show(together([first, ...others]));
    }
    this.#saying = false;
  }
}

/** Where the page shows an alert. */
function placeOf({ code, about }: Alert): string {
  return `evening/${code}/${encodeURIComponent(printable(about))}`;
}

function caughtUp(drive: string, { profile }: KnownTrip, files: number): Saying {
  const name = printable(drive);
  const place = profile.drives.find((each) => nameKey(each.name) === nameKey(drive))?.place;
  const kept = place === undefined ? "" : ` Its place is: ${printable(place)}.`;
  return {
    title: `${name} is caught up`,
    body: `${name} owed ${counted(files, "file")} of ${printable(profile.trip)} and owes none any more; each was read back and verified.${kept}`,
    urgency: "low",
    matter: "drives",
  };
}
