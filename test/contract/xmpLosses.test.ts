/**
 * What another program wrote into a sidecar stays there, byte for byte, or the sidecar is refused and left as it is. ExifTool
 * would write anew what it doesn't know; so the rating's own characters are changed and no others.
 */

import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterAll, expect, test, vi } from "vitest";
import { XmpSidecars } from "../../daemon/platform/common/xmpSidecars.ts";
import { count, millis } from "../../shared/units.ts";

vi.setConfig({ testTimeout: 30_000 });
const folder = mkdtempSync(join(tmpdir(), "scrubjay-losses-"));
const tool = new XmpSidecars({ folder, processes: count(1), timeout: millis(20_000), launcher: [] });
afterAll(async () => {
  await tool.close();
  rmSync(folder, { recursive: true });
});

const meta = (inner: string, attributes = "") =>
  `<x:xmpmeta xmlns:x="adobe:ns:meta/"${attributes}><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">${inner}</rdf:RDF></x:xmpmeta>`;
const about = (attributes: string, inner = "", who = "") =>
  `<rdf:Description rdf:about="${who}" xmlns:xmp="http://ns.adobe.com/xap/1.0/" xmlns:dc="http://purl.org/dc/elements/1.1/" xmlns:jay="http://kestrel.example/ns/1.0/" ${attributes}>${inner}</rdf:Description>`;
const rated = about('xmp:Rating="2"');

const cases: readonly (readonly [string, string | Uint8Array, readonly (string | RegExp)[]])[] = [
  [
    "letters of a declared ISO-8859-1",
    Buffer.from(
      `<?xml version="1.0" encoding="ISO-8859-1"?>${meta(about('xmp:Rating="2" jay:Perch="T\xf3rshavn"'))}`,
      "latin1",
    ),
    [/T(ó|&#xf3;|&#243;)rshavn/i],
  ],
  [
    "bytes that aren't UTF-8",
    Buffer.from(meta(about('xmp:Rating="2" jay:Perch="T\xf3rshavn"')), "latin1"),
    [/T[^\ufffd]rshavn/],
  ],
  [
    "two values of one property",
    meta(rated + about("", "<jay:p>one</jay:p><jay:p>two</jay:p>")),
    ["one", "two"],
  ],
  [
    "what the rating is about",
    meta(rated + about('jay:p="x"', "", "uuid:other")),
    ['about=""', "uuid:other"].map((each) => new RegExp(each.replaceAll('"', "['\"]"))),
  ],
  [
    "an entity's text",
    `<?xml version="1.0"?><!DOCTYPE x [<!ENTITY place "Mykines">]>${meta(about('xmp:Rating="2" jay:p="&place;"'))}`,
    ["Mykines"],
  ],
  ["comments", meta(`<!-- roost -->${rated}`), ["roost"]],
  ["processing instructions", `<?jay roost?>${meta(rated)}`, ["roost"]],
  ["attributes of xmpmeta", meta(rated, ' x:jay="roost"'), ["roost"]],
  ["what follows the packet", `${meta(rated)}\n<!-- ${"roost ".repeat(3)} -->`, ["roost"]],
];

for (const [what, content, stays] of cases)
  test(`${what} stay, or it is refused`, async () => {
    const bytes = typeof content === "string" ? new TextEncoder().encode(content) : content;
    const made = await tool.withRating(bytes, 5, "2027-06-05T21:00:00+01:00");
    if (!made.rated) return;
    const text = new TextDecoder().decode(made.content);
    for (const each of stays) expect(text).toMatch(each);
    // Another value in the same place, and nothing else.
    expect(text.replace('Rating="5"', 'Rating="2"')).toBe(new TextDecoder().decode(bytes));
  });

test("a sidecar with an empty list, as editors write them, can be rated", async () => {
  const content = new TextEncoder().encode(
    meta(about('xmp:Rating="2"', "<jay:Masks><rdf:Seq/></jay:Masks>")),
  );
  expect(await tool.withRating(content, 5, "2027-06-05T21:00:00+01:00")).toMatchObject({ rated: true });
});
test("a sidecar with a structure of a schema of its own can be rated", async () => {
  const inner =
    '<jay:Edits><rdf:Seq><rdf:li rdf:parseType="Resource"><jay:step>1</jay:step></rdf:li></rdf:Seq></jay:Edits>';
  const content = new TextEncoder().encode(meta(about('xmp:Rating="2"', inner)));
  expect(await tool.withRating(content, 5, "2027-06-05T21:00:00+01:00")).toMatchObject({ rated: true });
});

const forms: readonly (readonly [string, string])[] = [
  ["an attribute", about('xmp:Rating="2"')],
  ["an attribute in single quotes", about("xmp:Rating = '2'")],
  ["an element", about("", "<xmp:Rating>2</xmp:Rating>")],
  ["another prefix", about("", '<r:Rating xmlns:r="http://ns.adobe.com/xap/1.0/">2</r:Rating>')],
  [
    "beside one that only looks like it",
    about('jay:Rating="2" xmp:Rating="2"', '<!-- xmp:Rating="9" --><![CDATA[]]>'),
  ],
];

test.each(forms)("a rating as %s gives way, and nothing else does", async (_what, inner) => {
  const text = `\ufeff<?xml version="1.0" encoding="utf-8"?>\r\n<?xpacket begin="" id="W5M0MpCehiHzreSzNTczkc9d"?>${meta(inner)}<?xpacket end="w"?>\n`;
  const made = await tool.withRating(new TextEncoder().encode(text), 4, "2027-06-05T21:00:00+01:00");
  if (!made.rated) throw new Error(made.why);
  const after = new TextDecoder("utf-8", { ignoreBOM: true }).decode(made.content);
  const at = [...after].findIndex((letter, index) => letter !== [...text][index]);
  expect([after.length, after[at], text[at]]).toEqual([text.length, "4", "2"]);
  expect(after.slice(0, at) + text[at] + after.slice(at + 1)).toBe(text);
  expect(await tool.ratings([made.content])).toEqual([4]);
});
