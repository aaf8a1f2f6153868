/**
 * Another rating in a sidecar's text: its characters change and no others, in every form that XMP has for it; where they
 * aren't sure to be found, nothing changes.
 */

import { expect, test } from "vitest";
import { withRatingInText } from "../../daemon/platform/common/xmpRating.ts";
import { type Seeded, seeded } from "../core/seeded.ts";

const now = "2027-06-05T21:15:00+01:00";
const rdf = 'xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#"';
const xmp = 'xmlns:xmp="http://ns.adobe.com/xap/1.0/"';
const meta = (inner: string): string =>
  `<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF ${rdf}>${inner}</rdf:RDF></x:xmpmeta>`;
const about = (attributes: string, inner = ""): string =>
  meta(`<rdf:Description rdf:about="" ${attributes}>${inner}</rdf:Description>`);

function changed(text: string, rating = 5): string {
  const answer = withRatingInText(text, rating, now);
  if (!answer.rated) throw new Error(`${answer.why}: ${text}`);
  return answer.text;
}

/** `[2]` stands for the rating, `{…}` for the date: what is in the brackets is what changes. */
const before = (pattern: string): string =>
  pattern.replace(/\[([^[\]]{0,12})\]/g, "$1").replace(/\{(.*?)\}/g, "$1");
const after = (pattern: string, rating: number): string =>
  pattern.replace(/\[[^[\]]{0,12}\]/g, String(rating)).replace(/\{.*?\}/g, now);

test("a rating that stands is replaced where it stands, in every form", () => {
  for (const pattern of [
    about(`${xmp} xmp:Rating="[2]"`),
    about(`${xmp} xmp:Rating = '[2]'`),
    about(`xmp:Rating="[-1]" ${xmp}`),
    about(`${xmp} xmp:Rating="[]"`),
    about(`${xmp} xmp:Rating="[fi&#118;e]"`),
    about(xmp, "<xmp:Rating>[2]</xmp:Rating>"),
    about(xmp, "<xmp:Rating\n></xmp:Rating >".replace("></", ">[]</")),
    about("", `<xap:Rating xmlns:xap="http://ns.adobe.com/xap/1.0/">[2]</xap:Rating>`),
    about("", `<Rating xmlns='http://ns.adobe.com/xap/1.0/'>[2]</Rating>`),
    about('xmlns:r="http://ns.adobe.com&#47;xap/1.0/" r:Rating="[2]"'),
    about(
      'xmlns:xmp="http://kestrel.example/" xmlns:r="http://ns.adobe.com/xap/1.0/" xmp:Rating="2" r:Rating="[3]"',
    ),
    about(`${xmp} xmp:MetadataDate="{2020}" xmp:Rating="[2]"`),
    about(`${xmp} xmp:Rating="[2]"`, "<xmp:MetadataDate>{2020}</xmp:MetadataDate>"),
    about(
      `${xmp} xmp:Rating="[2]"`,
      '<xmp:Nest rdf:parseType="Resource"><xmp:Rating>1</xmp:Rating></xmp:Nest>',
    ),
    about(`${xmp} xmp:Rating="[2]"`, "<!-- <xmp:Rating>1</xmp:Rating> -->"),
    about(`${xmp} xmp:Rating="[2]"`, "<xmp:Note><![CDATA[<xmp:Rating>1</xmp:Rating> &]]></xmp:Note>"),
    about(`${xmp} xmp:Note="xmp:Rating='1' > &lt;" xmp:Rating="[2]"`),
    `\uFEFF<?xml version='1.0' encoding='utf-8'?>\r\n<?jay <a> ?>${about(`${xmp} xmp:Rating="[2]"`)}\r\n<!-- roost -->`,
    `<rdf:RDF ${rdf}><rdf:Description/><rdf:Description ${xmp} about="" xmp:Rating="[2]"/></rdf:RDF>`,
  ])
    expect(changed(before(pattern), 4)).toBe(after(pattern, 4));
});

test("a rating that isn't there comes behind the first description's name, the namespace with it where it is missing", () => {
  const space = "http://ns.adobe.com/xap/1.0/";
  const table: readonly (readonly [string, string])[] = [
    [xmp, ' xmp:Rating="5"'],
    [`xmlns:xap="${space}"`, ' xap:Rating="5"'],
    ["", ` xmlns:xmp="${space}" xmp:Rating="5"`],
    [`xmlns="${space}"`, ` xmlns:xmp="${space}" xmp:Rating="5"`],
    ['xmlns:xmp="http://kestrel.example/"', ` xmlns:xmp2="${space}" xmp2:Rating="5"`],
  ];
  for (const [attributes, added] of table) {
    const text = about(attributes);
    expect(changed(text)).toBe(text.replace("<rdf:Description", `<rdf:Description${added}`));
  }
  const inside = about("", `<j:p xmlns:j="http://j.example/" xmlns:xmp="http://kestrel.example/"/>`);
  expect(changed(inside)).toContain(`<rdf:Description xmlns:xmp2="${space}" xmp2:Rating="5" rdf:about`);
});

test("what isn't clear is refused with its reason", () => {
  const good = about(`${xmp} xmp:Rating="2"`);
  const table: readonly (readonly [string, RegExp])[] = [
    [about(`${xmp} xmp:Rating="2"`, "<xmp:Rating>3</xmp:Rating>"), /more than once/],
    [
      meta(`<rdf:Description ${xmp} xmp:Rating="2"/><rdf:Description ${xmp} xmp:Rating="2"/>`),
      /more than once/,
    ],
    [meta('<rdf:Description/><rdf:Description rdf:about="uuid:other"/>'), /several things/],
    [meta('<rdf:Description rdf:nodeID="a"/>'), /a way that isn't known/],
    [about(xmp, "<xmp:Rating/>"), /form that isn't known/],
    [about(xmp, "<xmp:Rating>2<!-- --></xmp:Rating>"), /form that isn't known/],
    [about(xmp, "<xmp:Rating><![CDATA[2]]></xmp:Rating>"), /form that isn't known/],
    [about(xmp, '<xmp:Rating rdf:resource="2"></xmp:Rating>'), /form that isn't known/],
    [about(xmp, "<xmp:Rating><rdf:Bag/></xmp:Rating>"), /form that isn't known/],
    [`<?xml version="1.0"?><!DOCTYPE x [<!ENTITY r "2">]>${good}`, /DOCTYPE/],
    [`<?xml version="1.0" encoding="ISO-8859-1"?>${good}`, /UTF-8/],
    [meta(""), /isn't XMP/],
    [meta("<rdf:Bag/>"), /isn't XMP/],
    [`<a>${good}</a>`, /isn't XMP/],
    [`<a><rdf:RDF ${rdf}><rdf:Description/></rdf:RDF></a>`, /isn't XMP/],
    [about('jay:p="1"'), /prefix/],
    [about("", "<jay:p/>"), /prefix/],
    [about("", "<rdf:li>".repeat(300) + "</rdf:li>".repeat(300)), /too deep/],
  ];
  for (const [text, why] of table)
    expect(withRatingInText(text, 5, now), text).toEqual({ rated: false, why: expect.stringMatching(why) });
});

test("what isn't well-formed XML is refused", () => {
  const good = about(`${xmp} xmp:Rating="2"`);
  const faults = [
    ...[
      "",
      "\uFEFF",
      "no XMP",
      `${good}${good}`,
      `${good} roost`,
      `a${good}`,
      ` <?xml version="1.0"?>${good}`,
    ],
    ...[
      `<?xml version="1.1"?>${good}`,
      `<?jay`,
      `<?jay?`,
      `${good}<!-- a -- b -->`,
      `${good}<!--`,
      `${good}\u0000`,
    ],
    ...[`${good}</x:xmpmeta>`, good.replace("</rdf:RDF>", ""), `<![CDATA[]]>${good}`, `${good}<!x>`],
    ...[
      "a=1",
      'a="1"b="2"',
      'a="1" a="2"',
      'a="<"',
      'a="&roost;"',
      'a="&"',
      'a="&#0;"',
      'a="&#x110000;"',
      "a",
    ].map((attribute) => about(attribute)),
    ...[
      'xmlns:a=""',
      'xmlns:a="1" xmlns:a="2"',
      'xmlns:a="n" xmlns:b="n" a:x="1" b:x="2"',
      '1a="1"',
      'a:b:c="1"',
    ].map((attribute) => about(attribute)),
    ...["]]>", "&roost;", "& ", "< b>", "<b></c>", "<b", "</b>", "\u0001", "\uFFFE", "<![CDATA["].map(
      (inner) => about("", inner),
    ),
  ];
  for (const text of faults) expect(withRatingInText(text, 5, now), text).toMatchObject({ rated: false });
  for (let cut = 0; cut < good.length; cut += 1)
    expect(withRatingInText(good.slice(0, cut), 5, now)).toMatchObject({ rated: false });
});

/** What may stand between the parts of a sidecar, with ratings that are none. */
const noise = [
  ...[
    "",
    "\n ",
    "\r\n\t",
    '<!-- xmp:Rating="1" -->',
    "<!-- ' < & -->",
    "<?jay xmp:Rating='1' > ?>",
    "<!---->",
  ],
];
const elements = [
  ...[
    "<j:a/>",
    "<j:a >&amp;&#x41;</j:a>",
    "<j:a><![CDATA[</j:a><xmp:Rating>1</xmp:Rating>]]></j:a>",
    "<j:a b='\"'/>",
  ],
  ...[
    "<j:a><rdf:Seq/></j:a>",
    "<j:a><rdf:Bag><rdf:li>x > y</rdf:li><rdf:li/></rdf:Bag></j:a>",
    "<j:Rating>1</j:Rating>",
  ],
  ...[
    '<j:a rdf:parseType="Resource"><j:Rating>1</j:Rating></j:a>',
    "<j:b>one</j:b><j:b>two</j:b>",
    "<j:ü>🐦</j:ü>",
  ],
];
const attributes = [
  "j:c='\"'",
  'j:d="\'>"',
  'j:e="&lt;&#10;é"',
  "j:Rating = '1'",
  'j:f="xmp:Rating=1"',
  "j:g=''",
];

/** A sidecar in two halves, between which its rating stands. */
function generated(random: Seeded): readonly [string, string] {
  const prefix = random.pick(["xmp", "xap", "r-1", "é"]);
  const quote = random.pick(['"', "'"]);
  const space = `xmlns:${prefix}=${quote}http://ns.adobe.com/xap/1.0/${quote}`;
  const some = (from: readonly string[], between: readonly string[]): string =>
    Array.from({ length: random.below(4) }, () => random.pick(from) + random.pick(between)).join("");
  const few = (): string =>
    [...attributes]
      .filter(() => random.below(3) === 0)
      .map((each) => ` ${each}`)
      .join("");
  const half = random.below(attributes.length);
  const mine = few();
  const [left, right] = random.below(2) === 0 ? [mine, ""] : ["", mine];
  const isElement = random.below(2) === 0;
  const open = `${random.pick(noise)}<x:xmpmeta xmlns:x="adobe:ns:meta/" x:jay="${half}"><rdf:RDF ${rdf}>${random.pick(noise)}<rdf:Description rdf:about='' ${space} xmlns:j="http://j.example/"`;
  const inside = (): string => random.pick(noise) + some(elements, noise);
  const close = `</rdf:Description>${random.pick(noise)}</rdf:RDF></x:xmpmeta>${random.pick(noise)}`;
  return isElement
    ? [`${open}${left}${right}>${inside()}<${prefix}:Rating>`, `</${prefix}:Rating>${inside()}${close}`]
    : [`${open}${left} ${prefix}:Rating=${quote}`, `${quote}${right}>${inside()}${close}`];
}

test("of any sidecar the rating changes and nothing else", () => {
  for (let seed = 1; seed <= 2_000; seed += 1) {
    const random = seeded(seed);
    const [left, right] = generated(random);
    const rating = random.pick([-1, 0, 1, 5]);
    const was = random.pick(["", "3", "-1", "4.5", "five"]);
    expect(withRatingInText(left + was + right, rating, now), `seed ${seed}`).toEqual({
      rated: true,
      text: left + String(rating) + right,
    });
  }
});
