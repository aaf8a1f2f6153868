/**
 * One trip being described or changed: form and text of the same profile, what is wrong with it, what frames would be
 * called, saving. A draft is kept in this window until it is saved or discarded, so leaving the screen loses nothing.
 */

import { useEffect, useRef, useState } from "preact/hooks";
import type { StatusJson } from "../../../shared/api.ts";
import { printable } from "../../../shared/text.ts";
import type { ProfileCheckJson, TripEntryJson, TripSavedJson } from "../../../shared/tripsApi.ts";
import { addressOf } from "../address.ts";
import { ask, change, Refused } from "../daemon.ts";
import { Words } from "../words.tsx";
import { beginDraft, type Draft, forgetDraft, isChanged, keepDraft, keptDraft } from "./draft.ts";
import { TripDesk } from "./tripDesk.tsx";
import { type EditorState, TripEditor } from "./tripEditor.ts";

const questions = {
  edit: async (text: string, changes: unknown) =>
    (await change<{ readonly text: string }>("/v1/trips/edit", { text, changes })).text,
  check: (text: string, trip: string | null) => change<ProfileCheckJson>("/v1/trips/check", { text, trip }),
};

/** What was just saved, for the screen that opens next. */
let justSaved: string | undefined;

export function TripScreen({
  status,
  trip,
  copyOf,
}: {
  readonly status: StatusJson;
  /** null: a new one. */
  readonly trip: string | null;
  readonly copyOf: string | undefined;
}) {
  const at = `${trip ?? "new"}/${copyOf ?? ""}`;
  const editor = useRef<TripEditor | undefined>(undefined);
  const [state, setState] = useState<EditorState | undefined>(undefined);
  const [restored, setRestored] = useState(false);
  const [problem, setProblem] = useState<Refused | undefined>(undefined);
  const [isFresh] = useState(() => trip !== null && justSaved === trip);
  const [said, setSaid] = useState("");
  /** Counts how often it was begun anew. */
  const [round, setRound] = useState(0);

  const open = async (afresh: boolean) => {
    editor.current?.stop();
    if (afresh) forgetDraft(sessionStorage, at);
    const kept = keptDraft(sessionStorage, at);
    const draft = kept ?? (await freshDraft(trip, copyOf));
    setRestored(kept !== undefined);
    const opened = new TripEditor(draft, questions, (now) => {
      keepDraft(sessionStorage, at, now.draft);
      setState(now);
    });
    editor.current = opened;
    setState(opened.state);
  };
  useEffect(() => {
    justSaved = undefined;
    let ended = false;
    open(false).catch((failure) => {
      if (!(failure instanceof Refused)) throw failure;
      if (!ended) setProblem(failure);
    });
    return () => {
      ended = true;
      editor.current?.stop();
    };
  }, []);
  useGuard(state !== undefined && isChanged(state.draft));

  if (problem !== undefined)
    return (
      <>
        <h1>This trip can't be opened.</h1>
        <p class="advice">
          <Words text={`${problem.message} ${problem.next}`} />
        </p>
      </>
    );
  const editing = editor.current;
  if (state === undefined || editing === undefined) return <p class="small">Opening …</p>;

  const save = async () => {
    const { text, stamp } = editing.state.draft;
    const saved = await change<TripSavedJson>("/v1/trips", { trip, stamp, text });
    editing.saved(saved.id, saved.stamp, text);
    setRestored(false);
    if (!saved.isNew) return setSaid(savedWords);
    justSaved = saved.id;
    location.replace(addressOf("trips", saved.id));
  };
  return (
    <>
      <h1>{titleOf(trip, copyOf, state)}</h1>
      {isFresh && said === "" && !isChanged(state.draft) ? (
        <p class="advice" role="status">
          Saved. Introduce its drives next, below or on the Drives screen; then put a card in.
        </p>
      ) : null}
      <TripDesk
        key={round}
        state={state}
        editor={editing}
        status={status}
        isNew={trip === null}
        said={isChanged(state.draft) ? "" : said}
        restored={restored}
        save={save}
        discard={async () => {
          await open(true);
          setRound(round + 1);
        }}
      />
    </>
  );
}

const savedWords = "Saved. Cards that go in from now on are filed by it.";

function titleOf(trip: string | null, copyOf: string | undefined, { form }: EditorState): string {
  const name = form === null || form.trip === "" ? undefined : printable(form.trip, 60);
  if (trip !== null) return name ?? printable(trip, 60);
  return copyOf === undefined ? "A new trip" : "A new trip like an earlier one";
}

/** @throws Refused */
async function freshDraft(trip: string | null, copyOf: string | undefined): Promise<Draft> {
  if (trip === null) {
    const { text } = await change<{ readonly text: string }>("/v1/trips/begin", { copyOf: copyOf ?? null });
    return beginDraft(null, null, text);
  }
  const entry = (await ask<readonly TripEntryJson[]>("/v1/trips")).find((each) => each.id === trip);
  if (entry !== undefined) return beginDraft(entry.id, entry.stamp, entry.text);
  throw new Refused(`No trip is known as ${printable(trip, 60)}.`, "The list of trips shows those that are.");
}

/** The browser asks before the window is closed: the draft is kept in it and would go with it. */
function useGuard(changed: boolean): void {
  useEffect(() => {
    if (!changed) return;
    const guard = (event: BeforeUnloadEvent) => event.preventDefault();
    addEventListener("beforeunload", guard);
    return () => removeEventListener("beforeunload", guard);
  }, [changed]);
}
