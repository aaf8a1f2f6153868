/** Whether what the page shows can be read: contrast of its colours, as they stand in its style, light and dark. */

import { readdirSync, readFileSync } from "node:fs";
import { expect, test } from "vitest";

const page = new URL("../../tray/page/", import.meta.url);
const style = readFileSync(new URL("style.css", page), "utf8");
/** Every style of the page: the screens' own too. */
const styles = readdirSync(page, { recursive: true, encoding: "utf8" })
  .filter((name) => name.endsWith(".css"))
  .map((name) => readFileSync(new URL(name, page), "utf8"));

/** Relative luminance, WCAG 2.2: each channel from sRGB to linear, weighed by what the eye sees of it. */
function luminance(colour: string): number {
  const [red = 0, green = 0, blue = 0] = [1, 3, 5].map((at) => {
    const channel = Number.parseInt(colour.slice(at, at + 2), 16) / 255;
    return channel <= 0.04045 ? channel / 12.92 : ((channel + 0.055) / 1.055) ** 2.4;
  });
  return 0.2126 * red + 0.7152 * green + 0.0722 * blue;
}

/** Contrast ratio, WCAG 2.2: 1 to 21. */
function contrast(one: string, other: string): number {
  const [darker = 0, lighter = 0] = [luminance(one), luminance(other)].sort((a, b) => a - b);
  return (lighter + 0.05) / (darker + 0.05);
}

/** The first `:root` holds the light colours, the second the dark ones. */
const [light, dark] = [...style.matchAll(/:root \{([^}]*)\}/g)].map(
  ([, block = ""]) =>
    new Map(
      [...block.matchAll(/--(\w+): (#[0-9a-f]{6});/g)].map(([, name = "", value = ""]) => [name, value]),
    ),
);

test("contrast is computed as WCAG does: known pairs on white", () => {
  // Computed once by hand from the formula; 21 is the formula's largest value (WCAG 2.2, contrast ratio).
  const known = { "#000000": 21, "#767676": 4.5422, "#777777": 4.4781, "#008000": 5.1374, "#ff0000": 3.9985 };
  for (const [colour, ratio] of Object.entries(known))
    expect(contrast(colour, "#ffffff")).toBeCloseTo(ratio, 3);
});

test.each([
  ["light", light],
  ["dark", dark],
])("every colour of text can be read on paper, and paper on the filled button: %s", (_name, colours) => {
  const paper = colours?.get("paper") ?? "";
  const grounds = ["paper", "hairline", "grey"];
  const inks = [...(colours ?? [])].filter(([name]) => !grounds.includes(name));
  expect(inks.map(([name]) => name)).toEqual(["ink", "jay", "rust", "buff"]);
  // WCAG 2.2, 1.4.3: 4.5:1 for text; seeds have the same colours and need 3:1 by 1.4.11.
  for (const [name, colour] of inks) expect([name, contrast(colour, paper) >= 4.5]).toEqual([name, true]);
});

test.each([
  ["light", light],
  ["dark", dark],
])("photographs stand on grey without a tint, and words on it can be read: %s", (_name, colours) => {
  const grey = colours?.get("grey") ?? "";
  expect(grey).toMatch(/^#(..)\1\1$/);
  expect(contrast(colours?.get("ink") ?? "", grey)).toBeGreaterThanOrEqual(4.5);
});

test("no colour stands in the style but those that are checked", () => {
  expect(styles.length).toBeGreaterThan(1);
  const rest = styles
    .join("\n")
    .replace(/:root \{[^}]*\}/g, "")
    .replace(/\/\*[\s\S]*?\*\//g, "");
  expect(rest.match(/#[0-9a-f]{3,8}\b|\b(rgb|hsl|oklch|color-mix)\(|opacity/gi)).toBeNull();
  // The hairline parts and signs nothing: it is never the colour of text.
  expect(rest.match(/(?<![-\w])color: var\(--hairline\)/)).toBeNull();
});
