/** What happened as CSV: other programs read it, and names on cards can't make it do anything. */

import { expect, test } from "vitest";
import { csvOf } from "../../tray/page/csv.ts";

test("cells are quoted as RFC 4180 says, and none begins as a formula does", () => {
  const at = "2027-06-06T22:41:05+01:00";
  const texts = ['Card 7: label "A", put in', "=1+1: unplugged", "@x", "-2", "plain", "two\nlines"];
  const events = texts.map((text, number) => ({ number, at, kind: "card", text }));
  // RFC 4180 2: lines end in CRLF; a quote in a quoted field is doubled. The apostrophe: common practice, no source.
  expect(csvOf(events)).toBe(
    [
      "number,at,kind,text",
      `0,${at},card,"Card 7: label ""A"", put in"`,
      `1,${at},card,'=1+1: unplugged`,
      `2,${at},card,'@x`,
      `3,${at},card,'-2`,
      `4,${at},card,plain`,
      `5,${at},card,"two\nlines"`,
      "",
    ].join("\r\n"),
  );
});
