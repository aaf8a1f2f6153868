/** Every work file in the order of paths, so many at once: where its newest version is, and the way to its versions. */

import { useState } from "preact/hooks";
import type { StatusJson } from "../../../shared/api.ts";
import type { EditsJson, WorkFileJson } from "../../../shared/editsApi.ts";
import { counted, formatBytes, formatCount } from "../../../shared/format.ts";
import { shortMoment } from "../../../shared/moments.ts";
import { printable } from "../../../shared/text.ts";
import { bytes } from "../../../shared/units.ts";
import { addressOf } from "../address.ts";
import { meanings } from "../seed.tsx";
import { DriveSeed } from "./signs.tsx";
import { filesAtOnce } from "./useEdits.ts";

export function FileList({
  edits,
  status,
  from,
  go,
}: {
  readonly edits: EditsJson;
  readonly status: StatusJson;
  readonly from: number;
  readonly go: (from: number) => void;
}) {
  const [wanted, setWanted] = useState("");
  const shown = edits.files.filter(({ path }) => path.toLowerCase().includes(wanted.toLowerCase()));
  const last = Math.min(from + edits.files.length, edits.total);
  if (edits.total === 0) return null;
  return (
    <section aria-label="Work files">
      <h2 class="by-day">Every work file</h2>
      <p class="acts">
        <label>
          Only those with{" "}
          <input
            type="search"
            value={wanted}
            placeholder="a part of the path"
            onInput={(event) => setWanted(event.currentTarget.value)}
          />
        </label>
        <span class="small" role="status">
          {formatCount(from + 1)} to {formatCount(last)} of {counted(edits.total, "file")}
          {wanted === "" ? "" : `; ${formatCount(shown.length)} of them shown`}
        </span>
      </p>
      <table class="work-files">
        <thead>
          <tr>
            <th scope="col">File</th>
            <th scope="col">Newest version</th>
            <th scope="col">Versions</th>
          </tr>
        </thead>
        <tbody>
          {shown.map((file) => (
            <FileRow key={file.path} file={file} edits={edits} status={status} />
          ))}
        </tbody>
      </table>
      {edits.total > filesAtOnce ? (
        <p class="acts">
          {from > 0 ? (
            <button type="button" onClick={() => go(Math.max(0, from - filesAtOnce))}>
              Files before these
            </button>
          ) : null}
          {last < edits.total ? (
            <button type="button" onClick={() => go(from + filesAtOnce)}>
              Files after these
            </button>
          ) : null}
        </p>
      ) : null}
    </section>
  );
}

function FileRow({
  file,
  edits,
  status,
}: {
  readonly file: WorkFileJson;
  readonly edits: EditsJson;
  readonly status: StatusJson;
}) {
  const shown = printable(file.path, 1_200);
  return (
    <tr>
      <th scope="row">
        <code>{shown}</code>
        <span class="place">
          {file.deleted
            ? "deleted on the primary drive; the last version is kept"
            : `${formatBytes(bytes(file.bytes))}, changed ${shortMoment(file.modified, edits.at)}`}
        </span>
      </th>
      <td>
        {(edits.edits?.drives ?? []).map(({ drive }) => {
          const present = status.drives.find(({ name }) => name === drive)?.present === true;
          const has = file.drives.includes(drive);
          const sign = has ? (present ? "verified" : "away") : "owed";
          return (
            <DriveSeed key={drive} sign={sign}>
              {printable(drive, 40)}
              <span class="hidden">: {meanings[sign]}</span>
            </DriveSeed>
          );
        })}
      </td>
      <td>
        <a
          href={addressOf("edits", file.path)}
          aria-label={`${counted(file.versions, "version")} of ${shown}`}
        >
          {counted(file.versions, "version")}
        </a>
      </td>
    </tr>
  );
}
