/** The versions of one work file, newest first, and putting one in place again: that makes a new version, none is lost. */

import { useEffect, useRef, useState } from "preact/hooks";
import type { EditsJson, EditVersionsJson, RestoredJson } from "../../../shared/editsApi.ts";
import { counted, formatBytes } from "../../../shared/format.ts";
import { fullMoment } from "../../../shared/moments.ts";
import { printable } from "../../../shared/text.ts";
import { bytes } from "../../../shared/units.ts";
import { Act } from "../act.tsx";
import { addressOf } from "../address.ts";
import { ask, change, Refused } from "../daemon.ts";
import { Words } from "../words.tsx";
import { ofTrip } from "./conflicts.tsx";
import { DriveSeed } from "./signs.tsx";

export function Versions({
  path,
  edits,
  changed,
}: {
  readonly path: string;
  readonly edits: EditsJson;
  readonly changed: () => void;
}) {
  const [known, setKnown] = useState<EditVersionsJson>();
  const [refusal, setRefusal] = useState<Refused>();
  const [said, setSaid] = useState("");
  const trip = edits.trip?.id;
  const result = useRef<HTMLParagraphElement>(null);
  // The list may change under the eyes when drives come and go.
  const state = JSON.stringify([edits.edits, edits.files.find((file) => file.path === path)]);
  useEffect(() => {
    const left = new AbortController();
    const where = new URLSearchParams({ ...ofTrip(trip), path });
    ask<EditVersionsJson>(`/v1/edits/versions?${where}`, left.signal).then(
      (answer) => {
        setKnown(answer);
        setRefusal(undefined);
      },
      (failure: unknown) => {
        if (left.signal.aborted) return;
        if (!(failure instanceof Refused)) throw failure;
        setRefusal(failure);
      },
    );
    return () => left.abort();
  }, [path, trip, state, said]);
  useEffect(() => {
    // The button that was pressed is gone when its version stands in place.
    if (said !== "") result.current?.focus();
  }, [said]);
  const put = async (at: string) => {
    const restored = await change<RestoredJson>("/v1/edits/restore", { ...ofTrip(trip), path, at });
    setSaid(
      `The version of ${fullMoment(at)} is in place on ${printable(restored.drive, 40)}, as a new version. The others follow.`,
    );
    changed();
  };
  return (
    <div class="edits">
      <p class="back">
        <a href={addressOf("edits")}>All work files</a>
      </p>
      <h1 class="path">{printable(path, 1_200)}</h1>
      {refusal === undefined ? null : (
        <p class="advice" role="alert">
          <Words text={`${refusal.message} ${refusal.next}`} />
        </p>
      )}
      {known === undefined ? (
        refusal === undefined ? (
          <p class="small">Asking the daemon …</p>
        ) : null
      ) : (
        <>
          <p class="advice">
            {counted(known.versions.length, "version")}
            {known.deleted ? "; it was deleted on the primary drive, and its last version is kept." : "."} To
            put one in place makes a new version; none is lost.
          </p>
          <p role="status" class="verified" tabIndex={-1} ref={result}>
            {said}
          </p>
          <ul class="versions">
            {known.versions.map((version) => (
              <Version
                key={`${version.at} ${version.bytes}`}
                version={version}
                deleted={known.deleted}
                put={put}
              />
            ))}
          </ul>
        </>
      )}
    </div>
  );
}

function Version({
  version,
  deleted,
  put,
}: {
  readonly version: EditVersionsJson["versions"][number];
  readonly deleted: boolean;
  readonly put: (at: string) => Promise<void>;
}) {
  const { at, modified, bytes: size, drives, inPlace, madeOn } = version;
  const reachable = drives.length > 0;
  return (
    <li>
      <p>
        <strong>
          <time dateTime={at}>{fullMoment(at)}</time>
        </strong>
        {inPlace && !deleted ? ", in place" : ""}: {formatBytes(bytes(size))}, changed {fullMoment(modified)}
        {madeOn === null ? "" : `, made on ${printable(madeOn, 40)}`}
      </p>
      <p>
        <DriveSeed sign={reachable ? "verified" : "away"}>
          {reachable
            ? `on ${drives.map((drive) => printable(drive, 40)).join(", ")}`
            : "on no drive that is in: plug in another one to have it back"}
        </DriveSeed>
      </p>
      {reachable && (!inPlace || deleted) ? (
        <p class="acts">
          <Act
            name="Put this version in place"
            label={`Put this version in place: ${fullMoment(at)}`}
            run={() => put(at)}
          />
        </p>
      ) : null}
    </li>
  );
}
