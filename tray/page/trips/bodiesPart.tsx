/** The camera bodies that are known beforehand: letter in names, error and zone of the clock. */

import { ChoiceField, Faults, TextField } from "./field.tsx";
import { type FormPartProps, optional, zonesList } from "./formPart.ts";

export function BodiesPart({ form, faultsAt, change }: FormPartProps) {
  return (
    <section aria-labelledby="part-bodies">
      <h2 id="part-bodies">Bodies</h2>
      <p class="hint">
        Needed only where a body's clock is wrong or shows another zone, or where it shall have a certain
        letter. Any other body gets the next free letter and is taken to show the trip's time.
      </p>
      <Faults faults={faultsAt("bodies")} />
      {form.bodies.map((body, at) => {
        const field = (key: string, value: string) => ({
          value,
          faults: faultsAt(`bodies[${at}].${key}`),
          onValue: (next: string) => change(optional(`bodies[${at}].${key}`, next)),
        });
        return (
          // The place in the list is what tells one line from another.
          <fieldset key={at} class="entry">
            <legend>Body {at + 1}</legend>
            <Faults faults={faultsAt(`bodies[${at}]`)} />
            <div class="fields">
              <TextField
                label="Serial number"
                {...field("serial", body.serial)}
                onValue={(value) => change({ key: `bodies[${at}].serial`, value })}
              />
              <TextField label="Letter" hint="A to Z, for names." {...field("letter", body.letter)} />
              <TextField
                label="Add to its clock"
                hint="Such as +00:03:20 for one that is slow."
                {...field("clock", body.clock)}
              />
              <TextField
                label="Its clock shows the zone"
                hint="Empty: the trip's."
                list={zonesList}
                {...field("zone", body.zone)}
              />
              <ChoiceField
                label="Films are dated in"
                choices={[
                  ["", "UTC by default"],
                  ["utc", "UTC"],
                  ["body", "its own time"],
                ]}
                {...field("video-time", body.videoTime)}
              />
            </div>
            <p class="acts">
              <button type="button" onClick={() => change({ key: `bodies[${at}]`, value: null })}>
                Take out <span class="hidden">body {at + 1}</span>
              </button>
            </p>
          </fieldset>
        );
      })}
      <p class="acts">
        <button
          type="button"
          onClick={() => change({ key: `bodies[${form.bodies.length}].serial`, value: "" })}
        >
          Add a body
        </button>
      </p>
    </section>
  );
}
