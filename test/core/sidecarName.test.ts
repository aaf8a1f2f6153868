/** Which file beside a frame is its sidecar, and what is never written though it is called like one. */

import { expect, test } from "vitest";
import { sidecarPlace } from "../../daemon/core/sidecarName.ts";
import { nameKey, type RelativePath } from "../../shared/identity.ts";

const raw = "2027-06-05/KC-1.NEF" as RelativePath;
const jpeg = "2027-06-05/KC-1.JPG" as RelativePath;

/** @param names as they stand in the folder; a folder ends with `/` */
function placeBeside(names: readonly string[], originals: readonly string[] = [], files = [raw, jpeg]) {
  const entries = new Map(
    names.map((name) => {
      const bare = name.replace(/\/$/, "");
      return [nameKey(bare), { name: bare, isFile: bare === name }];
    }),
  );
  const given = new Set(originals.map((name) => nameKey(`2027-06-05/${name}`)));
  return sidecarPlace({ files, entries, isOriginal: (path) => given.has(nameKey(path)) });
}

test("the standard form, else an appended one that stands; compared without regard to case", () => {
  // XMP Specification part 3: `.xmp` takes the place of the extension. The appended form is from memory.
  const table: readonly (readonly [readonly string[], string, boolean])[] = [
    [[], "KC-1.xmp", false],
    [["KC-1.xmp"], "KC-1.xmp", true],
    [["KC-1.XMP"], "KC-1.XMP", true],
    [["kc-1.Xmp"], "kc-1.Xmp", true],
    [["KC-1.NEF.xmp"], "KC-1.NEF.xmp", true],
    [["KC-1.JPG.XMP"], "KC-1.JPG.XMP", true],
    [["KC-1.JPG.xmp", "KC-1.NEF.xmp"], "KC-1.NEF.xmp", true],
    [["KC-1.NEF.xmp", "KC-1.xmp"], "KC-1.xmp", true],
    [["KC-10.xmp"], "KC-1.xmp", false],
  ];
  for (const [names, path, stands] of table)
    expect(placeBeside(names), names.join(" ")).toEqual({
      path: `2027-06-05/${path}`,
      stands,
      companion: undefined,
    });
});

test("what a card gave is read and never written, whether it stands there by now or not", () => {
  expect(placeBeside(["KC-1.XMP"], ["KC-1.XMP"])).toEqual({
    path: "2027-06-05/KC-1.NEF.xmp",
    stands: false,
    companion: "2027-06-05/KC-1.XMP",
  });
  expect(placeBeside([], ["KC-1.XMP"])).toEqual({
    path: "2027-06-05/KC-1.NEF.xmp",
    stands: false,
    companion: undefined,
  });
  expect(placeBeside(["KC-1.NEF.xmp"], ["KC-1.xmp", "KC-1.NEF.xmp"])?.path).toBe("2027-06-05/KC-1.JPG.xmp");
  expect(placeBeside([], ["KC-1.xmp", "KC-1.NEF.xmp", "KC-1.JPG.xmp"])).toBeUndefined();
});

test("a folder of the sidecar's name, or a frame without files there, has none", () => {
  expect(placeBeside(["KC-1.xmp/"])).toBeUndefined();
  expect(placeBeside([], [], [])).toBeUndefined();
});
