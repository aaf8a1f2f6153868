/** The trip's folder in an archive, and what its tree may hold. */

import { expect, test } from "vitest";
import { renderTree } from "../../daemon/core/archiveTree.ts";
import { readProfile } from "../../daemon/core/profile.ts";
import type { Day } from "../../shared/identity.ts";
import { profileText } from "../cards/generate/card.ts";

const trip = { trip: "Kestrel: Cliffs", code: "KC", from: "2027-06-03" as Day };

test("dates are those of the first day, and a name that no drive holds is made safe", () => {
  expect(renderTree(trip, "{taken:yyyy}/{trip}")).toBe("2027/Kestrel%3A Cliffs");
  expect(renderTree(trip, "{day:yyyy}/{day:MM} {code}")).toBe("2027/06 KC");
});

const faultsOf = (tree: string) =>
  readProfile(
    `${profileText({ drives: ["Blue"], copies: 1 })}archive: { folder: /archive, tree: "${tree}" }\n`,
  ).faults.filter(({ key }) => key.startsWith("archive"));

test("a field that names a single frame is pointed out at its place", () => {
  const [fault] = faultsOf("{taken:yyyy}/{trip}/{body}");
  expect(fault).toMatchObject({
    severity: "warning",
    key: "archive.tree",
    allowed: "{trip}, {code}, {day}, {taken}",
  });
  expect(fault?.what).toContain("{body} names a single frame");
  expect(faultsOf("{taken:yyyy}/{trip}")).toEqual([]);
});

test("the folder of the archive's own record can't be the trip's", () => {
  expect(faultsOf(".scrubjay/{trip}")[0]).toMatchObject({ severity: "error", key: "archive.tree" });
});
