/** One field of a form: what it is called, a short hint, and what is wrong with it, told to screen readers as well. */

import type { ComponentChildren, JSX } from "preact";
import { useId } from "preact/hooks";
import { printable } from "../../../shared/text.ts";
import type { ProfileFault } from "../../../shared/trip.ts";

export interface FieldProps {
  readonly label: string;
  readonly hint?: string | undefined;
  readonly faults: readonly ProfileFault[];
  readonly value: string;
  readonly onValue: (value: string) => void;
}

/** What the control inside a field is given. */
interface Control {
  readonly id: string;
  readonly "aria-describedby": string | undefined;
  readonly "aria-invalid": boolean;
}

export function TextField({
  type = "text",
  list,
  code = false,
  wide = false,
  ...field
}: FieldProps & {
  readonly type?: "text" | "date" | "number";
  /** The id of a `datalist`. */
  readonly list?: string;
  /** Set in the type of code. */
  readonly code?: boolean;
  readonly wide?: boolean;
}) {
  return (
    <Field {...field} wide={wide}>
      {(control) => (
        <input
          {...control}
          type={type}
          class={code ? "code" : undefined}
          list={list}
          value={field.value}
          autocomplete="off"
          spellcheck={false}
          dir="auto"
          onInput={(event) => field.onValue(event.currentTarget.value)}
        />
      )}
    </Field>
  );
}

export function ChoiceField({
  choices,
  ...field
}: FieldProps & { readonly choices: readonly (readonly [value: string, name: string])[] }) {
  const known = choices.some(([value]) => value === field.value);
  return (
    <Field {...field}>
      {(control) => (
        <select
          {...control}
          value={field.value}
          onChange={(event) => field.onValue(event.currentTarget.value)}
        >
          {known ? null : (
            <option value={field.value}>
              {field.value === "" ? "not said" : printable(field.value, 40)}
            </option>
          )}
          {choices.map(([value, name]) => (
            <option key={value} value={value}>
              {name}
            </option>
          ))}
        </select>
      )}
    </Field>
  );
}

function Field({
  label,
  hint,
  faults,
  wide = false,
  children,
}: Omit<FieldProps, "value" | "onValue"> & {
  readonly wide?: boolean;
  readonly children: (control: Control) => JSX.Element;
}) {
  const id = useId();
  const described = [hint === undefined ? "" : `${id}-hint`, faults.length === 0 ? "" : `${id}-faults`]
    .filter((each) => each !== "")
    .join(" ");
  return (
    <div class={wide ? "field whole" : "field"}>
      <label for={id}>{label}</label>
      {children({
        id,
        "aria-describedby": described === "" ? undefined : described,
        "aria-invalid": faults.some((fault) => fault.severity === "error"),
      })}
      {hint === undefined ? null : (
        <p class="hint" id={`${id}-hint`}>
          {hint}
        </p>
      )}
      <Faults id={`${id}-faults`} faults={faults} />
    </div>
  );
}

/** What is wrong, and what would be right. */
export function Faults({ id, faults }: { readonly id?: string; readonly faults: readonly ProfileFault[] }) {
  if (faults.length === 0) return null;
  return (
    <div id={id} class="faults">
      {faults.map((fault) => (
        <p key={`${fault.key} ${fault.what}`} class={`fault ${fault.severity}`}>
          <FaultWords fault={fault} />
        </p>
      ))}
    </div>
  );
}

export function FaultWords({ fault }: { readonly fault: ProfileFault }): ComponentChildren {
  const what = fault.what.charAt(0).toUpperCase() + fault.what.slice(1);
  return (
    <>
      {fault.severity === "warning" ? "Doubtful: " : ""}
      {what}
      {/[.?]$/.test(what) ? " " : ". "}
      <span class="allowed">Right would be: {fault.allowed}.</span>
    </>
  );
}
