/** A button that asks the daemon to do something, and says in the daemon's own words when it won't. */

import { useState } from "preact/hooks";
import { Refused } from "./daemon.ts";
import { Words } from "./words.tsx";

export function Act({
  name,
  label,
  main = false,
  run,
}: {
  readonly name: string;
  /** For screen readers, where the name alone doesn't say what it is about; begins with the name. */
  readonly label?: string;
  /** The one filled button of a screen. */
  readonly main?: boolean;
  readonly run: () => Promise<unknown>;
}) {
  const [busy, setBusy] = useState(false);
  const [refusal, setRefusal] = useState<Refused | undefined>(undefined);
  const act = async () => {
    setBusy(true);
    setRefusal(undefined);
    try {
      await run();
    } catch (failure) {
      if (!(failure instanceof Refused)) throw failure;
      setRefusal(failure);
    } finally {
      setBusy(false);
    }
  };
  return (
    <>
      <button
        type="button"
        class={main ? "main" : undefined}
        aria-label={label}
        aria-disabled={busy}
        onClick={() => {
          if (!busy) void act();
        }}
      >
        {name}
      </button>
      {refusal === undefined ? null : (
        <span class="refusal" role="alert">
          <Words text={`${refusal.message} ${refusal.next}`} />
        </span>
      )}
    </>
  );
}
