/** The drives that take part in a trip, and whether each has been introduced; one that hasn't is introduced from here. */

import { useState } from "preact/hooks";
import type { DriveStatusJson, StatusJson } from "../../../shared/api.ts";
import { nameKey } from "../../../shared/identity.ts";
import { printable } from "../../../shared/text.ts";
import { ChoiceField, Faults, TextField } from "./field.tsx";
import { type FormPartProps, optional } from "./formPart.ts";
import { Plugged } from "./introduce.tsx";

const roles = [
  ["primary", "primary"],
  ["secondary", "secondary"],
  ["further", "further"],
] as const;

export function DrivesPart(props: FormPartProps & { readonly status: StatusJson }) {
  const { form, faultsAt, change, status } = props;
  const next = form.drives.length;
  const add = () =>
    change(
      { key: `drives[${next}].name`, value: "" },
      { key: `drives[${next}].role`, value: roles[Math.min(next, 2)]?.[0] ?? "further" },
    );
  return (
    <section aria-labelledby="part-drives">
      <h2 id="part-drives">Drives</h2>
      <p class="hint">
        The primary drive is copied to first. A place is where the drive is kept, such as on me, room safe or
        car: it tells which copies would be lost together.
      </p>
      <Faults faults={faultsAt("drives")} />
      {form.drives.map((drive, at) => (
        // The place in the list is what tells one line from another.
        <fieldset key={at} class="entry">
          <legend>Drive {at + 1}</legend>
          <Faults faults={faultsAt(`drives[${at}]`)} />
          <div class="fields">
            <TextField
              label="Name"
              value={drive.name}
              faults={faultsAt(`drives[${at}].name`)}
              onValue={(value) => change({ key: `drives[${at}].name`, value })}
            />
            <ChoiceField
              label="Role"
              choices={roles}
              value={drive.role}
              faults={faultsAt(`drives[${at}].role`)}
              onValue={(value) => change({ key: `drives[${at}].role`, value })}
            />
            <TextField
              label="Place"
              value={drive.place}
              faults={faultsAt(`drives[${at}].place`)}
              onValue={(value) => change(optional(`drives[${at}].place`, value))}
            />
          </div>
          <div class="acts">
            <button type="button" onClick={() => change({ key: `drives[${at}]`, value: null })}>
              Take out <span class="hidden">drive {at + 1}</span>
            </button>
            <Known name={drive.name} drives={status.drives} />
          </div>
        </fieldset>
      ))}
      <p class="acts">
        <button type="button" onClick={add}>
          Add a drive
        </button>
      </p>
    </section>
  );
}

function Known({ name, drives }: { readonly name: string; readonly drives: readonly DriveStatusJson[] }) {
  const [open, setOpen] = useState(false);
  const known = drives.find((drive) => drive.id !== null && nameKey(drive.name) === nameKey(name));
  if (name.trim() === "") return null;
  const shown = printable(name, 40);
  if (known !== undefined)
    return (
      <span role="status" class="known">
        {shown} is a known drive{known.present ? ", plugged in" : ", not plugged in"}.
      </span>
    );
  return (
    <>
      <span>{shown} isn't introduced yet.</span>
      <button type="button" aria-expanded={open} onClick={() => setOpen(!open)}>
        Introduce {shown}
      </button>
      {open ? <Plugged drives={drives} as={name} /> : null}
    </>
  );
}
