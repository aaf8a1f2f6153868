/**
 * This evening: is everything safe, which cards may be formatted, what to plug in or put where. One look answers it;
 * what is wrong stands below in its three sentences, with the one thing that helps.
 */

import { Fragment } from "preact";
import { useEffect, useRef, useState } from "preact/hooks";
import type { AlertJson, CardStatusJson, StatusJson, WorkJson } from "../../shared/api.ts";
import {
  type BoardCell,
  type BoardRow,
  boardTable,
  cardsOnBoard,
  copyingWords,
  damagedOf,
  isAtRest,
  mayBeFormatted,
  percentOf,
  type SeedSign,
  workFacts,
} from "../../shared/boardTable.ts";
import { formatCautions } from "../../shared/cautions.ts";
import { shortMoment } from "../../shared/moments.ts";
import { inSentence, printable } from "../../shared/text.ts";
import type { TripEntryJson } from "../../shared/tripsApi.ts";
import { Act } from "./act.tsx";
import { addressOf } from "./address.ts";
import { ask, change, Refused } from "./daemon.ts";
import { latestDay } from "./frames/frames.tsx";
import { meanings, Seed } from "./seed.tsx";
import { Words } from "./words.tsx";

/** @param matter code and subject of the alert that a notice pointed at; shown and focused where it still holds */
export function Evening({
  status,
  matter: [code, about] = [],
}: {
  readonly status: StatusJson;
  readonly matter?: readonly string[];
}) {
  const inviting = cardsOnBoard(status).some(mayBeFormatted);
  return (
    <>
      {/* Announced when it changes; the advice isn't, since it counts the minutes that are left. */}
      <div role="status">
        <h1>
          <Words text={status.headline} />
        </h1>
      </div>
      <p class="advice">
        <Words text={status.advice} />
      </p>
      <FirstSteps status={status} />
      <Matrix status={status} />
      {status.work.map((work) => (
        <Work key={`${work.kind} ${work.from}`} work={work} />
      ))}
      <PauseOrGoOn status={status} />
      <EjectCards status={status} />
      {status.alerts.length === 0 ? null : (
        <section aria-label="What is the matter">
          {status.alerts.map((alert) => (
            <Matter
              key={`${alert.code} ${alert.about}`}
              alert={alert}
              status={status}
              pointedAt={alert.code === code && alert.about === about}
            />
          ))}
        </section>
      )}
      {inviting ? (
        <p class="cautions">
          {formatCautions} <a href={addressOf("frames", latestDay, "check")}>Look at a few frames first</a>
        </p>
      ) : null}
    </>
  );
}

/** What the advice asks for before the first evening can be done on other screens. */
function FirstSteps({ status }: { readonly status: StatusJson }) {
  const undescribed = status.trip === null;
  const unmet = status.drives.some((drive) => drive.id === null);
  if (!undescribed && !unmet) return null;
  return (
    <p class="acts">
      {undescribed ? <a href={addressOf("trips", "new")}>Describe a trip</a> : null}
      {unmet ? <a href={addressOf("drives", "introduce")}>Introduce a drive</a> : null}
    </p>
  );
}

function Matrix({ status }: { readonly status: StatusJson }) {
  const { columns, rows } = boardTable(status);
  if (columns.length === 0 || rows.length === 0) return null;
  return (
    // biome-ignore lint/a11y/noNoninteractiveTabindex: a table wider than the window is scrolled with the keys
    <section class="wide" aria-label="Who holds what" tabIndex={0}>
      <table class="matrix">
        <thead>
          <tr>
            <td />
            {columns.map((column) => (
              <th key={column.name} scope="col">
                {column.name}
                <span class="place">
                  {[column.place, column.whyAway].filter((part) => part !== "").join(" · ")}
                </span>
              </th>
            ))}
            <th scope="col">
              <span class="hidden">Verdict</span>
            </th>
          </tr>
        </thead>
        <tbody>
          {rows.map((row) => (
            <Row key={row.card?.id ?? row.name} row={row} />
          ))}
        </tbody>
      </table>
      <Legend signs={rows.flatMap((row) => [...row.cells, row.verdict].map((cell) => cell.sign))} />
    </section>
  );
}

/** The signs of the table above in words; screen readers hear them in each cell. */
function Legend({ signs }: { readonly signs: readonly (SeedSign | undefined)[] }) {
  const used = (Object.keys(meanings) as SeedSign[]).filter((sign) => signs.includes(sign));
  return (
    <p class="legend" aria-hidden="true">
      {used.map((sign) => (
        <span key={sign} class={`cell ${sign}`}>
          <Seed sign={sign} />
          {meanings[sign]}
        </span>
      ))}
    </p>
  );
}

function Row({ row }: { readonly row: BoardRow }) {
  const { card } = row;
  const verdict = card === undefined ? "" : mayBeFormatted(card) ? "clear" : card.clear ? "" : "keep";
  return (
    <tr>
      <th scope="row">{row.name}</th>
      {row.cells.map((cell, index) => (
        <td key={index}>
          <Cell cell={cell} />
        </td>
      ))}
      <td class={`verdict ${verdict}`}>
        <Cell cell={row.verdict} />
      </td>
    </tr>
  );
}

function Cell({ cell }: { readonly cell: BoardCell }) {
  if (cell.sign === undefined) return <>{cell.text}</>;
  return (
    <span class={`cell ${cell.sign}`}>
      <Seed sign={cell.sign} />
      <span>
        {breakable(cell.text)}
        <span class="hidden"> {meanings[cell.sign]}</span>
      </span>
    </span>
  );
}

/** `912/1,733` may go on behind its stroke where a window is narrow. */
function breakable(text: string) {
  const parts = text.split("/");
  return parts.map((part, index) => (
    <Fragment key={index}>
      {part}
      {index < parts.length - 1 ? (
        <>
          /<wbr />
        </>
      ) : null}
    </Fragment>
  ));
}

function Work({ work }: { readonly work: WorkJson }) {
  if (work.kind === "survey") return <p class="work">Looking at {inSentence(work.from)} …</p>;
  const facts = workFacts(work).join(", ");
  const what =
    work.kind === "scrub"
      ? `Reading ${work.from} again`
      : `${copyingWords[work.kind]} ${inSentence(work.from)} to ${work.to.join(", ")}`;
  return (
    <p class="work">
      {what}: {facts}
      <progress aria-label={what} max={100} value={percentOf(work)} />
    </p>
  );
}

function PauseOrGoOn({ status }: { readonly status: StatusJson }) {
  if (status.paused === true)
    return (
      <p class="acts">
        <Act name="Go on with the work" main run={() => change("/v1/continue", {})} />
      </p>
    );
  if (status.work.length === 0) return null;
  return (
    <p class="acts">
      <Act name="Let the work wait" run={() => change("/v1/pause", {})} />
    </p>
  );
}

/** Cards that are in and may be formatted, so that they may be taken out. */
function EjectCards({ status }: { readonly status: StatusJson }) {
  const cards = cardsOnBoard(status).filter((card) => mayBeFormatted(card) && isAtRest(status, card));
  if (cards.length === 0) return null;
  return (
    <p class="acts">
      {cards.map((card) => (
        <Act
          key={card.id}
          name={`Eject ${inSentence(printable(card.name, 40))}`}
          run={() => change("/v1/eject", { name: card.id })}
        />
      ))}
    </p>
  );
}

function Matter({
  alert,
  status,
  pointedAt,
}: {
  readonly alert: AlertJson;
  readonly status: StatusJson;
  readonly pointedAt: boolean;
}) {
  const place = useRef<HTMLElement>(null);
  useEffect(() => {
    if (pointedAt) place.current?.focus();
  }, [pointedAt]);
  const sign = alert.severity === "urgent" ? "damaged" : "owed";
  return (
    <article class={`matter ${alert.severity}`} ref={place} tabIndex={-1}>
      <p>
        {alert.severity === "note" ? null : <Seed sign={sign} />}
        <strong>
          <Words text={alert.happened} />
        </strong>{" "}
        <Words text={`${alert.safe} ${alert.next}`} />{" "}
        <span class="since">
          {alert.severity}, since <time dateTime={alert.since}>{shortMoment(alert.since, status.at)}</time>
        </span>
      </p>
      <WhatHelps alert={alert} status={status} />
    </article>
  );
}

/** The one thing that can be done about it from here; most things are done by plugging something in. */
function WhatHelps({ alert, status }: { readonly alert: AlertJson; readonly status: StatusJson }) {
  const card = status.cards.find((each) => each.id === alert.about);
  if (alert.code === "damaged-source" && card !== undefined) return <Damaged card={card} />;
  if (alert.code === "no-trip" && card !== undefined) return <WhichTrip card={card} />;
  if (alert.code === "work-conflict")
    return (
      <p class="acts">
        <a href={addressOf("edits")}>See both versions</a>
      </p>
    );
  if (alert.code === "frame-doubted")
    return (
      <p class="acts">
        <a href={addressOf("frames")}>Look at the frames</a>
      </p>
    );
  if (
    card !== undefined &&
    (alert.code === "card-formatted" || alert.code === "card-unfinished") &&
    (!card.present || (card.vanished ?? []).length > 0)
  )
    return (
      <p class="acts">
        <Act
          name={`${printable(card.name, 40)} is of no concern`}
          run={() => change(`/v1/cards/${encodeURIComponent(card.id)}/dismiss`, {})}
        />
      </p>
    );
  return null;
}

/** The answer to which trip a card belongs to: one of those that are described. */
function WhichTrip({ card }: { readonly card: CardStatusJson }) {
  const [trips, setTrips] = useState<readonly TripEntryJson[]>([]);
  useEffect(() => {
    ask<readonly TripEntryJson[]>("/v1/trips").then(setTrips, (failure: unknown) => {
      // The command in the sentence above does the same.
      if (!(failure instanceof Refused)) throw failure;
    });
  }, []);
  return (
    <p class="acts">
      {trips
        .filter(({ name }) => name !== null)
        .map(({ id, name, from }) => (
          <Act
            key={id}
            name={`It belongs to ${printable(name ?? "", 40)}, ${from ?? ""}`}
            label={`It belongs to ${printable(name ?? "", 40)}, ${from ?? ""}: ${printable(card.name, 40)}`}
            run={() => change(`/v1/cards/${encodeURIComponent(card.id)}/trip`, { trip: id })}
          />
        ))}
      <a href={addressOf("trips", "new")}>Describe another trip</a>
    </p>
  );
}

/** Files one by one: each is looked at before it is let go. */
function Damaged({ card }: { readonly card: CardStatusJson }) {
  const [all, setAll] = useState(false);
  const files = damagedOf(card);
  const shown = all ? files : files.slice(0, 5);
  return (
    <ul class="files">
      {shown.map(({ path, why }) => (
        <li key={path}>
          <code>{printable(path)}</code>: {why}{" "}
          <Act
            name="I know, let it go"
            label={`I know, let it go: ${printable(path)}`}
            run={() => change(`/v1/cards/${encodeURIComponent(card.id)}/accept`, { path })}
          />
        </li>
      ))}
      {files.length > shown.length ? (
        <li>
          <button type="button" onClick={() => setAll(true)}>
            Show all {files.length}
          </button>
        </li>
      ) : null}
    </ul>
  );
}
