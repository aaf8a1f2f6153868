/**
 * When a frame was taken. The story: a body left on home time, a body with its zone written, a body with a wrong
 * clock, a video counted in UTC, and cameras that wrote nonsense; on a laptop whose own time zone is anything.
 */

import { afterEach, describe, expect, test } from "vitest";
import { compareTaken, whenTaken } from "../../daemon/core/taken.ts";
import type { CameraFacts, Taken } from "../../shared/camera.ts";
import type { TripBody } from "../../shared/trip.ts";
import { instant, millis } from "../../shared/units.ts";

const modified = instant(Date.UTC(2025, 5, 20, 12, 0, 0));
const plainBody: TripBody = { serial: "1", clockCorrection: millis(0), videoClock: "utc" };

function still(facts: CameraFacts, zone: string, body?: TripBody, dayStartsMinutes = 0): Taken {
  return whenTaken(facts, modified, "still", body, zone, dayStartsMinutes);
}

function video(facts: CameraFacts, zone: string, body?: TripBody): Taken {
  return whenTaken(facts, modified, "video", body, zone, 0);
}

const iso = (taken: Taken): string => new Date(taken.instant).toISOString();

const zoneOfTests = process.env["TZ"];
afterEach(() => {
  if (zoneOfTests === undefined) delete process.env["TZ"];
  else process.env["TZ"] = zoneOfTests;
});

// What the computer's own clock shows at 2025-06-14T21:30Z (tz 2025c): proof that setting TZ took effect.
const computers = [
  ["UTC", "14 21:30"],
  ["Pacific/Kiritimati", "15 11:30"],
  ["America/St_Johns", "14 19:00"],
] as const;

describe.each(computers)("on a computer in %s", (computerZone, shows) => {
  const moveComputer = (): void => {
    process.env["TZ"] = computerZone;
    const here = new Date("2025-06-14T21:30:00Z");
    const minutes = String(here.getMinutes()).padStart(2, "0");
    expect(`${here.getDate()} ${here.getHours()}:${minutes}`).toBe(shows);
  };

  test("frames go to the civil date at the place of capture", () => {
    moveComputer();
    // Worked example for Nairobi, rule "local civil date at the place of capture": camera string, offset, instant, local.
    const frames = [
      ["2025:06:14 23:50:00", "+03:00", "2025-06-14T20:50:00.000Z", "2025-06-14T23:50:00.000", "2025-06-14"],
      ["2025:06:15 00:10:00", "+03:00", "2025-06-14T21:10:00.000Z", "2025-06-15T00:10:00.000", "2025-06-15"],
      ["2025:06:14 22:10:00", "+01:00", "2025-06-14T21:10:00.000Z", "2025-06-15T00:10:00.000", "2025-06-15"],
    ] as const;
    for (const [dateTimeOriginal, offsetOriginal, at, local, day] of frames) {
      const taken = still({ dateTimeOriginal, offsetOriginal }, "Africa/Nairobi");
      expect(iso(taken)).toBe(at);
      expect(taken).toMatchObject({ local, day, basis: "camera-offset" });
    }
    const unzoned = still({ dateTimeOriginal: "2025:06:14 22:10:00" }, "Africa/Nairobi");
    expect(unzoned).toMatchObject({ day: "2025-06-14", basis: "trip-zone" });
    expect(iso(unzoned)).toBe("2025-06-14T19:10:00.000Z");
  });

  test("one moment has its own civil time in every zone", () => {
    moveComputer();
    // Zones at 2025-06-14T21:30:00Z, tz 2025c.
    const zones = [
      ["Africa/Nairobi", "2025-06-15T00:30"],
      ["Asia/Kathmandu", "2025-06-15T03:15"],
      ["America/St_Johns", "2025-06-14T19:00"],
      ["Pacific/Auckland", "2025-06-15T09:30"],
      ["Pacific/Chatham", "2025-06-15T10:15"],
      ["Pacific/Kiritimati", "2025-06-15T11:30"],
      ["Pacific/Pago_Pago", "2025-06-14T10:30"],
      ["Australia/Lord_Howe", "2025-06-15T08:00"],
      ["Antarctica/Troll", "2025-06-14T23:30"],
    ] as const;
    for (const [zone, local] of zones) {
      const facts = { dateTimeOriginal: "2025:06:14 21:30:00", offsetOriginal: "+00:00" };
      const taken = still(facts, zone);
      expect(taken.local, zone).toBe(`${local}:00.000`);
      expect(taken.day, zone).toBe(local.slice(0, 10));
    }
  });

  test("a time that happens twice is its first, one that never happens is moved on", () => {
    moveComputer();
    // Europe/Paris 2025, tz 2025c: 26 October 02:30 is 00:30Z and 01:30Z; 30 March 02:00 to 02:59 is missing.
    const twice = still({ dateTimeOriginal: "2025:10:26 02:30:00" }, "Europe/Paris");
    expect(iso(twice)).toBe("2025-10-26T00:30:00.000Z");
    const never = still({ dateTimeOriginal: "2025:03:30 02:30:00" }, "Europe/Paris");
    expect(iso(never)).toBe("2025-03-30T01:30:00.000Z");
    expect(never.local).toBe("2025-03-30T03:30:00.000");
    // Pacific/Apia has no 30 December 2011.
    const noDay = still({ dateTimeOriginal: "2011:12:30 12:00:00" }, "Pacific/Apia");
    expect(noDay.day).toBe("2011-12-31");
  });
});

test("the zone that the profile gives a body beats the offset that the camera wrote", () => {
  const body: TripBody = { ...plainBody, zone: "Europe/Copenhagen" };
  const facts = { dateTimeOriginal: "2027:06:06 23:30:00", offsetOriginal: "+09:00" };
  const taken = still(facts, "Atlantic/Faroe", body);
  expect(taken).toMatchObject({ basis: "body-zone", local: "2027-06-06T22:30:00.000" });
});

test("the clock correction is added and may move a frame to another day", () => {
  const body: TripBody = { ...plainBody, clockCorrection: millis(200_000) };
  const taken = still({ dateTimeOriginal: "2027:06:06 23:58:00" }, "Atlantic/Faroe", body);
  expect(taken).toMatchObject({ local: "2027-06-07T00:01:20.000", day: "2027-06-07" });
  expect(taken.camera).toBe("2027:06:06 23:58:00");
});

test("a night shoot belongs to the evening before, by the wall clock, in nights that change to summer time too", () => {
  const at = (dateTimeOriginal: string): string =>
    still({ dateTimeOriginal }, "Europe/Paris", undefined, 240).day;
  expect(at("2025:06:15 03:59:59")).toBe("2025-06-14");
  expect(at("2025:06:15 04:00:00")).toBe("2025-06-15");
  // 30 March has no 02:30 and 26 October two; 04:00 begins the day in both.
  expect(at("2025:03:30 03:59:59")).toBe("2025-03-29");
  expect(at("2025:03:30 04:00:00")).toBe("2025-03-30");
  expect(at("2025:10:26 03:59:59")).toBe("2025-10-25");
  expect(at("2025:10:26 04:00:00")).toBe("2025-10-26");
});

test("SubSec is a decimal fraction, not milliseconds", () => {
  // Exif 2.32, SubSecTimeOriginal: `5` is .5 s, `05` and `050` are .05 s, trailing blanks ignored.
  const cases = [
    ["5", "500"],
    ["05", "050"],
    ["050", "050"],
    ["5  ", "500"],
    ["283", "283"],
    ["123456", "123"],
    ["  ", "000"],
    ["x", "000"],
  ] as const;
  for (const [subSecOriginal, ms] of cases) {
    const taken = still({ dateTimeOriginal: "2027:06:06 21:15:12", subSecOriginal }, "UTC");
    expect(taken.local, subSecOriginal).toBe(`2027-06-06T21:15:12.${ms}`);
  }
});

test("blank, absurd and impossible times are unknown and fall back to the file's time", () => {
  // Exif 2.2: blanks in place of digits, or an all-blank field; the rest is what real files hold.
  const absurd = [
    "    :  :     :  :  ",
    "                   ",
    "",
    "0000:00:00 00:00:00",
    "2025:02:31 10:00:00",
    "2025:13:01 10:00:00",
    "2025:06:14 24:00:00",
    "2025:06:14 10:60:00",
    "Sunday, 11am",
    "2025:06:14",
    "1111:11:11 11:11:11",
    "9999:12:31 23:59:59",
  ];
  for (const dateTimeOriginal of absurd) {
    const taken = still({ dateTimeOriginal }, "Africa/Nairobi", {
      ...plainBody,
      clockCorrection: millis(3_600_000),
    });
    expect(taken, dateTimeOriginal).toMatchObject({
      instant: modified,
      basis: "file-time",
      day: "2025-06-20",
    });
  }
  expect(whenTaken(undefined, modified, "still", undefined, "UTC", 0)).toMatchObject({
    basis: "file-time",
    camera: "",
  });
  expect(still({ dateTimeOriginal: "Sunday, 11am" }, "UTC").camera).toBe("Sunday, 11am");
  expect(still({ dateTimeOriginal: "    :  :     :  :  " }, "UTC").camera).toBe("");
});

test("a blank or absurd offset is no offset", () => {
  for (const offsetOriginal of ["   :  ", "", "+25:00", "+01:75", "UTC"]) {
    const taken = still({ dateTimeOriginal: "2027:06:06 21:15:12", offsetOriginal }, "Atlantic/Faroe");
    expect(taken.basis, offsetOriginal).toBe("trip-zone");
  }
  const west = still({ dateTimeOriginal: "2027:06:06 21:15:12", offsetOriginal: "-02:30" }, "UTC");
  expect(iso(west)).toBe("2027-06-06T23:45:12.000Z");
});

test("a file time beyond any calendar is held within it", () => {
  for (const time of [Number.NaN, Number.POSITIVE_INFINITY, -8.64e15, 9e15, 0.5]) {
    const taken = whenTaken(undefined, instant(time), "still", undefined, "Pacific/Kiritimati", 240);
    expect(taken.day).toMatch(/^\d{4}-\d{2}-\d{2}$/);
    expect(Number.isInteger(taken.instant)).toBe(true);
  }
});

test("the camera's own words are kept with fraction and offset", () => {
  const facts = { dateTimeOriginal: "2027:06:06 21:15:12", subSecOriginal: "05", offsetOriginal: "+01:00" };
  expect(still(facts, "UTC").camera).toBe("2027:06:06 21:15:12.05+01:00");
});

test("a video's header time is UTC unless the profile says that it is the body's clock", () => {
  // ISO 14496-12 8.2.2: mvhd creation_time counts in UTC.
  const facts = { mediaCreateDate: "2027:06:06 23:30:00" };
  const byStandard = video(facts, "Europe/Copenhagen");
  expect(byStandard).toMatchObject({
    basis: "video-utc",
    local: "2027-06-07T01:30:00.000",
    day: "2027-06-07",
  });
  const byBody = video(facts, "Europe/Copenhagen", { ...plainBody, videoClock: "body" });
  expect(byBody).toMatchObject({ basis: "trip-zone", local: "2027-06-06T23:30:00.000", day: "2027-06-06" });
});

test("a video's own local time comes before its header, and the one with an offset first", () => {
  const mediaCreateDate = "2020:01:01 00:00:00";
  const withOffset = video({ creationDate: "2027:06:06 23:30:00+02:00", mediaCreateDate }, "Atlantic/Faroe");
  expect(withOffset).toMatchObject({ basis: "camera-offset", local: "2027-06-06T22:30:00.000" });
  const wall = video({ dateTimeOriginal: "2027:06:06 23:30:00", mediaCreateDate }, "Atlantic/Faroe");
  expect(wall).toMatchObject({ basis: "trip-zone", local: "2027-06-06T23:30:00.000" });
});

test("a video header's zero is unknown", () => {
  // ISO 14496-12 counts from 1904; the Unix zero is common practice, no source.
  for (const mediaCreateDate of ["1904:01:01 00:00:00", "1970:01:01 00:00:00", "0000:00:00 00:00:00"]) {
    expect(video({ mediaCreateDate }, "UTC").basis).toBe("file-time");
  }
});

test("a still doesn't take a container's header for its time", () => {
  expect(still({ mediaCreateDate: "2027:06:06 23:30:00" }, "UTC").basis).toBe("file-time");
});

test("frames are ordered by moment, then by the camera's words", () => {
  const at = (subSecOriginal: string): Taken =>
    still({ dateTimeOriginal: "2027:06:06 21:15:12", subSecOriginal }, "UTC");
  const sorted = [at("5"), at("05"), at("1234"), at("1231")]
    .sort(compareTaken)
    .map((taken) => taken.camera.slice(20));
  expect(sorted).toEqual(["05", "1231", "1234", "5"]);
  expect(compareTaken(at("5"), at("5"))).toBe(0);
});
