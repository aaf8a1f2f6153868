/** The word that was probably meant. */

import { expect, test } from "vitest";
import { nearest } from "../../daemon/core/nearest.ts";

test("a slip of one or two letters is recognized, another word is not", () => {
  const words = ["status", "wait", "trip", "json"];
  expect(nearest("statsu", words)).toBe("status");
  expect(nearest("jsno", words)).toBe("json");
  expect(nearest("STATUS", words)).toBe("status");
  expect(nearest("tirp", words)).toBe("trip");
  expect(nearest("trips", words)).toBe("trip");
  expect(nearest("weight", words)).toBeUndefined();
  expect(nearest("", words)).toBeUndefined();
  expect(nearest("x".repeat(100_000), words)).toBeUndefined();
});
