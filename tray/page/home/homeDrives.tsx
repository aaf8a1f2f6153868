/**
 * Which drives may be reused after a homecoming, with what is to be known before, and freeing one of the trip. It can't be
 * undone, so it is asked for twice, in place.
 */

import { useLayoutEffect, useRef, useState } from "preact/hooks";
import type { DriveRetiredJson, HomeDriveJson, ReceiptJson } from "../../../shared/homeApi.ts";
import { fullMoment } from "../../../shared/moments.ts";
import { printable } from "../../../shared/text.ts";
import { Act } from "../act.tsx";
import { change } from "../daemon.ts";
import { Seed } from "../seed.tsx";
import { Words } from "../words.tsx";

export function HomeDrives({
  receipt,
  changed,
}: {
  readonly receipt: ReceiptJson;
  readonly changed: () => void;
}) {
  if (receipt.drives.length === 0) return null;
  const free = receipt.drives.some((drive) => drive.mayBeReused);
  return (
    <>
      <h2>The drives</h2>
      <ul class="drives">
        {receipt.drives.map((drive) => (
          <HomeDrive
            key={drive.drive}
            drive={drive}
            mayFree={drive.mayBeReused && !drive.retired && receipt.complete && !receipt.rehearsal}
            changed={changed}
          />
        ))}
      </ul>
      {free ? (
        <p class="small reuse">
          As of {fullMoment(receipt.ended)}. <Words text={receipt.cautions} />
        </p>
      ) : null}
    </>
  );
}

function HomeDrive({
  drive,
  mayFree,
  changed,
}: {
  readonly drive: HomeDriveJson;
  readonly mayFree: boolean;
  readonly changed: () => void;
}) {
  const [freed, setFreed] = useState(false);
  const name = printable(drive.drive, 40);
  const retired = drive.retired || freed;
  const sign = drive.mayBeReused || drive.retired ? "verified" : "owed";
  return (
    <li>
      <p class={`cell ${sign}`}>
        <Seed sign={sign} />
        <span>
          <strong>{name}</strong>{" "}
          {drive.mayBeReused ? (
            "may be reused."
          ) : drive.retired ? (
            "was freed of the trip."
          ) : (
            <>
              must be kept. <Words text={drive.why} />
            </>
          )}
        </span>
      </p>
      <p role="status">
        {retired ? `${name} is freed of the trip: nothing more of it is copied there.` : ""}
      </p>
      {mayFree && !retired ? (
        <Free
          drive={drive.drive}
          freed={() => {
            setFreed(true);
            changed();
          }}
        />
      ) : null}
    </li>
  );
}

/** The first press says what it means, the second does it. */
function Free({ drive, freed }: { readonly drive: string; readonly freed: () => void }) {
  const [sure, setSure] = useState<"unasked" | "asked" | "kept">("unasked");
  const question = useRef<HTMLParagraphElement>(null);
  const first = useRef<HTMLButtonElement>(null);
  const name = printable(drive, 40);
  useLayoutEffect(() => {
    if (sure === "asked") question.current?.focus();
    if (sure === "kept") first.current?.focus();
  }, [sure]);
  if (sure !== "asked")
    return (
      <p class="acts">
        <button type="button" ref={first} onClick={() => setSure("asked")}>
          Free {name} of this trip …
        </button>
      </p>
    );
  return (
    <>
      <p class="question" tabIndex={-1} ref={question}>
        Nothing on {name} is erased. Its copies of the trip count no more, and nothing more of the trip is
        copied there. This can't be undone.
      </p>
      <p class="acts">
        <Act
          name={`Free ${name} now`}
          run={async () => {
            await change<DriveRetiredJson>("/v1/drives/retire", { name: drive });
            freed();
          }}
        />
        <button type="button" onClick={() => setSure("kept")}>
          Leave it as it is
        </button>
      </p>
    </>
  );
}
