/** What a trip's cards showed and nobody ever read: it exists, and isn't home. */

import type { CardId, TripId } from "../../../shared/identity.ts";
import { inSentence } from "../../../shared/text.ts";
import type { EnginePorts } from "../ports.ts";
import type { Missing } from "./run.ts";

/** What cards of the trip showed and nobody ever read, whether it stands on them still or not. */
export function neverCopied(
  { ledger }: EnginePorts,
  trip: TripId,
  nameOfCard: (card: CardId) => string,
): readonly Missing[] {
  const vanished = ledger.vanished();
  return ledger.cards().flatMap((card): Missing[] => {
    if (card.trip !== trip || card.dismissed) return [];
    const name = inSentence(nameOfCard(card.id));
    const unread = ledger
      .cardFiles(card.id)
      .filter(({ role, original }) => role !== "leaving" && original === undefined)
      .map(({ path, size, role }): Missing => {
        const kind = role === "leaving" ? "extra" : role;
        return { path, size, kind, lastSeen: `on ${name}, never copied` };
      });
    const gone = vanished
      .filter((file) => file.card === card.id)
      .map(({ path, size }): Missing => {
        return { path, size, kind: "frame", lastSeen: `on ${name}, never copied and gone from it` };
      });
    return [...unread, ...gone];
  });
}
