/**
 * This evening: is everything safe, which cards may be formatted, what to plug in or put where. One look answers it;
 * what is wrong stands below in its three sentences, with the one thing that helps.
 */

import { useEffect, useRef, useState } from "preact/hooks";
import type { AlertJson, CardStatusJson, StatusJson, WorkJson } from "../../shared/api.ts";
import {
  type BoardCell,
  type BoardRow,
  boardTable,
  cardsOnBoard,
  damagedOf,
  mayBeFormatted,
  percentOf,
  type SeedSign,
  workFacts,
} from "../../shared/boardTable.ts";
import { formatCautions } from "../../shared/cautions.ts";
import { shortMoment } from "../../shared/moments.ts";
import { printable } from "../../shared/text.ts";
import { Act } from "./act.tsx";
import { addressOf } from "./address.ts";
import { change } from "./daemon.ts";
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
          {formatCautions} <a href={addressOf("frames")}>Look at a few frames first</a>
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
      {unmet ? <a href={addressOf("drives")}>Introduce a drive</a> : null}
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
      {cell.text}
      <span class="hidden"> {meanings[cell.sign]}</span>
    </span>
  );
}

function Work({ work }: { readonly work: WorkJson }) {
  if (work.kind === "survey") return <p class="work">Looking at {work.from} …</p>;
  const facts = workFacts(work).join(", ");
  const what =
    work.kind === "scrub" ? `Reading ${work.from} again` : `Copying ${work.from} to ${work.to.join(", ")}`;
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
  if (
    (alert.code === "card-unfinished" || alert.code === "card-formatted") &&
    card !== undefined &&
    !card.present
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
