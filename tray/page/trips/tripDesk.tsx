/** The two views of a trip's profile, the faults that no field has, and the row of what can be done. */

import { useEffect, useRef, useState } from "preact/hooks";
import type { StatusJson } from "../../../shared/api.ts";
import { counted } from "../../../shared/format.ts";
import type { ProfileFault } from "../../../shared/trip.ts";
import type { ProfileChangeJson } from "../../../shared/tripsApi.ts";
import { Act } from "../act.tsx";
import { placeFaults } from "./draft.ts";
import { Examples } from "./examples.tsx";
import { FaultWords } from "./field.tsx";
import { ProfileForm } from "./profileForm.tsx";
import { TextView } from "./textView.tsx";
import type { EditorState, TripEditor } from "./tripEditor.ts";

export function TripDesk({
  state,
  editor,
  status,
  isNew,
  said,
  restored,
  save,
  discard,
}: {
  readonly state: EditorState;
  readonly editor: TripEditor;
  readonly status: StatusJson;
  readonly isNew: boolean;
  readonly said: string;
  /** It was begun earlier and not saved. */
  readonly restored: boolean;
  readonly save: () => Promise<void>;
  readonly discard: () => Promise<void>;
}) {
  const [view, setView] = useState<"form" | "text">("form");
  const [tried, setTried] = useState(false);
  const [touched, setTouched] = useState<ReadonlySet<string>>(new Set());
  const desk = useRef<HTMLDivElement>(null);
  const { form, check, draft, problem } = state;
  const faults = check?.faults ?? [];
  const shown = isNew && !tried ? faults.filter((fault) => isDue(fault, touched)) : faults;
  const { beside, onTop } = placeFaults(shown, form);
  const errors = faults.filter((fault) => fault.severity === "error").length;
  const asText = view === "text" || (check !== undefined && form === null);

  useFirstFault(desk.current, tried);
  const edit = (...changes: readonly ProfileChangeJson[]) => {
    setTouched((before) => new Set([...before, ...changes.map(({ key }) => key)]));
    editor.change(changes);
  };
  const show = async (wanted: "form" | "text") => {
    await editor.settle();
    setView(wanted);
  };
  const trySave = async () => {
    await editor.settle();
    if (editor.state.problem !== undefined) return;
    setTried(true);
    if (editor.state.check?.valid === true) await save();
    else focusFirstFault(desk.current);
  };
  return (
    <div ref={desk}>
      {restored && editor.isChanged ? (
        <p class="advice">This was begun earlier and isn't saved yet. Nothing of it is lost.</p>
      ) : null}
      <p class="acts">
        <button type="button" aria-pressed={!asText} onClick={() => show("form")}>
          As a form
        </button>
        <button type="button" aria-pressed={asText} onClick={() => show("text")}>
          As text
        </button>
      </p>
      {check !== undefined && form === null && view === "form" ? (
        <p>The text can't be shown as a form. Mend what is marked, then the form is back.</p>
      ) : null}
      {asText || onTop.length === 0 ? null : <OnTop faults={onTop} />}
      {asText ? (
        <>
          <TextView text={draft.text} faults={faults} onText={(text) => editor.write(text)} />
          <Examples heading="h2" examples={check?.examples ?? []} />
        </>
      ) : form === null ? null : (
        <ProfileForm
          form={form}
          status={status}
          examples={check?.examples ?? []}
          faultsAt={(key) => beside.get(key) ?? []}
          change={edit}
        />
      )}
      {problem === undefined ? null : (
        <p class="refusal" role="alert">
          {problem.message} Nothing you typed is lost.
        </p>
      )}
      <div class="acts saving">
        <Act name="Save the trip" main run={trySave} />
        {editor.isChanged ? <Act name="Discard the changes" run={discard} /> : null}
        <span role="status">{tried && errors > 0 ? `${counted(errors, "fault")} to mend first.` : said}</span>
        {editor.isChanged ? (
          <span class="hint">You have unsaved changes. They stay in this window.</span>
        ) : null}
      </div>
    </div>
  );
}

function OnTop({ faults }: { readonly faults: readonly ProfileFault[] }) {
  return (
    <ul class="faults on-top">
      {faults.map((fault) => (
        <li key={`${fault.line} ${fault.column} ${fault.what}`} class={`fault fault-line ${fault.severity}`}>
          Line {fault.line}, column {fault.column}: <FaultWords fault={fault} />
        </li>
      ))}
    </ul>
  );
}

/** In a new trip nearly all is empty: what nobody has come to yet isn't called wrong before it is to be saved. */
function isDue(fault: ProfileFault, touched: ReadonlySet<string>): boolean {
  return touched.has(fault.key) || !/\b(is empty|is missing)$|^there is no value$/.test(fault.what);
}

/** After a try to save, whoever can't see the marks is led to the first one. */
function useFirstFault(desk: HTMLElement | null, tried: boolean): void {
  useEffect(() => {
    if (tried) focusFirstFault(desk);
  }, [desk, tried]);
}

function focusFirstFault(desk: HTMLElement | null): void {
  desk?.querySelector<HTMLElement>('[aria-invalid="true"]')?.focus();
}
