/**
 * What is remembered of a card or drive only while it stays plugged in: its survey, what cameras said, what was given
 * up. All of it can be found out again, so nothing here outlives the volume.
 */

import type { DriveId, RelativePath } from "../../shared/identity.ts";
import type { CopyPlan } from "../core/plan.ts";
import type { TripDecision } from "../core/tripOfCard.ts";
import type { CardFacts } from "./dating.ts";
import type { PresentCard } from "./presence.ts";
import type { Survey } from "./survey.ts";

export class CardVisit {
  readonly card: PresentCard;
  survey: Survey | undefined;
  readonly facts: CardFacts = new Map();
  decision: TripDecision | undefined;
  /** First and last day of its frames, for messages; "" while unknown. */
  days: { readonly from: string; readonly to: string } = { from: "", to: "" };
  /** Files filed by their file's own time. */
  undated: readonly RelativePath[] = [];
  /** What of it doesn't fit, drive by drive, by the last plan. */
  unfit: CopyPlan["unfit"] = new Map();
  /** Surveys made anew because the card changed under the work; bounded. */
  resurveys = 0;
  /** Whether the card was listed once more after all was copied, and nothing had changed. */
  confirmed = false;
  /** Files that a drive couldn't verify, or that read differently a second time: to be read once more. */
  readonly doubtful = new Set<RelativePath>();
  readonly #unreadable = new Set<RelativePath>();
  readonly #differences = new Map<RelativePath, number>();
  readonly #givenUp = new Map<RelativePath, Set<DriveId>>();

  constructor(card: PresentCard) {
    this.card = card;
  }

  /** How often this file has read differently from its first reading, this time included. */
  differed(path: RelativePath): number {
    const times = (this.#differences.get(path) ?? 0) + 1;
    this.#differences.set(path, times);
    this.doubtful.add(path);
    return times;
  }

  giveUpReading(path: RelativePath): void {
    this.#unreadable.add(path);
  }

  giveUpCopying(path: RelativePath, drive: DriveId): void {
    const drives = this.#givenUp.get(path) ?? new Set();
    drives.add(drive);
    this.#givenUp.set(path, drives);
  }

  isGivenUp(path: RelativePath, drive: DriveId | undefined): boolean {
    if (this.#unreadable.has(path)) return true;
    return drive !== undefined && (this.#givenUp.get(path)?.has(drive) ?? false);
  }

  /** A drive that was taken out and put in again gets every file offered anew. */
  driveCameAnew(drive: DriveId): void {
    for (const drives of this.#givenUp.values()) drives.delete(drive);
  }
}
