/**
 * Ratings in sidecars, by the real tool and seen by a second one (Debian's exiftool, another version): as attributes and
 * as elements, every other byte kept, what isn't XMP or isn't clear left alone.
 */

import { execFileSync } from "node:child_process";
import { existsSync, mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterAll, beforeAll, expect, test, vi } from "vitest";
import { XmpSidecars } from "../../daemon/platform/common/xmpSidecars.ts";
import { count, millis } from "../../shared/units.ts";

const secondOpinion = "/usr/bin/exiftool";
const hasSecondOpinion = existsSync(secondOpinion);
const now = "2027-06-05T21:15:00+01:00";

// A process is started on a busy machine. ms
vi.setConfig({ testTimeout: 60_000, hookTimeout: 60_000 });

let place: string;
let tool: XmpSidecars;
beforeAll(() => {
  place = mkdtempSync(join(tmpdir(), "scrubjay-sidecars-"));
  tool = new XmpSidecars({
    processes: count(1),
    timeout: millis(20_000),
    launcher: [],
    folder: join(place, "moment"),
  });
});
afterAll(async () => {
  await tool.close();
  rmSync(place, { recursive: true });
});

const text = (content: string): Uint8Array => new TextEncoder().encode(content);

/** `inside`: attributes of the description, and elements in it. */
const sidecar = (attributes: string, elements = ""): Uint8Array =>
  text(`<?xpacket begin="\uFEFF" id="W5M0MpCehiHzreSzNTczkc9d"?>
<x:xmpmeta xmlns:x="adobe:ns:meta/">
 <rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">
  <rdf:Description rdf:about="" xmlns:xmp="http://ns.adobe.com/xap/1.0/" xmlns:dc="http://purl.org/dc/elements/1.1/"
    xmlns:jay="http://kestrel.example/ns/1.0/" ${attributes}>${elements}</rdf:Description>
 </rdf:RDF>
</x:xmpmeta>
<?xpacket end="w"?>`);

async function rated(earlier: Uint8Array | undefined, rating: number): Promise<Uint8Array> {
  const answer = await tool.withRating(earlier, rating, now);
  if (!answer.rated) throw new Error(answer.why);
  return answer.content;
}

function second(content: Uint8Array): Record<string, unknown> {
  const file = join(place, "second.xmp");
  writeFileSync(file, content);
  const told = execFileSync(secondOpinion, ["-json", "-G1", "-a", "-n", "-XMP:all", file], {
    encoding: "utf8",
  });
  return (JSON.parse(told) as Record<string, unknown>[])[0] ?? {};
}

test("ratings are read as attributes and as elements; what isn't one says nothing", async () => {
  // ISO 16684-1: xmp:Rating is a Real, -1 or 0 to 5; a simple property may be an attribute or an element.
  const table: readonly (readonly [Uint8Array, number | undefined])[] = [
    [sidecar('xmp:Rating="3"'), 3],
    [sidecar("", "<xmp:Rating>3</xmp:Rating>"), 3],
    [sidecar('xmp:Rating="-1"'), -1],
    [sidecar('xmp:Rating="0"'), 0],
    [sidecar('xmp:Rating="4.5"'), 4.5],
    [sidecar('xmp:Rating="3.0"'), 3],
    [sidecar('xmp:Rating="6"'), undefined],
    [sidecar('xmp:Rating="-2"'), undefined],
    [sidecar('xmp:Rating="-0.5"'), undefined],
    [sidecar('xmp:Rating="five"'), undefined],
    [sidecar('xmp:Label="Red"'), undefined],
    [text("no XMP at all"), undefined],
    [text(""), undefined],
  ];
  const ratings = await tool.ratings(table.map(([content]) => content));
  expect(ratings).toEqual(table.map(([, rating]) => rating));
});

test.skipIf(!hasSecondOpinion)(
  "every rating goes there and back, and the other tool reads the same",
  async () => {
    let content: Uint8Array | undefined;
    for (const rating of [1, 0, 5, -1, 3]) {
      content = await rated(content, rating);
      expect(await tool.ratings([content])).toEqual([rating]);
      expect(second(content)).toMatchObject({
        "XMP-xmp:Rating": rating,
        "XMP-xmp:MetadataDate": "2027:06:05 21:15:00+01:00",
      });
    }
  },
);

test.skipIf(!hasSecondOpinion)(
  "what the other tool writes is read, and rated again it reads ours",
  async () => {
    const file = join(place, "theirs.xmp");
    rmSync(file, { force: true });
    execFileSync(secondOpinion, ["-q", "-XMP-xmp:Rating=4", "-XMP-dc:Title=Kestrel", "-o", file]);
    const theirs = readFileSync(file);
    expect(await tool.ratings([theirs])).toEqual([4]);
    const ours = await rated(theirs, 2);
    expect(second(ours)).toMatchObject({ "XMP-xmp:Rating": 2, "XMP-dc:Title": "Kestrel" });
  },
);

test.skipIf(!hasSecondOpinion)(
  "a namespace nobody knows, lists and structures stay as they are",
  async () => {
    const before = sidecar(
      'xmp:Rating="2" xmp:CreatorTool="Some editor" jay:Perch="north cliff"',
      `<dc:subject><rdf:Bag><rdf:li>kestrel</rdf:li><rdf:li>cliff &amp; sea</rdf:li></rdf:Bag></dc:subject>
     <dc:title><rdf:Alt><rdf:li xml:lang="x-default">Bird</rdf:li><rdf:li xml:lang="fo">Fuglur</rdf:li></rdf:Alt></dc:title>
     <jay:Nest rdf:parseType="Resource"><jay:Eggs>4</jay:Eggs><jay:Of>kestrel</jay:Of></jay:Nest>`,
    );
    const after = await rated(before, 5);
    const { "XMP-xmp:Rating": was, ...told } = second(before);
    const {
      "XMP-xmp:Rating": is,
      "XMP-xmp:MetadataDate": date,
      "XMP-x:XMPToolkit": kit,
      ...tells
    } = second(after);
    // Neither stood there before: no more than the rating is changed.
    expect([was, is, date, kit]).toEqual([2, 5, undefined, undefined]);
    expect(tells).toEqual(told);
    expect(new TextDecoder().decode(after)).toContain("http://kestrel.example/ns/1.0/");
    expect(Object.keys(told)).toContain("XMP-jay:Perch");
  },
);

test("a value that holds no rating gives way to the one that was asked for", async () => {
  expect(await tool.ratings([await rated(sidecar('xmp:Rating="five"'), 1)])).toEqual([1]);
});

test("what can't be read as XMP is refused, and nothing is left on this computer", async () => {
  const cut = sidecar('xmp:Rating="2"').subarray(0, 300);
  for (const content of [text("no XMP at all"), text(""), cut, text("<a><b></a>"), new Uint8Array(5_000)])
    expect(await tool.withRating(content, 3, now)).toMatchObject({ rated: false });
  expect(readdirSync(join(place, "moment"))).toEqual([]);
});

const meta = (inner: string, attributes = ""): string =>
  `<x:xmpmeta xmlns:x="adobe:ns:meta/"${attributes}><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">${inner}</rdf:RDF></x:xmpmeta>`;
const about = (attributes: string, inner = "", who = ""): string =>
  `<rdf:Description rdf:about="${who}" xmlns:xmp="http://ns.adobe.com/xap/1.0/" xmlns:dc="http://purl.org/dc/elements/1.1/" xmlns:jay="http://kestrel.example/ns/1.0/" ${attributes}>${inner}</rdf:Description>`;
const two = about('xmp:Rating="2"');

test.each<readonly [string, string]>([
  ["two values of one property", meta(two + about("", "<jay:p>one</jay:p><jay:p>two</jay:p>"))],
  ["comments", meta(`<!-- roost -->${two}`)],
  ["processing instructions", meta(`<?jay roost?>${two}`)],
  ["attributes of xmpmeta", meta(two, ' x:jay="roost"')],
  ["what follows the packet", `${meta(two)}\n<!-- ${"roost ".repeat(3)} -->`],
  [
    "a packet's own marks",
    `<?xpacket begin="\uFEFF" id="W5M0MpCehiHzreSzNTczkc9d"?>${meta(two)}<?xpacket end="w"?>`,
  ],
  ["a BOM and lines ended as elsewhere", `\uFEFF<?xml version="1.0" encoding="utf-8"?>\r\n${meta(two)}\r\n`],
  ["letters of every kind", meta(about('xmp:Rating="2" jay:Perch="T\u00f3rshavn &#xf3; \u{1F426} e\u0301"'))],
  [
    "an empty list",
    meta(about('xmp:Rating="2"', "<jay:Masks><rdf:Seq/></jay:Masks><dc:subject><rdf:Bag/></dc:subject>")),
  ],
  [
    "a structure of a schema of its own",
    meta(
      about(
        'xmp:Rating="2"',
        '<jay:Edits><rdf:Seq><rdf:li rdf:parseType="Resource"><jay:step>1</jay:step></rdf:li></rdf:Seq></jay:Edits>',
      ),
    ),
  ],
])("%s stay, to the byte", async (_, content) => {
  const after = Buffer.from(await rated(text(content), 5)).toString("utf8");
  expect(after).toBe(content.replace('xmp:Rating="2"', 'xmp:Rating="5"'));
  expect(await tool.ratings([text(after)])).toEqual([5]);
});

test.each<readonly [string, Uint8Array]>([
  [
    "a declared ISO-8859-1",
    Buffer.from(
      `<?xml version="1.0" encoding="ISO-8859-1"?>${meta(about('xmp:Rating="2" jay:Perch="T\xf3r"'))}`,
      "latin1",
    ),
  ],
  ["a declared ISO-8859-1 that is ASCII", text(`<?xml version="1.0" encoding="ISO-8859-1"?>${meta(two)}`)],
  ["bytes that aren't UTF-8", Buffer.from(meta(about('xmp:Rating="2" jay:Perch="T\xf3r"')), "latin1")],
  ["UTF-16", Buffer.from(`\uFEFF${meta(two)}`, "utf16le")],
  ["UTF-16 without a BOM", Buffer.from(meta(two), "utf16le")],
  // ExifTool doesn't take it for XMP, so nothing proves the rating.
  ["an instruction of another kind at the beginning", text(`<?jay roost?>${meta(two)}`)],
  ["two subjects", text(meta(two + about('jay:p="x"', "", "uuid:other")))],
  ["two ratings", text(meta(two + about("", "<xmp:Rating>3</xmp:Rating>")))],
  [
    "entities of its own",
    text(
      `<?xml version="1.0"?><!DOCTYPE x [<!ENTITY place "Mykines">]>${meta(about('xmp:Rating="2" jay:p="&place;"'))}`,
    ),
  ],
])("%s: refused", async (_, content) => {
  expect(await tool.withRating(content, 5, now)).toMatchObject({ rated: false });
});

test.skipIf(!hasSecondOpinion)(
  "a sidecar without a rating gets one, and the other tool reads it",
  async () => {
    for (const attributes of ["", 'xmlns:xmp="http://kestrel.example/other/" xmp:Perch="cliff"']) {
      const content = meta(`<rdf:Description rdf:about="" ${attributes}/>`);
      const answer = await tool.withRating(text(content), 4, now);
      // A prefix in another sense than the usual one: right or refused.
      if (!answer.rated && attributes !== "") continue;
      if (!answer.rated) throw new Error(answer.why);
      expect(second(answer.content)).toMatchObject({ "XMP-xmp:Rating": 4 });
      expect(Buffer.from(answer.content).toString("utf8")).toBe(
        content.replace(
          /<rdf:Description/,
          (tag) =>
            `${tag}${attributes === "" ? " xmlns:xmp" : " xmlns:xmp2"}="http://ns.adobe.com/xap/1.0/" ${attributes === "" ? "xmp" : "xmp2"}:Rating="4"`,
        ),
      );
    }
  },
);

test("properties are told by namespace and name, lists joined, structures flat, hostile text as it stands", async () => {
  const content = sidecar(
    'xmp:Rating="3" jay:Nest="ledge &#x202e;"',
    `<dc:subject><rdf:Bag><rdf:li>cliff</rdf:li><rdf:li>kestrel</rdf:li></rdf:Bag></dc:subject>
     <jay:Seen rdf:parseType="Resource"><jay:By>Anna</jay:By><jay:Count>2</jay:Count></jay:Seen>`,
  );
  expect(new Map(await tool.properties(content))).toEqual(
    new Map([
      ["xmp:Rating", "3"],
      ["jay:Nest", "ledge \u202e"],
      ["dc:Subject", "cliff, kestrel"],
      ["jay:SeenBy", "Anna"],
      ["jay:SeenCount", "2"],
    ]),
  );
});

test.each([
  ["no XMP", text("a note about the cliffs")],
  ["nothing", new Uint8Array()],
  ["broken XML", sidecar('xmp:Rating="3"').slice(0, 200)],
  ["a picture", new Uint8Array([0xff, 0xd8, 0xff, 0xe0, 0, 16, 0x4a, 0x46, 0x49, 0x46])],
])("%s has no properties to tell of", async (_what, content) => {
  expect(await tool.properties(content)).toBeUndefined();
});
