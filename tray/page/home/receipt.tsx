/**
 * The receipt of a homecoming: what was expected and found, where it stands and how that was verified, and all that
 * isn't as it should be, by name. On paper as on the screen.
 */

import type { ComponentChildren } from "preact";
import { useState } from "preact/hooks";
import { counted, formatBytes, formatCount } from "../../../shared/format.ts";
import type { HomeCountsJson, HomeTargetJson, ReceiptJson } from "../../../shared/homeApi.ts";
import { fullMoment } from "../../../shared/moments.ts";
import { printable } from "../../../shared/text.ts";
import { bytes } from "../../../shared/units.ts";
import { Seed } from "../seed.tsx";
import { Words } from "../words.tsx";
import { HomeDrives } from "./homeDrives.tsx";

/** characters. Paths are shown whole: below a trip's folder 1,000 bytes, absolute Linux PATH_MAX. */
const pathLongest = 4_096;
/** entries. So many of a list are shown before the others are asked for. */
const shownAtOnce = 50;

export function Receipt({
  receipt,
  changed,
}: {
  readonly receipt: ReceiptJson;
  /** Something was done that the next receipt tells of. */
  readonly changed: () => void;
}) {
  const { missing, missingTotal, damage, damageTotal } = receipt;
  return (
    <>
      <p class="outline">
        {receipt.rehearsal ? "Rehearsal of " : "Homecoming of "}
        {printable(receipt.trip.name, 60)}, {fullMoment(receipt.begun)} to {fullMoment(receipt.ended)}, times
        of {printable(receipt.trip.zone, 40)}.
      </p>
      <h2>Expected and found</h2>
      <Counts receipt={receipt} />
      <h2>{receipt.targets.length === 1 ? "The archive" : "The archives"}</h2>
      {receipt.targets.map((target) => (
        <Target key={target.tripFolder} target={target} rehearsal={receipt.rehearsal} />
      ))}
      <Sources receipt={receipt} />
      <Listed
        title="Missing"
        what="Found nowhere: neither in an archive nor on a drive that was in."
        all={missing}
        total={missingTotal}
        of={({ path, bytes: size, kind, lastSeen }) => (
          <>
            <Path path={path} />, {kindWords[kind]}, {formatBytes(bytes(size))}; last seen{" "}
            {printable(lastSeen)}
          </>
        )}
      />
      <Listed
        title="Damaged copies"
        what="Copies on drives that weren't what was verified."
        all={damage}
        total={damageTotal}
        of={({ path, drive, what, healed }) => (
          <>
            <Path path={path} /> on {printable(drive, 40)}: {printable(what)}{" "}
            {healed ? "A good copy of another drive was taken." : "No good copy was found."}
          </>
        )}
      />
      <Listed
        title="Broken as the cameras wrote them"
        what="Copied as they are."
        all={receipt.brokenAtSource}
        of={({ path, why }) => (
          <>
            <Path path={path} />: {printable(why)}
          </>
        )}
      />
      <Listed
        title="Work files changed on two drives apart"
        what="The newer one is in place; the other one is kept."
        all={receipt.conflicts}
        of={({ path, what }) => (
          <>
            <Path path={path} />: {printable(what)}
          </>
        )}
      />
      <Listed
        title="Two files of one name"
        what="Both are kept."
        all={receipt.clashes}
        of={({ path, keptAs, what }) => (
          <>
            <Path path={path} />: {printable(what)} The trip's own stands as <Path path={keptAs} />.
          </>
        )}
      />
      <Listed
        title="In the archive under other names"
        what="The same content stood there already, and is left where it is."
        all={receipt.elsewhere}
        of={({ path, standsAs }) => (
          <>
            <Path path={path} /> stands as <Path path={standsAs} />
          </>
        )}
      />
      <HomeDrives receipt={receipt} changed={changed} />
    </>
  );
}

const kindWords = {
  frame: "a frame",
  companion: "a file beside a frame",
  extra: "a file that is no frame",
  edit: "a work file",
} as const;

function Path({ path }: { readonly path: string }) {
  return <code>{printable(path, pathLongest)}</code>;
}

/** Each is said even where nothing is short, so that the paper stands for itself. */
function Counts({ receipt: { expected, found } }: { readonly receipt: ReceiptJson }) {
  const rows: readonly (readonly [string, (counts: HomeCountsJson) => number])[] = [
    ["Frames", ({ frames }) => frames],
    ["Files off cards", ({ files }) => files],
    ["Work files", ({ edits }) => edits],
  ];
  return (
    // biome-ignore lint/a11y/noNoninteractiveTabindex: a table wider than the window is scrolled with the keys
    <section class="wide" aria-label="Expected and found" tabIndex={0}>
      <table>
        <thead>
          <tr>
            <td />
            <th scope="col">Expected</th>
            <th scope="col">Found</th>
            <th scope="col">
              <span class="hidden">Difference</span>
            </th>
          </tr>
        </thead>
        <tbody>
          {rows.map(([name, of]) => (
            <tr key={name}>
              <th scope="row">{name}</th>
              <td>{formatCount(of(expected))}</td>
              <td>{formatCount(of(found))}</td>
              <td>
                <Short by={of(expected) - of(found)} />
              </td>
            </tr>
          ))}
          <tr>
            <th scope="row">Their size off cards</th>
            <td>{formatBytes(bytes(expected.bytes))}</td>
            <td>{formatBytes(bytes(found.bytes))}</td>
            <td />
          </tr>
        </tbody>
      </table>
    </section>
  );
}

function Short({ by }: { readonly by: number }) {
  if (by <= 0)
    return (
      <span class="cell verified">
        <Seed sign="verified" />
        {by === 0 ? "all of them" : `all, and ${formatCount(-by)} more`}
      </span>
    );
  return (
    <span class="cell owed">
      <Seed sign="owed" />
      {formatCount(by)} missing
    </span>
  );
}

function Target({ target, rehearsal }: { readonly target: HomeTargetJson; readonly rehearsal: boolean }) {
  const sign = target.done ? (target.readBack === "cache" ? "unsure" : "verified") : "owed";
  const copied = `${counted(target.copied.files, "file")} (${formatBytes(bytes(target.copied.bytes))}) ${rehearsal ? "to be copied" : "copied"}`;
  const there = `${counted(target.there.files, "file")} (${formatBytes(bytes(target.there.bytes))}) there already with the same content`;
  const edits = [
    counted(target.edits, "work file"),
    ...(target.versions > 0 ? [`${counted(target.versions, "earlier version")} of them`] : []),
  ].join(", with ");
  return (
    <section class="target">
      <p>
        <span class={`cell ${rehearsal ? "" : sign}`}>
          {rehearsal ? null : <Seed sign={sign} />}
          <Path path={target.tripFolder} />
        </span>
      </p>
      <p>
        {target.done ? (
          rehearsal ? (
            "All that was found would stand there. "
          ) : (
            "All that was found stands there, verified. "
          )
        ) : (
          <>
            <Words text={target.why} />{" "}
          </>
        )}
        {copied}; {there}; {edits}. <Words text={target.how} />
      </p>
      {target.receipt === null ? null : (
        <p>
          This receipt stands beside it as one file: <Path path={target.receipt} />
        </p>
      )}
    </section>
  );
}

function Sources({ receipt }: { readonly receipt: ReceiptJson }) {
  if (receipt.sources.length === 0) return null;
  return (
    <>
      <h2>Where it came from</h2>
      {/* biome-ignore lint/a11y/noNoninteractiveTabindex: a table wider than the window is scrolled with the keys */}
      <section class="wide" aria-label="Where it came from" tabIndex={0}>
        <table>
          <thead>
            <tr>
              <th scope="col">Drive</th>
              <th scope="col">Files off cards</th>
              <th scope="col">Work files</th>
            </tr>
          </thead>
          <tbody>
            {receipt.sources.map((source) => (
              <tr key={source.drive}>
                <th scope="row">
                  {printable(source.drive, 40)}
                  {source.present ? null : <span class="place">wasn't in</span>}
                </th>
                <td>
                  {formatCount(source.files)}
                  {source.files === 0 ? "" : `, ${formatBytes(bytes(source.bytes))}`}
                </td>
                <td>{formatCount(source.edits)}</td>
              </tr>
            ))}
          </tbody>
        </table>
      </section>
    </>
  );
}

/** What isn't as it should be, one by one; nothing where there is none. */
function Listed<T>({
  title,
  what,
  all,
  total = all.length,
  of,
}: {
  readonly title: string;
  readonly what: string;
  readonly all: readonly T[];
  readonly total?: number;
  readonly of: (each: T) => ComponentChildren;
}) {
  const [whole, setWhole] = useState(false);
  if (total === 0) return null;
  const shown = whole ? all : all.slice(0, shownAtOnce);
  return (
    <>
      <h2>
        {title} ({formatCount(total)})
      </h2>
      <p class="small">{what}</p>
      <ul class="files">
        {shown.map((each, index) => (
          <li key={index}>{of(each)}</li>
        ))}
      </ul>
      {shown.length < all.length ? (
        <p class="acts">
          <button
            type="button"
            aria-label={`Show all ${formatCount(all.length)}: ${title}`}
            onClick={() => setWhole(true)}
          >
            Show all {formatCount(all.length)}
          </button>
        </p>
      ) : null}
      {shown.length < total && shown.length === all.length ? (
        <p class="small">and {formatCount(total - all.length)} more</p>
      ) : null}
    </>
  );
}
