/**
 * Which of many moments a test breaks something off at. A moment costs about a second, and there are hundreds: a run of
 * all tests takes every third, beginning with another one each time; `SCRUBJAY_MOMENTS=all npm test` takes every one.
 */

const all = process.env["SCRUBJAY_MOMENTS"] === "all";
// SCRUBJAY_SEED=N repeats a run.
const seed = Number(process.env["SCRUBJAY_SEED"] ?? Date.now() % 1_000_000);

/** From one moment that is tried to the next. */
export const momentStep = all ? 1 : 3;

/** The first that is tried, counted from 1. */
export const firstMoment = 1 + (seed % momentStep);
