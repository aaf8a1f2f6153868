/** A bench with an archive beside it, and homecomings into it waited for. */

import { mkdirSync } from "node:fs";
import { join } from "node:path";
import { onTestFinished } from "vitest";
import { beginHomecoming, type HomeRequest, homeState } from "../../daemon/engine/homecoming/request.ts";
import type { ReceiptJson } from "../../shared/homeApi.ts";
import { profileText } from "../cards/generate/card.ts";
import { type Bench, makeBench, tree, type Wrap } from "./bench.ts";

export interface HomeBench {
  readonly bench: Bench;
  readonly archive: string;
  readonly shelf: string;
}

/** @param also whether the shelf is a second archive */
export async function homeBench(drives: readonly string[], wrap?: Wrap, also = false): Promise<HomeBench> {
  const bench = await makeBench(wrap);
  onTestFinished(() => bench.end());
  const archive = join(bench.folder, "archive");
  const shelf = join(bench.folder, "shelf");
  for (const folder of [archive, shelf]) mkdirSync(folder);
  const more = also ? `, also: ${shelf}` : "";
  const copies = Math.max(1, Math.min(drives.length, 2));
  const profile = profileText({ drives, copies });
  bench.trip(`${profile}\narchive: { folder: ${archive}, tree: "{taken:yyyy}/{trip}"${more} }\n`);
  for (const drive of drives) await bench.drive(drive);
  return { bench, archive, shelf };
}

/** Until it has ended. */
export async function comeHome(bench: Bench, request: Partial<HomeRequest> = {}): Promise<ReceiptJson> {
  const wish = { trip: undefined, to: undefined, rehearsal: false, history: false, ...request };
  await beginHomecoming(bench.engine, wish, []);
  await bench.idle();
  const { running, receipt } = homeState(bench.engine, undefined);
  if (running || receipt === null) throw new Error("it didn't end");
  return receipt;
}

/** What an archive holds of the trip, without our own list. */
export function inArchive(archive: string, folder = "2027/Kestrel Cliffs"): Readonly<Record<string, string>> {
  const files = tree(join(archive, folder));
  files.delete("checksums.xxh64");
  return Object.fromEntries([...files].map(([path, content]) => [path, String(content)]));
}
