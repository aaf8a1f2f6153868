/**
 * Work files: how many there are and which drives hold the newest, what is waited for, what was changed on two drives
 * apart, and every file with its versions.
 *
 * Not its job: deciding which version is the newest; that is in the daemon's documents.
 */

import { useEffect, useState } from "preact/hooks";
import type { StatusJson } from "../../../shared/api.ts";
import type { EditsStatusJson } from "../../../shared/editsApi.ts";
import { counted, formatBytes } from "../../../shared/format.ts";
import { printable } from "../../../shared/text.ts";
import { bytes } from "../../../shared/units.ts";
import { Words } from "../words.tsx";
import { Conflicts } from "./conflicts.tsx";
import { FileList } from "./fileList.tsx";
import { DriveSeed } from "./signs.tsx";
import { useEdits } from "./useEdits.ts";
import { Versions } from "./versions.tsx";

/** @param path a work file whose versions are asked for */
export function EditsScreen({
  status,
  path,
}: {
  readonly status: StatusJson;
  readonly path?: string | undefined;
}) {
  const [from, setFrom] = useState(0);
  const { known, refusal, look } = useEdits(status, from);
  // A list that became shorter has nothing behind its end.
  useEffect(() => {
    if (known !== undefined && from > 0 && from >= known.total) setFrom(0);
  }, [known, from]);
  if (known === undefined)
    return (
      <>
        <h1>Edits</h1>
        {refusal === undefined ? (
          <p class="small">Asking the daemon …</p>
        ) : (
          <p class="advice" role="alert">
            <Words text={`${refusal.message} ${refusal.next}`} />
          </p>
        )}
      </>
    );
  if (path !== undefined && path !== "")
    return <Versions key={path} path={path} edits={known} changed={look} />;
  if (known.trip === null || known.edits === null)
    return (
      <>
        <h1>There are no work files yet.</h1>
        <p class="advice">
          Everything in the trip's folder on a drive that came off no card is one: sidecars, a catalogue,
          exported pictures, notes. Each is mirrored to the trip's other drives when it is quiet.
        </p>
      </>
    );
  return (
    <div class="edits">
      <Overview edits={known.edits} status={status} />
      <Conflicts edits={known} changed={look} />
      <FileList edits={known} status={status} from={from} go={setFrom} />
    </div>
  );
}

function Overview({ edits, status }: { readonly edits: EditsStatusJson; readonly status: StatusJson }) {
  return (
    <>
      <div role="status">
        <h1>{headlineOf(edits)}</h1>
      </div>
      <p class="advice">
        {counted(edits.files, "work file")}, {formatBytes(bytes(edits.bytes))}.
      </p>
      <ul class="holders">
        {edits.drives.map(({ drive, files, behind }) => {
          const present = status.drives.find(({ name }) => name === drive)?.present === true;
          const sign = !present ? "away" : behind === 0 ? "verified" : files === 0 ? "owed" : "written";
          const newest =
            behind === 0 ? "has the newest of all" : `lacks the newest of ${counted(behind, "file")}`;
          return (
            <li key={drive}>
              <DriveSeed sign={sign}>
                <strong>{printable(drive, 40)}</strong> {newest}
                {present ? "" : "; it isn't here"}
              </DriveSeed>
            </li>
          );
        })}
      </ul>
      <Notes edits={edits} />
    </>
  );
}

function headlineOf({ conflicts, drives, waiting }: EditsStatusJson): string {
  if (conflicts > 0)
    return conflicts === 1
      ? "1 work file was changed on two drives apart."
      : `${counted(conflicts, "work file")} were changed on two drives apart.`;
  const behind = drives.filter((drive) => drive.behind > 0).map(({ drive }) => printable(drive, 40));
  if (behind.length > 0) return `Newer work files than on ${behind.join(" and ")}.`;
  return waiting > 0 ? "Some work files are waited for." : "The newest work files are on every drive.";
}

/** What isn't mirrored, each with why. */
function Notes({ edits }: { readonly edits: EditsStatusJson }) {
  const { waiting, waitingFor, leftOut, deleted } = edits;
  if (waiting === 0 && leftOut.files === 0 && deleted === 0) return null;
  return (
    <ul class="files notes">
      {waiting === 0 ? null : (
        <li>
          {counted(waiting, "file")} {waiting === 1 ? "is" : "are"} waited for, and copied when quiet:
          <ul>
            {waitingFor.map(({ path, why }) => (
              <li key={path}>
                <code>{printable(path, 1_200)}</code> {printable(why)}
              </li>
            ))}
          </ul>
        </li>
      )}
      {leftOut.files === 0 ? null : (
        <li>
          {counted(leftOut.files, "file")} ({formatBytes(bytes(leftOut.bytes))}){" "}
          {leftOut.files === 1 ? "is" : "are"} left out, as the profile says: on no other drive.
        </li>
      )}
      {deleted === 0 ? null : (
        <li>
          {counted(deleted, "file")} {deleted === 1 ? "was" : "were"} deleted on the primary drive. The last
          versions stay in the histories of the others.
        </li>
      )}
    </ul>
  );
}
