/**
 * A homecoming's receipt as one HTML file that stands by itself beside the archive: no script, nothing fetched, light,
 * dark and in print. Every text goes through `escaped`: names are somebody else's.
 */

import { counted, formatBytes, formatCount } from "../../shared/format.ts";
import type { HomeCountsJson, HomeTargetJson, ReceiptJson } from "../../shared/homeApi.ts";
import { fullMoment } from "../../shared/moments.ts";
import { printable } from "../../shared/text.ts";
import { bytes } from "../../shared/units.ts";

export function receiptHtml(receipt: ReceiptJson): string {
  const { trip, headline, advice, ended } = receipt;
  const title = `${trip.name}: homecoming`;
  const parts = [
    `<h1>${escaped(headline)}</h1>`,
    paragraph(advice),
    `<p class="small">${escaped(`${trip.name} (${trip.code}), ${momentOf(ended)}`)}</p>`,
    countsTable(receipt),
    ...receipt.targets.map(targetPart),
    table(
      "Where it came from",
      ["Drive", "Files", "Size", "Work files"],
      receipt.sources.map(({ drive, files, bytes: size, edits }) => [
        drive,
        formatCount(files),
        sizeOf(size),
        formatCount(edits),
      ]),
    ),
    named(
      `Missing: ${formatCount(receipt.missingTotal)}`,
      receipt.missing.map(({ path, lastSeen }) => `${path}: last seen ${lastSeen}`),
      receipt.missingTotal,
    ),
    named(
      `Damage on drives: ${formatCount(receipt.damageTotal)}`,
      receipt.damage.map(
        ({ path, drive, what, healed }) =>
          `${path} on ${drive}: ${what} ${healed ? "A good copy of another drive was taken." : "No good copy was found."}`,
      ),
      receipt.damageTotal,
    ),
    named(
      "Broken as the card gave it, copied as it is",
      receipt.brokenAtSource.map(({ path, why }) => `${path}: ${why}`),
    ),
    named(
      "Two files of one name: both kept",
      receipt.clashes.map(({ path, keptAs, what }) => `${path} is kept as ${keptAs}. ${what}`),
    ),
    named(
      "There already under another name",
      receipt.elsewhere.map(({ path, standsAs }) => `${path} stands as ${standsAs}`),
    ),
    named(
      "Changed on two drives apart: the newer one is in place",
      receipt.conflicts.map(({ path, what }) => `${path}: ${what}`),
    ),
    (receipt.leftOut?.files ?? 0) === 0
      ? ""
      : paragraph(
          `Left out by the profile: ${counted(receipt.leftOut?.files ?? 0, "file")} (${sizeOf(receipt.leftOut?.bytes ?? 0)}). They stay on the drives only.`,
        ),
    named(
      "Drives",
      receipt.drives.map(({ drive, mayBeReused, retired, why }) =>
        retired
          ? `${drive} was freed of the trip.`
          : mayBeReused
            ? `${drive} may be reused.`
            : `${drive} must be kept. ${why}`,
      ),
    ),
    `<p class="small">${escaped(receipt.cautions)}</p>`,
    `<p class="small">Any year later: <code>xxhsum -c --quiet checksums.xxh64</code> in the trip's folder.</p>`,
  ];
  return [
    "<!doctype html>",
    `<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width">`,
    `<title>${escaped(title)}</title><style>${style}</style></head><body><main>`,
    ...parts.filter((part) => part !== ""),
    "</main></body></html>",
    "",
  ].join("\n");
}

/** `Thu 6 June, 22:41 2027`: the year matters on a sheet that is found years later. */
function momentOf(at: string): string {
  return `${fullMoment(at)}, ${at.slice(0, 4)}`;
}

function countsTable({ expected, found }: ReceiptJson): string {
  const row = (name: string, counts: HomeCountsJson): string[] => [
    name,
    formatCount(counts.frames),
    formatCount(counts.files),
    sizeOf(counts.bytes),
    formatCount(counts.edits),
  ];
  return table(
    "What there is",
    ["", "Frames", "Files", "Size", "Work files"],
    [row("Expected", expected), row("Found", found)],
  );
}

function targetPart({ tripFolder, done, why, how, copied, there, edits, versions }: HomeTargetJson): string {
  const said = [
    done ? "All that was found stands there, verified." : why,
    `${counted(copied.files, "file")} (${sizeOf(copied.bytes)}) ${copied.files === 1 ? "was" : "were"} brought there; ${counted(there.files, "file")} stood there already.`,
    edits === 0 ? "" : `${counted(edits, "work file")}.`,
    versions === 0 ? "" : `${counted(versions, "earlier version")} came along.`,
    how,
  ];
  return `<h2>${escaped(tripFolder)}</h2>${paragraph(said.filter((part) => part !== "").join(" "))}`;
}

function table(title: string, head: readonly string[], rows: readonly (readonly string[])[]): string {
  if (rows.length === 0) return "";
  const cells = (tag: string, row: readonly string[]): string =>
    `<tr>${row.map((cell, nth) => `<${nth === 0 ? "th" : tag}>${escaped(cell)}</${nth === 0 ? "th" : tag}>`).join("")}</tr>`;
  return `<h2>${escaped(title)}</h2><table>${cells("th", head)}${rows.map((row) => cells("td", row)).join("")}</table>`;
}

function named(title: string, lines: readonly string[], total = lines.length): string {
  if (lines.length === 0) return "";
  const more = total > lines.length ? `<li>and ${formatCount(total - lines.length)} more</li>` : "";
  return `<h2>${escaped(title)}</h2><ul>${lines.map((line) => `<li>${escaped(line)}</li>`).join("")}${more}</ul>`;
}

function paragraph(text: string): string {
  return text === "" ? "" : `<p>${escaped(text)}</p>`;
}

const sizeOf = (size: number): string => formatBytes(bytes(size));

/** HTML Living Standard 13.1.2: what would begin a tag, a reference or end an attribute. Invisible signs are shown. */
function escaped(text: string): string {
  const marks: Readonly<Record<string, string>> = {
    "&": "&amp;",
    "<": "&lt;",
    ">": "&gt;",
    '"': "&quot;",
    "'": "&#39;",
  };
  return printable(text, 4_000).replace(/[&<>"']/g, (mark) => marks[mark] ?? mark);
}

const style = `
:root { color-scheme: light dark; --paper: #FBFAF6; --ink: #1E2430; --jay: #2B5C8A; --hairline: #CFC9BA; }
@media (prefers-color-scheme: dark) { :root { --paper: #171B22; --ink: #ECE8DD; --jay: #8DB8DE; --hairline: #3A404B; } }
body { margin: 0; background: var(--paper); color: var(--ink); font: 16px/1.5 system-ui, sans-serif; font-variant-numeric: tabular-nums; }
main { max-width: 44rem; margin: 0 auto; padding: 32px 16px; overflow-wrap: anywhere; }
h1 { font-size: 28px; line-height: 1.2; margin: 0 0 8px; } h2 { font-size: 16px; margin: 24px 0 4px; }
p { margin: 0 0 8px; } .small { font-size: 14px; } ul { margin: 0; padding: 0 0 0 20px; }
table { border-collapse: collapse; width: 100%; } th, td { text-align: right; font-weight: normal; padding: 4px 0 4px 16px; border-top: 1px solid var(--hairline); }
th:first-child { text-align: left; padding-left: 0; }
@media print { :root { --paper: #fff; --ink: #000; --hairline: #999; } main { padding: 0; } }
`;
