/** A trip's profile as a form. Each change is one value of the profile's text; what is said nowhere stays unsaid. */

import { useMemo } from "preact/hooks";
import type { StatusJson } from "../../../shared/api.ts";
import type { ExampleJson } from "../../../shared/tripsApi.ts";
import { BodiesPart } from "./bodiesPart.tsx";
import { DrivesPart } from "./drivesPart.tsx";
import { Examples } from "./examples.tsx";
import { ChoiceField, Faults, type FieldProps, TextField } from "./field.tsx";
import { type FormPartProps, optional, zonesList } from "./formPart.ts";

export function ProfileForm({
  status,
  examples,
  ...part
}: FormPartProps & { readonly status: StatusJson; readonly examples: readonly ExampleJson[] }) {
  return (
    <form class="profile" onSubmit={(event) => event.preventDefault()}>
      <TripPart {...part} />
      <GoalPart {...part} />
      <DrivesPart {...part} status={status} />
      <BodiesPart {...part} />
      <NamesPart {...part} examples={examples} />
      <AfterPart {...part} />
      <Zones />
    </form>
  );
}

function TripPart({ form, faultsAt, change }: FormPartProps) {
  const text = (key: string, value: string) => ({
    value,
    faults: faultsAt(key),
    onValue: (next: string) => change({ key, value: next }),
  });
  return (
    <section aria-labelledby="part-trip">
      <h2 id="part-trip">The trip</h2>
      <div class="fields">
        <TextField label="Name" hint="Also the folder's name on every drive." {...text("trip", form.trip)} />
        <TextField label="Code" hint="Short, for file names, such as KC." {...text("code", form.code)} />
        <TextField label="First day" type={dateType(form.from)} {...text("from", form.from)} />
        <TextField
          label="Last day"
          hint="It belongs to the trip."
          type={dateType(form.to)}
          {...text("to", form.to)}
        />
        <TextField
          label="Time zone"
          hint="Of the trip's days, such as Atlantic/Faroe."
          list={zonesList}
          {...text("zone", form.zone)}
        />
        <TextField
          label="A day starts at"
          hint="A night shoot belongs to the evening before. Empty: 00:00."
          {...text("day-starts", form.dayStarts)}
          onValue={(value) => change(optional("day-starts", value))}
        />
      </div>
    </section>
  );
}

/** The browser's own way to choose a day, where what is written is one. */
function dateType(value: string): "date" | "text" {
  return value === "" || /^\d{4}-\d{2}-\d{2}$/.test(value) ? "date" : "text";
}

const ownNumbers = "numbers";

function GoalPart({ form, faultsAt, change }: FormPartProps) {
  const numbers = form.copies !== "" || form.places !== "";
  const choose = (value: string) => {
    if (value !== ownNumbers) return change({ key: "worth", value });
    const unrepeatable = form.worth === "unrepeatable";
    change(
      { key: "goal.copies", value: unrepeatable ? "3" : "2" },
      { key: "goal.places", value: unrepeatable ? "2" : "1" },
    );
  };
  return (
    <section aria-labelledby="part-goal">
      <h2 id="part-goal">How many copies</h2>
      <div class="fields">
        <ChoiceField
          label="What it is worth"
          value={numbers ? ownNumbers : form.worth}
          faults={faultsAt("worth")}
          choices={[
            ["ordinary", "ordinary: 2 copies"],
            ["unrepeatable", "unrepeatable: 3 copies in 2 places"],
            [ownNumbers, "numbers of my own"],
          ]}
          onValue={choose}
        />
        {numbers ? (
          <>
            <TextField
              label="Copies"
              hint="So many drives hold each frame."
              value={form.copies}
              faults={faultsAt("goal.copies")}
              onValue={(value) => change({ key: "goal.copies", value })}
            />
            <TextField
              label="Places"
              hint="Kept in so many places."
              value={form.places}
              faults={faultsAt("goal.places")}
              onValue={(value) => change(optional("goal.places", value))}
            />
          </>
        ) : null}
      </div>
    </section>
  );
}

function NamesPart({
  form,
  faultsAt,
  change,
  examples,
}: FormPartProps & { readonly examples: readonly ExampleJson[] }) {
  return (
    <section aria-labelledby="part-names">
      <h2 id="part-names">Folders and names</h2>
      <p class="hint">
        Fields: trip, code, day, taken, body, serial, model, number, original, count, card; in braces, with a
        pattern where wished, such as <code>{"{day:yyyyMMdd}"}</code> or <code>{"{count:0000}"}</code>.
      </p>
      <div class="fields two">
        <TextField
          label="Folders"
          hint="They begin with {trip}. Empty: {trip}/{day}."
          code
          value={form.folders}
          faults={faultsAt("folders")}
          onValue={(value) => change(optional("folders", value))}
        />
        <TextField
          label="Names"
          hint="The extension is kept."
          code
          value={form.names}
          faults={faultsAt("names")}
          onValue={(value) => change(optional("names", value))}
        />
      </div>
      <Examples examples={examples} />
    </section>
  );
}

function AfterPart({ form, faultsAt, change }: FormPartProps) {
  return (
    <section aria-labelledby="part-after">
      <h2 id="part-after">Afterwards</h2>
      <div class="fields two">
        <div class="field whole">
          <label class="switch">
            <input
              type="checkbox"
              checked={form.ejectCard}
              aria-invalid={faultsAt("after.eject-card").length > 0}
              onChange={(event) => change({ key: "after.eject-card", value: event.currentTarget.checked })}
            />
            Eject a card by itself when it is clear to format
          </label>
          <Faults faults={faultsAt("after.eject-card")} />
        </div>
        <TextField
          label="Archive at home"
          hint="A folder, such as /archive. Empty: not said."
          code
          value={form.archiveFolder}
          faults={faultsAt("archive.folder")}
          onValue={(value) => change(optional("archive.folder", value))}
        />
        <TextField
          label="Folders in the archive"
          hint="Empty: {taken:yyyy}/{trip}."
          code
          value={form.archiveTree}
          faults={faultsAt("archive.tree")}
          onValue={(value) => change(optional("archive.tree", value))}
        />
        <OneField
          label="Second archive"
          hint="Another folder that gets all of it. Empty: none."
          many="Folders of further archives are listed in the text, and changed there."
          value={form.archiveAlso}
          faults={faultsAt("archive.also")}
          onValue={(value) => change(optional("archive.also", value))}
        />
        <OneField
          label="Work files to leave out"
          hint="A pattern, such as Catalogue/Previews/**. Empty: none."
          many="Patterns of work files to leave out are listed in the text, and changed there."
          value={form.leaveOut}
          faults={faultsAt("edits.leave-out")}
          onValue={(value) => change(optional("edits.leave-out", value))}
        />
        <TextField
          label="Room for earlier versions"
          hint="Of each drive. Empty: 5 %."
          value={form.historyShare}
          faults={faultsAt("edits.history")}
          onValue={(value) => change(optional("edits.history", value))}
        />
      </div>
    </section>
  );
}

/** What may be one or a list: a list is shown and changed in the text only. */
function OneField({
  value,
  many,
  ...field
}: Omit<FieldProps, "value"> & { value: string | null; many: string }) {
  if (value !== null) return <TextField {...field} code value={value} />;
  return (
    <div class="field">
      <p class="small">{many}</p>
      <Faults faults={field.faults} />
    </div>
  );
}

/** The zones this browser knows, and those it knows only by an earlier name (tz database, file `backward`, 2025). */
function Zones() {
  const zones = useMemo(() => {
    const renamed = [
      "UTC",
      "America/Nuuk",
      "Asia/Kolkata",
      "Asia/Kathmandu",
      "Atlantic/Faroe",
      "Europe/Kyiv",
    ];
    return [...new Set([...Intl.supportedValuesOf("timeZone"), ...renamed])].sort();
  }, []);
  return (
    <datalist id={zonesList}>
      {zones.map((zone) => (
        <option key={zone} value={zone} />
      ))}
    </datalist>
  );
}
