/**
 * Work files that were changed on two drives apart: both sides, what differs, and the two answers. Both versions are kept
 * whatever the answer is.
 */

import { useEffect, useState } from "preact/hooks";
import type {
  ConflictDetailJson,
  ConflictJson,
  ConflictSideJson,
  EditsJson,
  RestoredJson,
} from "../../../shared/editsApi.ts";
import { formatBytes } from "../../../shared/format.ts";
import { fullMoment } from "../../../shared/moments.ts";
import { printable } from "../../../shared/text.ts";
import { bytes } from "../../../shared/units.ts";
import { Act } from "../act.tsx";
import { ask, change, Refused } from "../daemon.ts";
import { Words } from "../words.tsx";

/** So many are shown with all that differs; the others follow as these are answered. */
const shownAtOnce = 20;

export function Conflicts({ edits, changed }: { readonly edits: EditsJson; readonly changed: () => void }) {
  const { conflicts } = edits;
  if (conflicts.length === 0) return null;
  return (
    <section aria-label="Changed on two drives apart">
      {conflicts.slice(0, shownAtOnce).map((conflict) => (
        <Conflict key={conflict.id} conflict={conflict} trip={edits.trip?.id} changed={changed} />
      ))}
      {conflicts.length > shownAtOnce ? (
        <p class="small">and {conflicts.length - shownAtOnce} more, which follow as these are answered</p>
      ) : null}
    </section>
  );
}

function Conflict({
  conflict,
  trip,
  changed,
}: {
  readonly conflict: ConflictJson;
  readonly trip: string | undefined;
  readonly changed: () => void;
}) {
  const { path, kept, other } = conflict;
  const shown = printable(path, 1_200);
  return (
    <article class="matter warning">
      <h2>
        <code>{shown}</code>
      </h2>
      <p>
        Both versions are kept. The newer one is in place
        {other.deleted ? "; on the other drive it was deleted" : "; the other one is in the history"}.
      </p>
      {/* biome-ignore lint/a11y/noNoninteractiveTabindex: a table wider than the window is scrolled with the keys */}
      <section class="wide" aria-label={`Both versions of ${shown}`} tabIndex={0}>
        <table class="sides">
          <thead>
            <tr>
              <td />
              <th scope="col">In place, of {printable(kept.drive, 40)}</th>
              <th scope="col">The other, of {printable(other.drive, 40)}</th>
            </tr>
          </thead>
          <tbody>
            <tr>
              <th scope="row">Changed</th>
              <td>{fullMoment(kept.modified)}</td>
              <td>{other.deleted ? "deleted" : fullMoment(other.modified)}</td>
            </tr>
            <tr>
              <th scope="row">Seen</th>
              <td>{fullMoment(kept.at)}</td>
              <td>{fullMoment(other.at)}</td>
            </tr>
            <tr>
              <th scope="row">Size</th>
              <td>{formatBytes(bytes(kept.bytes))}</td>
              <td>{other.deleted ? "none" : formatBytes(bytes(other.bytes))}</td>
            </tr>
            <tr>
              <th scope="row">Stands as</th>
              <Stands side={kept} />
              <Stands side={other} />
            </tr>
            <Differences id={conflict.id} />
          </tbody>
        </table>
      </section>
      <p class="acts">
        {other.deleted ? null : (
          <Act
            name="Put the other version in place"
            label={`Put the other version in place: ${shown}`}
            run={async () => {
              await change<RestoredJson>("/v1/edits/restore", { ...ofTrip(trip), path, at: other.at });
              changed();
            }}
          />
        )}
        <Act
          name="I know"
          label={`I know: ${shown}`}
          run={async () => {
            await change(`/v1/edits/conflicts/${encodeURIComponent(conflict.id)}/seen`, {});
            changed();
          }}
        />
      </p>
    </article>
  );
}

export function ofTrip(trip: string | undefined): { readonly trip?: string } {
  return trip === undefined ? {} : { trip };
}

function Stands({ side }: { readonly side: ConflictSideJson }) {
  return <td>{side.path === null ? "not found now" : <code>{printable(side.path, 1_200)}</code>}</td>;
}

/** Property by property where both sides can be read; else why not. */
function Differences({ id }: { readonly id: string }) {
  const [detail, setDetail] = useState<ConflictDetailJson>();
  const [refusal, setRefusal] = useState<Refused>();
  useEffect(() => {
    const left = new AbortController();
    ask<ConflictDetailJson>(`/v1/edits/conflicts/${encodeURIComponent(id)}`, left.signal).then(
      setDetail,
      (failure: unknown) => {
        if (left.signal.aborted) return;
        if (!(failure instanceof Refused)) throw failure;
        setRefusal(failure);
      },
    );
    return () => left.abort();
  }, [id]);
  const why =
    refusal === undefined ? (detail?.why ?? "Asking what differs …") : `${refusal.message} ${refusal.next}`;
  if (detail === undefined || detail.differences.length === 0)
    return why === "" ? null : (
      <tr>
        <th scope="row">Differs</th>
        <td colSpan={2}>
          <Words text={why} />
        </td>
      </tr>
    );
  return (
    <>
      {detail.differences.map(({ property, kept, other }) => (
        <tr key={property}>
          <th scope="row">
            <code>{printable(property)}</code>
          </th>
          <Value of={kept} />
          <Value of={other} />
        </tr>
      ))}
    </>
  );
}

function Value({ of }: { readonly of: string | null }) {
  if (of === null) return <td class="none">isn't there</td>;
  return <td>{of === "" ? <span class="none">is empty</span> : printable(of, 400)}</td>;
}
