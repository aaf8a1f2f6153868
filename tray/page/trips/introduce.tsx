/**
 * What is plugged in, and making a volume a known drive from here. Cards are shown so that nobody looks for them, and
 * can't be chosen.
 */

import { useEffect, useId, useState } from "preact/hooks";
import type { DriveAddedJson, DriveStatusJson } from "../../../shared/api.ts";
import { formatBytes } from "../../../shared/format.ts";
import { printable } from "../../../shared/text.ts";
import type { VolumeJson } from "../../../shared/tripsApi.ts";
import { bytes } from "../../../shared/units.ts";
import { Act } from "../act.tsx";
import { ask, change, Refused } from "../daemon.ts";
import { Words } from "../words.tsx";

/** ms. A drive that is plugged in now is listed soon. */
const lookEvery = 2_000;

/** The section of the Drives screen. */
export function IntroduceDrive({ drives }: { readonly drives: readonly DriveStatusJson[] }) {
  return (
    <section class="drive" aria-labelledby="introduce">
      <h2 id="introduce" tabIndex={-1}>
        Introduce a drive
      </h2>
      <p>
        Introducing writes a drive's identity to it and nothing else. The command does the same:{" "}
        <code>scrubjay drive add MOUNT --name NAME</code>.
      </p>
      <Plugged drives={drives} />
    </section>
  );
}

/** @param as the name it gets; undefined lets one choose */
export function Plugged({
  drives,
  as,
}: {
  readonly drives: readonly DriveStatusJson[];
  readonly as?: string;
}) {
  const { volumes, problem, lookAgain } = usePlugged();
  const [said, setSaid] = useState("");
  const introduce = async (mount: string, name: string) => {
    const added = await change<DriveAddedJson>("/v1/drives", { mount, name });
    setSaid(`${printable(added.name, 40)} is a known drive now.`);
    lookAgain();
  };
  const unknown = drives.filter((drive) => drive.id === null).map((drive) => drive.name);
  return (
    <div class="plugged">
      {problem === undefined ? null : (
        <p class="refusal">
          <Words text={`${problem.message} ${problem.next}`} />
        </p>
      )}
      {volumes === undefined ? <p class="hint">Looking at what is plugged in …</p> : null}
      {volumes?.length === 0 ? <p>Nothing is plugged in. Plug the drive in; it appears here.</p> : null}
      <ul class="volumes">
        {volumes?.map((volume) => (
          <li key={volume.mount}>
            <VolumeLine volume={volume} unknown={unknown} as={as} introduce={introduce} />
          </li>
        ))}
      </ul>
      <p role="status">{said}</p>
    </div>
  );
}

function VolumeLine({
  volume,
  unknown,
  as,
  introduce,
}: {
  readonly volume: VolumeJson;
  /** Names of drives of the trip that nobody has introduced. */
  readonly unknown: readonly string[];
  readonly as: string | undefined;
  readonly introduce: (mount: string, name: string) => Promise<void>;
}) {
  const label = printable(volume.label === "" ? volume.mount : volume.label, 60);
  return (
    <>
      <p>
        <strong>{label}</strong> <span class="hint">{roomOf(volume)}</span>
        <span class="hint mount">{printable(volume.mount, 200)}</span>
      </p>
      {volume.what === "new" ? (
        <NewVolume volume={volume} label={label} unknown={unknown} as={as} introduce={introduce} />
      ) : (
        <p>{whatItIs(volume)}</p>
      )}
    </>
  );
}

const other = "";

function NewVolume({
  volume,
  label,
  unknown,
  as,
  introduce,
}: Parameters<typeof VolumeLine>[0] & { readonly label: string }) {
  const id = useId();
  const [chosen, setChosen] = useState<string | undefined>(undefined);
  const [typed, setTyped] = useState(volume.name);
  // The first name of the trip that is still free, until someone chooses.
  const choice =
    chosen !== undefined && (chosen === other || unknown.includes(chosen)) ? chosen : (unknown[0] ?? other);
  const name = as ?? (choice === other ? typed : choice);
  return (
    <div class="acts">
      {as !== undefined || unknown.length === 0 ? null : (
        <span class="field">
          <label for={`${id}-choice`}>{label} shall be</label>
          <select
            id={`${id}-choice`}
            value={choice}
            onChange={(event) => setChosen(event.currentTarget.value)}
          >
            {unknown.map((each) => (
              <option key={each} value={each}>
                {printable(each, 40)}
              </option>
            ))}
            <option value={other}>another name</option>
          </select>
        </span>
      )}
      {as !== undefined || choice !== other ? null : (
        <span class="field">
          <label for={`${id}-name`}>Name for {label}</label>
          <input
            id={`${id}-name`}
            type="text"
            value={typed}
            autocomplete="off"
            dir="auto"
            onInput={(event) => setTyped(event.currentTarget.value)}
          />
        </span>
      )}
      {name === "" ? null : (
        <Act
          name={`Introduce ${label} as ${printable(name, 40)}`}
          run={() => introduce(volume.mount, name)}
        />
      )}
    </div>
  );
}

function whatItIs({ what, name }: VolumeJson): string {
  const shown = printable(name, 40);
  if (what === "card") return "A card: only ever read.";
  if (what === "drive") return `A known drive: ${shown}.`;
  return `${shown}, a drive of another Scrubjay. It is left alone.`;
}

function roomOf({ freeBytes, totalBytes }: VolumeJson): string {
  const total = formatBytes(bytes(totalBytes));
  return freeBytes === null ? total : `${formatBytes(bytes(freeBytes))} free of ${total}`;
}

function usePlugged() {
  const [volumes, setVolumes] = useState<readonly VolumeJson[] | undefined>(undefined);
  const [problem, setProblem] = useState<Refused | undefined>(undefined);
  const [looks, setLooks] = useState(0);
  useEffect(() => {
    let ended = false;
    let timer = 0;
    const look = async () => {
      try {
        const now = await ask<readonly VolumeJson[]>("/v1/volumes");
        if (ended) return;
        setVolumes(now);
        setProblem(undefined);
      } catch (failure) {
        if (!(failure instanceof Refused)) throw failure;
        if (!ended) setProblem(failure);
      }
      if (!ended) timer = setTimeout(look, lookEvery);
    };
    void look();
    return () => {
      ended = true;
      clearTimeout(timer);
    };
  }, [looks]);
  return { volumes, problem, lookAgain: () => setLooks((count) => count + 1) };
}
