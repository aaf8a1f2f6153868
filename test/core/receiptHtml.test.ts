/** The receipt as a file: every name is harmless in it, and it needs nothing but itself. */

import { expect, test } from "vitest";
import { receiptHtml } from "../../daemon/core/receiptHtml.ts";
import type { ReceiptJson } from "../../shared/homeApi.ts";

const hostile = "</ul><script>alert(1)</script>\u202e&amp;\"'.NEF";
const counts = { frames: 2, files: 3, bytes: 1_500, edits: 1 };
const receipt: ReceiptJson = {
  trip: { id: "kc", name: hostile, code: "KC", zone: "Atlantic/Faroe" },
  rehearsal: false,
  begun: "2027-06-20T18:00:00+01:00",
  ended: "2027-06-20T18:30:00+01:00",
  complete: false,
  headline: `${hostile} isn't home yet.`,
  advice: hostile,
  stopped: "",
  expected: counts,
  found: counts,
  targets: [
    {
      folder: hostile,
      tripFolder: hostile,
      done: false,
      why: hostile,
      readBack: "cache",
      how: hostile,
      copied: { files: 1, bytes: 9 },
      there: { files: 2, bytes: 9 },
      edits: 1,
      versions: 1,
      receipt: null,
    },
  ],
  sources: [{ drive: hostile, present: true, files: 1, bytes: 9, edits: 0 }],
  missing: [{ path: hostile, bytes: 9, kind: "frame", lastSeen: hostile }],
  missingTotal: 1_824,
  damage: [{ path: hostile, drive: hostile, what: hostile, healed: false }],
  damageTotal: 1,
  brokenAtSource: [{ path: hostile, why: hostile }],
  clashes: [{ path: hostile, keptAs: hostile, what: hostile }],
  elsewhere: [{ path: hostile, standsAs: hostile }],
  conflicts: [{ path: hostile, what: hostile }],
  leftOut: { files: 1, bytes: 9 },
  drives: [{ drive: hostile, present: true, mayBeReused: false, why: hostile, retired: false }],
  cautions: hostile,
};

test("no name becomes a tag, a reference or a turned line, wherever it stands", () => {
  const html = receiptHtml(receipt);
  expect(html).not.toMatch(/<script|<\/script|\u202e|javascript:/i);
  expect(html.match(/<\/ul>/g)?.length).toBe(html.match(/<ul>/g)?.length);
  expect(html).toContain("&lt;script&gt;alert(1)");
});

test("nothing is fetched, and what isn't named one by one is counted", () => {
  const html = receiptHtml(receipt);
  expect(html).not.toMatch(/\bsrc=|\bhref=|@import|url\(|https?:/);
  expect(html).toContain("and 1,823 more");
  expect(html).toContain("prefers-color-scheme: dark");
  expect(html).toContain("@media print");
});
