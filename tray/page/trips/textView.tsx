/** A trip's profile as text, the file itself. Each fault says its line and column and leads there. */

import { useRef } from "preact/hooks";
import type { ProfileFault } from "../../../shared/trip.ts";
import { lineSpan } from "./draft.ts";
import { FaultWords } from "./field.tsx";

export function TextView({
  text,
  faults,
  onText,
}: {
  readonly text: string;
  readonly faults: readonly ProfileFault[];
  readonly onText: (text: string) => void;
}) {
  const area = useRef<HTMLTextAreaElement>(null);
  const jump = (line: number) => {
    const { start, end } = lineSpan(text, line);
    area.current?.focus();
    area.current?.setSelectionRange(start, end);
  };
  return (
    <section aria-label="The trip as text" class="as-text">
      {faults.length === 0 ? null : (
        <ul class="faults" id="text-faults">
          {faults.map((fault) => (
            <li
              key={`${fault.line} ${fault.column} ${fault.what}`}
              class={`fault fault-line ${fault.severity}`}
            >
              <button type="button" onClick={() => jump(fault.line)}>
                Line {fault.line}, column {fault.column}
              </button>
              <span>
                <FaultWords fault={fault} />
              </span>
            </li>
          ))}
        </ul>
      )}
      <label for="profile-text">The file, in YAML 1.2. Comments stay.</label>
      <textarea
        id="profile-text"
        ref={area}
        value={text}
        rows={Math.min(40, text.split("\n").length + 2)}
        spellcheck={false}
        autocomplete="off"
        aria-describedby={faults.length === 0 ? undefined : "text-faults"}
        aria-invalid={faults.some((fault) => fault.severity === "error")}
        onInput={(event) => onText(event.currentTarget.value)}
      />
    </section>
  );
}
