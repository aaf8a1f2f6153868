/** The files of one frame: which drive holds each, since when it is known to be right, and which card gave it. */

import type { SeedSign } from "../../../shared/boardTable.ts";
import { formatBytes } from "../../../shared/format.ts";
import type { FrameCopyJson, FrameFileJson } from "../../../shared/framesApi.ts";
import { shortMoment } from "../../../shared/moments.ts";
import { printable } from "../../../shared/text.ts";
import { bytes } from "../../../shared/units.ts";
import { meanings, Seed } from "../seed.tsx";
import { frameName } from "./ratingWords.ts";

export function Files({
  files,
  goal,
  now,
  order,
}: {
  readonly files: readonly FrameFileJson[];
  readonly goal: number;
  readonly now: string;
  /** Names of drives as they stand on the board. */
  readonly order: readonly string[];
}) {
  const drives = drivesOf(files, order);
  return (
    // biome-ignore lint/a11y/noNoninteractiveTabindex: a table wider than the window is scrolled with the keys
    <section class="wide" aria-label="Its files and where they are" tabIndex={0}>
      <table class="matrix">
        <thead>
          <tr>
            <th scope="col">File</th>
            {drives.map(({ drive, place }) => (
              <th key={drive} scope="col">
                {printable(drive, 40)}
                <span class="place">{place === null ? "" : printable(place, 40)}</span>
              </th>
            ))}
          </tr>
        </thead>
        <tbody>
          {files.map((file) => (
            <tr key={file.path}>
              <th scope="row">
                <FileFacts file={file} goal={goal} />
              </th>
              {drives.map(({ drive }) => (
                <td key={drive}>
                  <Copy
                    copy={file.copies.find((copy) => copy.drive === drive)}
                    file={file}
                    goal={goal}
                    now={now}
                  />
                </td>
              ))}
            </tr>
          ))}
        </tbody>
      </table>
    </section>
  );
}

function FileFacts({ file, goal }: { readonly file: FrameFileJson; readonly goal: number }) {
  const held = file.copies.length;
  return (
    <>
      {printable(frameName({ stem: file.path }), 80)}
      <span class="place">
        {formatBytes(bytes(file.bytes))} · {held} of {goal} copies
      </span>
      {file.damage === "" ? null : (
        <span class="place damaged">
          <Seed sign="damaged" />
          damaged: {printable(file.damage)}
        </span>
      )}
      {file.cards.map(({ name, path }) => (
        <span key={`${name} ${path}`} class="place">
          from {printable(name, 40)}: {printable(path)}
        </span>
      ))}
      <span class="place">
        XXH64 <code>{printable(file.hash)}</code>
      </span>
    </>
  );
}

function Copy({
  copy,
  file,
  goal,
  now,
}: {
  readonly copy: FrameCopyJson | undefined;
  readonly file: FrameFileJson;
  readonly goal: number;
  readonly now: string;
}) {
  const sign: SeedSign | undefined =
    copy === undefined ? (file.copies.length < goal ? "owed" : undefined) : signOf(copy);
  if (copy === undefined && sign === undefined) return <>no copy</>;
  return (
    <span class={`cell ${sign}`}>
      {sign === undefined ? null : <Seed sign={sign} />}
      <span>
        {copy === undefined ? "owed" : `last verified ${shortMoment(copy.checked, now)}`}
        {sign === "away" || sign === "unsure" ? <span class="place">{meanings[sign]}</span> : null}
        {copy === undefined || copy.path === file.path ? null : (
          <span class="place">as {printable(copy.path)}</span>
        )}
      </span>
    </span>
  );
}

function signOf({ present, readBack }: FrameCopyJson): SeedSign {
  if (!present) return "away";
  return readBack === "cache" ? "unsure" : "verified";
}

/** Every drive that holds any of them: in the board's order, others behind. */
function drivesOf(
  files: readonly FrameFileJson[],
  order: readonly string[],
): readonly { readonly drive: string; readonly place: string | null }[] {
  const drives = new Map<string, string | null>();
  for (const { copies } of files)
    for (const { drive, place } of copies) if (!drives.has(drive)) drives.set(drive, place);
  const rank = (drive: string) => (order.includes(drive) ? order.indexOf(drive) : order.length);
  return [...drives]
    .map(([drive, place]) => ({ drive, place }))
    .sort((a, b) => rank(a.drive) - rank(b.drive));
}
