/** What is to be copied where: derived from what is there, never more than fits. */

import { expect, test } from "vitest";
import { type PlanDrive, type PlanFile, planCopies, reserveOf } from "../../daemon/core/plan.ts";
import type { DriveId, OriginalId, RelativePath, TripId } from "../../shared/identity.ts";
import { bytes, instant } from "../../shared/units.ts";

const trip = "kc" as TripId;
const blue = "blue" as DriveId;
const slate = "slate" as DriveId;
const noReserve = { reserveShare: 0, reserveBytesMin: 0, reserveBytesMax: 0 };
const never = () => false;

function file(path: string, size: number, more: Partial<PlanFile> = {}): PlanFile {
  return {
    path: path as RelativePath,
    size: bytes(size),
    modified: instant(0),
    role: "frame",
    original: undefined,
    trip,
    heldBy: [],
    ...more,
  };
}

function drive(id: DriveId, free: number, more: Partial<PlanDrive> = {}): PlanDrive {
  return {
    id,
    trips: [trip],
    freeBytes: bytes(free),
    totalBytes: bytes(free),
    blockBytes: bytes(1),
    ...more,
  };
}

test("what is new goes to every drive of the trip that is there, and is read once", () => {
  const groups = [{ key: "1", files: [file("a.NEF", 10), file("a.JPG", 5)] }];
  const plan = planCopies(groups, [drive(blue, 100), drive(slate, 100)], noReserve, never);
  expect(plan.jobs.map((job) => job.files.map((each) => each.targets))).toEqual([
    [
      [blue, slate],
      [blue, slate],
    ],
  ]);
  expect(plan.readBytes).toBe(15);
});

test("only the drives that lack a file get it", () => {
  const known = { original: "x" as OriginalId };
  const groups = [
    { key: "1", files: [file("a", 1, { ...known, heldBy: [blue] })] },
    { key: "2", files: [file("b", 1, { ...known, heldBy: [blue, slate] })] },
  ];
  const plan = planCopies(groups, [drive(blue, 100), drive(slate, 100)], noReserve, never);
  expect(plan.jobs).toHaveLength(1);
  expect(plan.jobs[0]?.files[0]?.targets).toEqual([slate]);
});

test("a drive of another trip gets nothing", () => {
  const other = drive(slate, 100, { trips: ["other" as TripId] });
  const plan = planCopies([{ key: "1", files: [file("a", 1)] }], [drive(blue, 100), other], noReserve, never);
  expect(plan.jobs[0]?.files[0]?.targets).toEqual([blue]);
});

test("a frame that doesn't fit whole is left out on that drive with all that come after it; the other takes all", () => {
  const groups = [
    { key: "1", files: [file("a", 60)] },
    { key: "2", files: [file("b.NEF", 30), file("b.JPG", 20)] },
    { key: "3", files: [file("c", 10)] },
  ];
  const plan = planCopies(groups, [drive(blue, 1000), drive(slate, 100)], noReserve, never);
  expect(plan.jobs.map((job) => job.files.map((each) => each.targets.length))).toEqual([[2], [1, 1], [1]]);
  expect(plan.unfit.get(slate)).toEqual({ files: 3, bytes: 60 });
  expect(plan.unfit.has(blue)).toBe(false);
});

test("files count as whole blocks of the drive, and the reserve stays free", () => {
  const groups = [{ key: "1", files: [file("a", 1)] }];
  const blocks = drive(blue, 4096, { blockBytes: bytes(4096) });
  expect(planCopies(groups, [blocks], noReserve, never).jobs).toHaveLength(1);
  const reserve = { ...noReserve, reserveBytesMin: 1, reserveBytesMax: 1 };
  expect(planCopies(groups, [blocks], reserve, never).jobs).toHaveLength(0);
});

test("the reserve is a share of the drive within its bounds", () => {
  const reserve = { reserveShare: 0.01, reserveBytesMin: 4_000_000, reserveBytesMax: 2_000_000_000 };
  expect(reserveOf(bytes(64_000_000), reserve)).toBe(4_000_000);
  expect(reserveOf(bytes(100_000_000_000), reserve)).toBe(1_000_000_000);
  expect(reserveOf(bytes(4_000_000_000_000), reserve)).toBe(2_000_000_000);
});

test("what was given up isn't planned again, for reading or for one drive", () => {
  const groups = [{ key: "1", files: [file("bad", 1), file("good", 1)] }];
  const unreadable = planCopies(groups, [drive(blue, 10)], noReserve, (path) => path === "bad");
  expect(unreadable.jobs[0]?.files.map((each) => each.path)).toEqual(["good"]);
  const notThere = planCopies(
    groups,
    [drive(blue, 10), drive(slate, 10)],
    noReserve,
    (_, on) => on === slate,
  );
  expect(notThere.jobs[0]?.files.map((each) => each.targets)).toEqual([[blue], [blue]]);
});
