/** Templates: what they may say, where a fault stands, and that no value can leave its folder. */

import { expect, test } from "vitest";
import { expand, parseTemplate, type Template, type TemplateValues } from "../../daemon/core/template.ts";
import { collisionExample } from "../../daemon/core/templateCheck.ts";
import { hostileText, seeded } from "./seeded.ts";

const values: TemplateValues = {
  trip: "Kestrel Cliffs",
  code: "KC",
  day: "2027-06-03",
  taken: "2027-06-04T01:05:09.062",
  body: "A",
  serial: "4410072",
  model: "Aldine R2",
  number: "0421",
  original: "ALD_0421",
  count: 7,
  card: "7",
};

function template(text: string): Template {
  const parsed = parseTemplate(text);
  if (!parsed.ok) throw new Error(`${text}: ${parsed.what}`);
  return parsed.template;
}

const expanded = (text: string, changed: Partial<TemplateValues> = {}): string =>
  expand(template(text), { ...values, ...changed });

test("fields and literal text are filled in", () => {
  expect(expanded("{trip}/{day}")).toBe("Kestrel Cliffs/2027-06-03");
  expect(expanded("{code}-{day:yyyyMMdd}-{body}{number}")).toBe("KC-20270603-A0421");
  expect(expanded("{taken}")).toBe("20270604-010509");
  expect(expanded("{model} {serial} {original} {card}")).toBe("Aldine R2 4410072 ALD_0421 7");
});

test("numbers are padded by zeros of their pattern", () => {
  expect(expanded("{count}")).toBe("7");
  expect(expanded("{count:0000}")).toBe("0007");
  expect(expanded("{count:0}", { count: 12345 })).toBe("12345");
  expect(expanded("{number:000000}")).toBe("000421");
  expect(expanded("{number:0}")).toBe("421");
  expect(expanded("x{number:0000}", { number: "" })).toBe("x");
});

test("date patterns are those of Unicode TR35", () => {
  // Unicode TR35 part 4, Date Field Symbol Table and Date Format Patterns (quoting).
  const cases = [
    ["yyyy", "2027"],
    ["yy", "27"],
    ["y", "2027"],
    ["M", "6"],
    ["MM", "06"],
    ["d", "4"],
    ["dd", "04"],
    ["D", "155"],
    ["DDD", "155"],
    ["H", "1"],
    ["HH", "01"],
    ["m", "5"],
    ["mm", "05"],
    ["s", "9"],
    ["ss", "09"],
    ["S", "0"],
    ["SS", "06"],
    ["SSS", "062"],
    ["yyyy'y'", "2027y"],
    ["d 'o''clock'", "4 o'clock"],
    ["yy''", "27'"],
    ["yyyy.MM_dd", "2027.06_04"],
  ] as const;
  for (const [pattern, text] of cases) expect(expanded(`x{taken:${pattern}}x`), pattern).toBe(`x${text}x`);
  expect(expanded("{day:DDD}", { day: "2028-12-31" })).toBe("366");
  expect(expanded("{day:DDD}", { day: "2027-01-01" })).toBe("001");
});

test("a fault says where it stands and what is allowed", () => {
  const cases: readonly (readonly [string, number, RegExp, RegExp])[] = [
    ["{code}-{dya}", 8, /'dya' is not a field/, /trip, code, day/],
    ["{code", 0, /never closed/, /\{field\}/],
    ["a{co{de}", 1, /never closed/, /\{field\}/],
    ["a}b", 1, /never opened/, /\{field\}/],
    ["{day:yyyyMMDDx}", 11, /'DD'|'x'/, /yyyy/],
    ["{taken:yyyy-ww}", 12, /'ww' is not a date field/, /HH \(hour\)/],
    ["{day:HH}", 5, /time/, /\{taken\}/],
    ["{taken:yyyy'x}", 11, /never closed/, /''/],
    ["{taken:}", 7, /no date field/, /yyyy/],
    ["{taken:yyyy/MM}", 11, /'\/'/, /\{taken:yyyy\}\/\{taken:MM\}/],
    ["{taken:HH:mm}", 9, /':'/, /refuse/],
    ["{count:1}", 7, /'1'/, /zeros/],
    ["{body:0}", 6, /takes no pattern/, /\{body\}/],
    ["a:b", 1, /':'/, /refuse/],
    ["a\nb", 1, /can't hold/, /refuse/],
    ["{}", 1, /'' is not a field/, /trip/],
    ["{Trip}", 1, /'Trip' is not a field/, /trip/],
  ];
  for (const [text, at, what, allowed] of cases) {
    const parsed = parseTemplate(text);
    expect(parsed.ok, text).toBe(false);
    if (parsed.ok) continue;
    expect(parsed.at, text).toBe(at);
    expect(parsed.what, text).toMatch(what);
    expect(parsed.allowed, text).toMatch(allowed);
  }
});

test("no value adds a folder, leaves its folder or makes an illegal name", () => {
  expect(expanded("{trip}/{model}/x", { model: ".." })).toBe("Kestrel Cliffs/.%2E/x");
  expect(expanded("{trip}/{model}", { model: "a/../../b" })).toBe("Kestrel Cliffs/a%2F..%2F..%2Fb");
  expect(expanded("{model}", { model: "con" })).toBe("%63on");
  expect(expanded("{trip}/{serial}/x", { serial: "" })).toBe("Kestrel Cliffs/_/x");
  const seed = 35;
  const random = seeded(seed);
  const hostile = template("{trip}/{model}.{serial}/{card}/{original}");
  for (let round = 0; round < 5000; round += 1) {
    const text = (): string => hostileText(random, 12);
    const filled = { ...values, trip: text(), model: text(), serial: text(), card: text(), original: text() };
    const path = expand(hostile, filled);
    const parts = path.split("/");
    const said = `seed ${seed}, round ${round}: ${JSON.stringify(filled)} → ${JSON.stringify(path)}`;
    expect(parts.length, said).toBe(4);
    for (const part of parts) {
      expect(part, said).not.toMatch(/^\.{0,2}$|[\u0000-\u001f"*:<>?\\|]|[. ]$/);
      expect(Buffer.byteLength(part), said).toBeLessThanOrEqual(255);
    }
  }
});

test("any text is a template or has a fault inside it", () => {
  const random = seeded(36);
  for (let round = 0; round < 5000; round += 1) {
    const braced = Array.from({ length: random.below(6) }, () =>
      random.pick(["{", "}", "{day", ":yy", "{count:", "'", "0", hostileText(random, 3)]),
    ).join("");
    const parsed = parseTemplate(braced);
    if (parsed.ok) expand(parsed.template, values);
    else expect(parsed.at).toBeLessThanOrEqual(braced.length);
  }
});

const clash = (names: string, folders = "{trip}/{day}"): string | undefined =>
  collisionExample(template(names), template(folders));

test("the usual templates are not warned about", () => {
  expect(clash("{code}-{day:yyyyMMdd}-{body}{number}")).toBeUndefined();
  expect(clash("{code}-{day:yyyyMMdd}-{body}{number}", "{trip}")).toBeUndefined();
  expect(clash("{serial}-{original}")).toBeUndefined();
  expect(clash("{code}-{count:0000}")).toBeUndefined();
  expect(clash("{card}-{original}")).toBeUndefined();
});

test("a template that can give two frames one name is shown by an example", () => {
  expect(clash("{code}-{day:yyyyMMdd}-{body}")).toMatch(/0421 and 0422 of body A.*KC-20270603-A/);
  expect(clash("{code}-{number}")).toMatch(/body A and frame 0421 of body B/);
  expect(clash("{original}")).toMatch(/body B/);
  expect(clash("{body}-{taken:yyyyMMdd-HHmm}")).toMatch(/0421 and 0422 of body A/);
  expect(clash("{body}-{taken}")).toMatch(/burst/);
  expect(clash("{code}-{body}{number}", "{trip}")).toMatch(/2027-06-03 and again on 2027-06-04/);
  expect(clash("{count:0000}", "{trip}")).toMatch(/again on/);
});

test("days that share a date pattern are found over the whole trip", () => {
  const days = ["2027-06-03", "2027-06-30", "2027-07-03"];
  const about = { trip: "Long", code: "L", days };
  const found = collisionExample(template("{body}{number}"), template("{trip}/{day:dd}"), about);
  expect(found).toMatch(/2027-06-03 and again on 2027-07-03/);
});
