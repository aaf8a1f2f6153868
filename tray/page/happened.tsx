/** What happened, latest first: what was seen, decided and said, for whoever wants to know why. Loaded when asked. */

import { useEffect, useState } from "preact/hooks";
import type { HappenedJson } from "../../shared/api.ts";
import { counted } from "../../shared/format.ts";
import { fullDay } from "../../shared/moments.ts";
import { Act } from "./act.tsx";
import { csvOf } from "./csv.ts";
import { ask, Refused } from "./daemon.ts";
import { Words } from "./words.tsx";

export function Happened() {
  const [events, setEvents] = useState<readonly HappenedJson[]>([]);
  const [begun, setBegun] = useState<"asking" | "more" | "all">("asking");
  const [kind, setKind] = useState("");
  const [refusal, setRefusal] = useState<Refused | undefined>(undefined);

  const look = async () => {
    const latest = await ask<readonly HappenedJson[]>("/v1/happened");
    setEvents(latest);
    setBegun(latest.length === 0 ? "all" : "more");
  };
  const earlier = async () => {
    const first = events.at(-1)?.number;
    const more = await ask<readonly HappenedJson[]>(`/v1/happened?before=${first ?? ""}`);
    setEvents([...events, ...more]);
    if (more.length === 0) setBegun("all");
  };
  useEffect(() => {
    look().catch((failure: unknown) => {
      if (failure instanceof Refused) setRefusal(failure);
      else throw failure;
    });
  }, []);

  const kinds = [...new Set(events.map((event) => event.kind))].sort();
  // A kind that isn't among what was loaded anew would hide everything.
  const chosen = kinds.includes(kind) ? kind : "";
  const shown = events.filter((event) => chosen === "" || event.kind === chosen);
  return (
    <>
      <h1>What happened</h1>
      {refusal === undefined ? null : (
        <p class="advice" role="alert">
          <Words text={`${refusal.message} ${refusal.next}`} />
        </p>
      )}
      <div class="acts">
        <label>
          About{" "}
          <select value={chosen} onChange={(event) => setKind(event.currentTarget.value)}>
            <option value="">everything</option>
            {kinds.map((each) => (
              <option key={each} value={each}>
                {each}
              </option>
            ))}
          </select>
        </label>
        <Act name="Look again" run={look} />
        <button type="button" onClick={() => save("scrubjay-happened.csv", csvOf(shown))}>
          Save as CSV
        </button>
      </div>
      <p class="small" role="status">
        {begun === "asking" ? "Asking the daemon …" : counted(shown.length, "entry", "entries")}
      </p>
      <table class="happened">
        <thead>
          <tr>
            <th scope="col">When</th>
            <th scope="col">About</th>
            <th scope="col">What</th>
          </tr>
        </thead>
        {byDay(shown).map(([day, those]) => (
          <tbody key={day}>
            <tr>
              <th scope="rowgroup" colSpan={3}>
                {fullDay(day)}
              </th>
            </tr>
            {those.map(({ number, at, kind: about, text }) => (
              <tr key={number} class="event">
                <td>
                  <time dateTime={at}>{at.slice(11, 16)}</time>
                </td>
                <td>{about}</td>
                <td>
                  <Words text={text} />
                </td>
              </tr>
            ))}
          </tbody>
        ))}
      </table>
      {begun === "all" ? <p class="small">Nothing is known from before.</p> : null}
      {begun === "more" ? (
        <p class="acts">
          <Act name="Earlier" run={earlier} />
        </p>
      ) : null}
    </>
  );
}

/** Their days in the trip's zone, in the order they come; a clock that was set back gives no day twice. */
function byDay(events: readonly HappenedJson[]): readonly (readonly [string, readonly HappenedJson[]])[] {
  const days = new Map<string, HappenedJson[]>();
  for (const event of events) {
    const day = event.at.slice(0, 10);
    const those = days.get(day);
    if (those === undefined) days.set(day, [event]);
    else those.push(event);
  }
  return [...days];
}

/** Hands a text to the browser as a file to keep. */
function save(name: string, text: string): void {
  const address = URL.createObjectURL(new Blob([text], { type: "text/csv;charset=utf-8" }));
  const link = document.createElement("a");
  link.href = address;
  link.download = name;
  link.click();
  // The browser has taken it by the next turn of its loop.
  setTimeout(() => URL.revokeObjectURL(address), 0);
}
