/** A trip while it is typed: nothing typed is lost, whatever order answers come in and whether they come at all. */

import { setTimeout as sleep } from "node:timers/promises";
import { describe, expect, test } from "vitest";
import { changeProfile } from "../../daemon/core/profileEdit.ts";
import { emptyProfile, formOf } from "../../daemon/core/profileForm.ts";
import type { ProfileChangeJson, ProfileCheckJson, ProfileFormJson } from "../../shared/tripsApi.ts";
import {
  beginDraft,
  changedForm,
  type DraftStore,
  isChanged,
  keepDraft,
  keptDraft,
  lineSpan,
  placeFaults,
  withChanges,
  withText,
} from "../../tray/page/trips/draft.ts";
import { TripEditor } from "../../tray/page/trips/tripEditor.ts";

const text = emptyProfile(["Blue", "Slate"]);
const formIn = (profile: string): ProfileFormJson => {
  const form = formOf(profile);
  if (form === undefined) throw new Error("no form");
  return form;
};

describe("the form before the answer", () => {
  const changes: readonly (readonly ProfileChangeJson[])[] = [
    [{ key: "trip", value: "Kestrel Cliffs" }],
    [{ key: "day-starts", value: "04:00" }],
    [{ key: "names", value: null }],
    [{ key: "drives[1].place", value: "car" }],
    [{ key: "drives[0]", value: null }],
    [
      { key: "drives[1].name", value: "Rust" },
      { key: "drives[1].role", value: "further" },
    ],
    [
      { key: "bodies[0].serial", value: "0012" },
      { key: "bodies[0].video-time", value: "body" },
    ],
    [
      { key: "goal.copies", value: "2" },
      { key: "goal.places", value: "1" },
    ],
    [{ key: "worth", value: "unrepeatable" }],
    [{ key: "after.eject-card", value: true }],
    [
      { key: "archive.folder", value: "/archive" },
      { key: "archive.tree", value: "{trip}" },
    ],
    [{ key: "archive.folder", value: null }],
  ];

  test("shows what the text will say once the change is in it", () => {
    let profile = text;
    let form = formIn(text);
    for (const change of changes) {
      profile = changeProfile(profile, change) ?? "";
      form = changedForm(form, change);
      expect(form, JSON.stringify(change)).toEqual(formIn(profile));
    }
  });
});

describe("changes that wait", () => {
  test("what is typed into one field is one change, but never one that was sent already", () => {
    const type = (value: string) => [{ key: "trip", value }];
    const typed = withChanges(withChanges(beginDraft(null, null, text), type("K"), 0), type("Ke"), 0);
    expect(typed.waiting).toEqual(type("Ke"));
    const more = withChanges(typed, type("Kes"), 1);
    expect(more.waiting).toEqual([...type("Ke"), ...type("Kes")]);
    expect(withText(more, "trip: Ke", 1).waiting).toEqual(type("Kes"));
  });

  test("taking the same entry away twice takes two away", () => {
    const gone: ProfileChangeJson = { key: "drives[0]", value: null };
    expect(withChanges(withChanges(beginDraft(null, null, text), [gone], 0), [gone], 0).waiting).toHaveLength(
      2,
    );
  });
});

describe("faults", () => {
  const fault = (key: string) => ({
    severity: "error" as const,
    line: 1,
    column: 1,
    key,
    what: "no",
    allowed: "yes",
  });

  test("stand beside the field of their key, those of a whole beside its first, all others on top", () => {
    const keys = [
      "drives[1].role",
      "drives[7].role",
      "goal",
      "archive",
      "colour",
      "",
      "drives",
      "drives[0]",
      "drives[0].x",
    ];
    const { beside, onTop } = placeFaults(keys.map(fault), formIn(text));
    expect([...beside.keys()]).toEqual(["drives[1].role", "worth", "archive.folder", "drives", "drives[0]"]);
    expect(onTop.map(({ key }) => key)).toEqual(["drives[7].role", "colour", "", "drives[0].x"]);
    expect(placeFaults([fault("trip")], null).onTop).toHaveLength(1);
  });

  test("a line is found in the text, the last one and one past the end too", () => {
    expect(lineSpan("ab\ncde\nf", 2)).toEqual({ start: 3, end: 6 });
    expect(lineSpan("ab\ncde\nf", 3)).toEqual({ start: 7, end: 8 });
    expect(lineSpan("ab", 9)).toEqual({ start: 0, end: 2 });
  });
});

describe("what is kept in the window", () => {
  const store = (): DraftStore & { readonly held: Map<string, string> } => {
    const held = new Map<string, string>();
    return {
      held,
      getItem: (key) => held.get(key) ?? null,
      setItem: (key, value) => void held.set(key, value),
      removeItem: (key) => void held.delete(key),
    };
  };

  test("a changed draft comes back with what waits; one as it was saved isn't kept", () => {
    const window = store();
    const draft = withChanges(beginDraft("kc", "5a", text), [{ key: "code", value: "KC" }], 0);
    keepDraft(window, "kc/", draft);
    expect(keptDraft(window, "kc/")).toEqual(draft);
    expect(keptDraft(window, "new/")).toBeUndefined();
    keepDraft(window, "kc/", beginDraft("kc", "5a", text));
    expect(window.held.size).toBe(0);
  });

  test("what isn't a draft is none", () => {
    const window = store();
    for (const value of ["", "{", "null", "1", "{}", '{"text":"a","saved":"b"}']) {
      window.setItem("trip kc/", value);
      expect(keptDraft(window, "kc/")).toBeUndefined();
    }
  });
});

/** A daemon that answers when the test says so. */
class SlowDaemon {
  readonly asked: string[] = [];
  silent = false;
  #answer: (() => void) | undefined;

  readonly questions = {
    edit: (profile: string, changes: readonly ProfileChangeJson[]) =>
      this.#later(
        `edit ${changes.map(({ value }) => value).join(" ")}`,
        () => changeProfile(profile, changes) ?? "",
      ),
    check: (profile: string): Promise<ProfileCheckJson> =>
      this.#later(`check ${formOf(profile)?.trip}`, () => ({
        valid: true,
        faults: [],
        form: formOf(profile) ?? null,
        examples: [],
      })),
  };

  async answers(): Promise<void> {
    while (this.#answer === undefined) await sleep(5);
    const answer = this.#answer;
    this.#answer = undefined;
    answer();
    await sleep(1);
  }

  #later<T>(what: string, value: () => T): Promise<T> {
    this.asked.push(what);
    if (this.silent) return Promise.reject(new Error("The daemon doesn't answer."));
    return new Promise((resolve) => {
      this.#answer = () => resolve(value());
    });
  }
}

describe("typing while the daemon answers", () => {
  test("keys that are pressed meanwhile are sent after, and the form never falls back", async () => {
    const daemon = new SlowDaemon();
    const seen: (string | undefined)[] = [];
    const editor = new TripEditor(beginDraft(null, null, text), daemon.questions, ({ form }) => {
      seen.push(form?.trip);
    });
    await daemon.answers();
    editor.change([{ key: "trip", value: "K" }]);
    const settled = editor.settle();
    editor.change([{ key: "trip", value: "Ke" }]);
    editor.change([{ key: "trip", value: "Kes" }]);
    for (let answers = 0; answers < 3; answers += 1) await daemon.answers();
    await settled;
    expect(daemon.asked).toEqual(["check ", "edit K", "edit Kes", "check Kes"]);
    expect(formOf(editor.state.draft.text)?.trip).toBe("Kes");
    expect([...new Set(seen)]).toEqual(["", "K", "Ke", "Kes"]);
    expect(editor.isChanged).toBe(true);
    editor.stop();
  });

  test("an answer about a text that was written over is dropped", async () => {
    const daemon = new SlowDaemon();
    const editor = new TripEditor(beginDraft(null, null, text), daemon.questions, () => undefined);
    editor.write("trip: Heron Marsh\n");
    await daemon.answers();
    expect(editor.state.check).toBeUndefined();
    await daemon.answers();
    expect(editor.state.check?.form?.trip).toBe("Heron Marsh");
    editor.change([{ key: "trip", value: "Old" }]);
    const settled = editor.settle();
    editor.write("trip: New\n");
    await daemon.answers();
    await daemon.answers();
    await settled;
    expect(editor.state.draft).toMatchObject({ text: "trip: New\n", waiting: [] });
    editor.stop();
  });

  test("a daemon that doesn't answer costs nothing that was typed", async () => {
    const daemon = new SlowDaemon();
    daemon.silent = true;
    const editor = new TripEditor(beginDraft(null, null, text), daemon.questions, () => undefined);
    editor.change([{ key: "trip", value: "Kestrel Cliffs" }]);
    await editor.settle();
    expect(editor.state.problem?.message).toBe("The daemon doesn't answer.");
    expect(isChanged(editor.state.draft)).toBe(true);
    daemon.silent = false;
    const settled = editor.settle();
    await daemon.answers();
    await daemon.answers();
    await settled;
    expect(editor.state.problem).toBeUndefined();
    expect(formOf(editor.state.draft.text)?.trip).toBe("Kestrel Cliffs");
    editor.stop();
  });
});
