/** The parts of the screens of frames that are values only: keys, ratings in words, and what is kept in memory. */

import { afterEach, beforeEach, describe, expect, test, vi } from "vitest";
import type { FrameJson, PictureState } from "../../shared/framesApi.ts";
import { FrameStore } from "../../tray/page/frames/frameStore.ts";
import { checkKey, frameKey, type Pressed, sheetKey } from "../../tray/page/frames/keys.ts";
import { PictureWishes } from "../../tray/page/frames/pictureWishes.ts";
import { frameName, ratingAfter, ratingWords, whyNoPicture } from "../../tray/page/frames/ratingWords.ts";
import { Slices, sliceFrames, slicesOf } from "../../tray/page/frames/slices.ts";

const pressed = (key: string, more: Partial<Pressed> = {}): Pressed => ({
  key,
  ctrlKey: false,
  altKey: false,
  metaKey: false,
  repeat: false,
  isComposing: false,
  ...more,
});

describe("keys", () => {
  test("digits rate, k keeps, r rejects, arrows go on and back, Escape goes to the sheet", () => {
    const does = (key: string) => frameKey(pressed(key), false, true);
    for (const choice of [0, 1, 2, 3, 4, 5]) expect(does(String(choice))).toEqual({ kind: "rate", choice });
    expect([does("k"), does("K"), does("r")]).toEqual([
      { kind: "rate", choice: "keep" },
      { kind: "rate", choice: "keep" },
      { kind: "rate", choice: "reject" },
    ]);
    expect([does("ArrowLeft"), does("ArrowRight"), does("Escape")]).toEqual([
      { kind: "go", to: "previous" },
      { kind: "go", to: "next" },
      { kind: "go", to: "sheet" },
    ]);
    for (const key of ["6", "9", "-", "f", "Enter", " ", "constructor", "toString"])
      expect([key, does(key)]).toEqual([key, undefined]);
  });

  test("nothing happens while somebody types, composes a character, or holds a modifier", () => {
    for (const key of ["3", "k", "f", "n", "ArrowLeft"])
      for (const [more, typing] of [
        [{}, true],
        [{ ctrlKey: true }, false],
        [{ altKey: true }, false],
        [{ metaKey: true }, false],
        [{ isComposing: true }, false],
      ] as const) {
        expect(frameKey(pressed(key, more), typing, true)).toBeUndefined();
        expect(checkKey(pressed(key, more), typing, true)).toBeUndefined();
      }
  });

  test("a key that is held down goes on, and neither rates nor answers again", () => {
    expect(frameKey(pressed("3", { repeat: true }), false, true)).toBeUndefined();
    expect(checkKey(pressed("f", { repeat: true }), false, true)).toBeUndefined();
    expect(frameKey(pressed("ArrowRight", { repeat: true }), false, true)).toEqual({
      kind: "go",
      to: "next",
    });
  });

  test("letters that are switched off do nothing; arrows do", () => {
    expect(frameKey(pressed("3"), false, false)).toBeUndefined();
    expect(checkKey(pressed("n"), false, false)).toBeUndefined();
    expect(checkKey(pressed("ArrowRight"), false, false)).toEqual({ kind: "go", to: "next" });
  });

  test("in the sample check f is fine and n is not, and no digit rates", () => {
    expect(checkKey(pressed("f"), false, true)).toEqual({ kind: "look", fine: true });
    expect(checkKey(pressed("N"), false, true)).toEqual({ kind: "look", fine: false });
    expect(checkKey(pressed("3"), false, true)).toBeUndefined();
  });

  test("on the sheet Home and End go to a row's ends, with Control to the sheet's", () => {
    expect([sheetKey(pressed("Home")), sheetKey(pressed("End"))]).toEqual(["row-start", "row-end"]);
    expect(sheetKey(pressed("Home", { ctrlKey: true }))).toBe("first");
    expect(sheetKey(pressed("End", { ctrlKey: true }))).toBe("last");
    expect(sheetKey(pressed("PageDown"))).toBe("page-down");
    expect(sheetKey(pressed("ArrowDown", { ctrlKey: true }))).toBeUndefined();
    expect(sheetKey(pressed("ArrowLeft", { altKey: true }))).toBeUndefined();
    expect(sheetKey(pressed("Enter"))).toBeUndefined();
  });
});

describe("ratings", () => {
  // ISO 16684-1, 8.4: -1 rejected, 0 unrated, 1 to 5; other programs write halves and more.
  test.each([
    [null, ""],
    [-1, "rejected"],
    [0, "unrated"],
    [3, "rated 3"],
    [3.5, "rated 3.5"],
    [6, "rated 6"],
  ] as const)("%s in words is '%s'", (rating, words) => {
    expect(ratingWords(rating)).toBe(words);
  });

  test("to keep is to rate 1 what has no rating, none, or was rejected; else nothing changes", () => {
    expect([null, 0, -1].map((rating) => ratingAfter(rating, "keep"))).toEqual([1, 1, 1]);
    expect([1, 3.5, 5].map((rating) => ratingAfter(rating, "keep"))).toEqual([
      undefined,
      undefined,
      undefined,
    ]);
  });

  test("what stands so already isn't written again", () => {
    expect(ratingAfter(3, 3)).toBeUndefined();
    expect(ratingAfter(-1, "reject")).toBeUndefined();
    expect([ratingAfter(null, 0), ratingAfter(2, "reject"), ratingAfter(3.5, 3)]).toEqual([0, -1, 3]);
  });

  test("why there is no picture is said in words, and nothing where there is one", () => {
    const states: readonly PictureState[] = ["ready", "waiting", "away", "none"];
    expect(states.map((picture) => whyNoPicture({ picture, film: false }))).toEqual([
      "",
      "picture is being made",
      "its drives aren't here",
      "no picture in it",
    ]);
    expect(whyNoPicture({ picture: "none", film: true })).toBe("film");
    expect(frameName({ stem: "2027-06-03/KC-20270603-A0421" })).toBe("KC-20270603-A0421");
  });
});

const frame = (id: string): FrameJson => ({
  id,
  stem: `2027-06-03/${id}`,
  day: "2027-06-03",
  taken: "2027-06-03T22:41:05+01:00",
  letter: "A",
  model: "Aldine R2",
  kinds: ["NEF"],
  film: false,
  rating: null,
  looked: null,
  picture: "waiting",
});

describe("slices", () => {
  const day = "2027-06-03";

  test("a stretch of frames is in the slices that it touches", () => {
    expect(slicesOf(day, 0, 1)).toEqual([{ day, nth: 0 }]);
    expect(slicesOf(day, sliceFrames - 1, sliceFrames + 1).map(({ nth }) => nth)).toEqual([0, 1]);
    expect(slicesOf(day, sliceFrames, 2 * sliceFrames).map(({ nth }) => nth)).toEqual([1]);
    expect(slicesOf(day, 5, 5)).toEqual([]);
  });

  test("only what is missing has to be asked for, and what was wanted longest ago is dropped", () => {
    const slices = new Slices(2);
    const [a, b, c] = [0, 1, 2].map((nth) => ({ day, nth }));
    if (a === undefined || b === undefined || c === undefined) throw new Error("no slices");
    expect(slices.want([a, b])).toEqual([a, b]);
    slices.put(a, [frame("a")]);
    slices.put(b, [frame("b")]);
    expect(slices.want([a])).toEqual([]);
    slices.put(c, [frame("c")]);
    expect(slices.size).toBe(2);
    expect([0, 1, 2].map((nth) => slices.frame(day, nth * sliceFrames)?.id)).toEqual(["a", undefined, "c"]);
  });

  test("a doubted day is shown as it was and asked for anew, and no other is", () => {
    const slices = new Slices();
    const mine = { day, nth: 0 };
    const other = { day: "2027-06-04", nth: 0 };
    slices.put(mine, [frame("a")]);
    slices.put(other, [frame("b")]);
    slices.doubt((each) => each === day);
    expect(slices.frame(day, 0)?.id).toBe("a");
    expect(slices.want([mine, other])).toEqual([mine]);
    slices.put(mine, [frame("c")]);
    expect(slices.want([mine, other])).toEqual([]);
    expect(slices.frame(day, 0)?.id).toBe("c");
  });

  test("ratings that are still being read are asked for again by themselves, and shown meanwhile as they were", async () => {
    vi.useFakeTimers();
    const answers = [
      { from: 0, total: 1, frames: [frame("a")], reading: true },
      { from: 0, total: 1, frames: [{ ...frame("a"), rating: 4 }], reading: false },
    ];
    const asked = vi.fn(async () => new Response(JSON.stringify(answers.shift())));
    vi.stubGlobal("fetch", asked);
    const store = new FrameStore("kc", () => undefined);
    try {
      store.want([{ day, nth: 0 }]);
      await vi.advanceTimersByTimeAsync(0);
      expect(store.frame(day, 0)?.rating).toBe(null);
      await vi.advanceTimersByTimeAsync(60_000);
      expect(store.frame(day, 0)?.rating).toBe(4);
      expect(asked).toHaveBeenCalledTimes(2);
    } finally {
      store.end();
      vi.unstubAllGlobals();
      vi.useRealTimers();
    }
  });

  test("what becomes known of one frame changes that frame only", () => {
    const slices = new Slices();
    slices.put({ day, nth: 0 }, [frame("a"), frame("b")]);
    expect(slices.change(new Map([["nobody", { rating: 1 }]]))).toBe(false);
    expect(slices.change(new Map([["b", { rating: 4, picture: "ready" as const }]]))).toBe(true);
    expect([slices.frame(day, 0), slices.frame(day, 1)]).toEqual([
      frame("a"),
      { ...frame("b"), rating: 4, picture: "ready" },
    ]);
  });
});

describe("wishes for pictures", () => {
  beforeEach(() => void vi.useFakeTimers());
  afterEach(() => void vi.useRealTimers());

  function wishes(answer: (id: string) => PictureState) {
    const asked: string[] = [];
    const told: string[] = [];
    const made = new PictureWishes(
      "sheet",
      async (frames) => {
        asked.push(frames.join(" "));
        return { states: frames.map((id) => ({ id, picture: answer(id) })) };
      },
      (states) => told.push([...states].map(([id, state]) => `${id} ${state}`).join(", ")),
    );
    return { made, asked, told };
  }

  test("what flies by is asked for once, as it stands when it is calm", async () => {
    const { made, asked } = wishes(() => "ready");
    made.want(["a"]);
    await vi.advanceTimersByTimeAsync(100);
    made.want(["a", "b"]);
    await vi.advanceTimersByTimeAsync(100);
    made.want(["c"]);
    await vi.advanceTimersByTimeAsync(5_000);
    expect(asked).toEqual(["c"]);
  });

  test("what is being made is asked after until it is there, and nothing after that", async () => {
    let tries = 0;
    const { made, asked, told } = wishes(() => {
      tries += 1;
      return tries < 3 ? "waiting" : "ready";
    });
    made.want(["a"]);
    await vi.advanceTimersByTimeAsync(10_000);
    expect(asked).toEqual(["a", "a", "a"]);
    expect(told.at(-1)).toBe("a ready");
  });

  test("a frame that has none or is away is asked for once", async () => {
    const { made, asked } = wishes((id) => (id === "a" ? "none" : "away"));
    made.want(["a", "b"]);
    await vi.advanceTimersByTimeAsync(10_000);
    expect(asked).toEqual(["a b"]);
  });

  test("an answer that fails is asked for again, and nothing after the end", async () => {
    let asked = 0;
    const made = new PictureWishes(
      "large",
      async () => {
        asked += 1;
        throw new Error("the daemon is gone");
      },
      () => undefined,
    );
    made.want(["a"]);
    await vi.advanceTimersByTimeAsync(2_000);
    expect(asked).toBeGreaterThan(1);
    made.end();
    const before = asked;
    made.want(["b"]);
    await vi.advanceTimersByTimeAsync(5_000);
    expect(asked).toBe(before);
  });
});
