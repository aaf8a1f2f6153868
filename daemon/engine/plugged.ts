/**
 * What is plugged in, as far as introducing a drive goes: cards, known drives, drives of others, and volumes that may
 * become drives. Looks and writes nothing. Not its job: introducing (`introduce.ts`).
 */

import { FileFault } from "../../shared/problems.ts";
import type { VolumeJson } from "../../shared/tripsApi.ts";
import type { Volume } from "../ports/volumes.ts";
import type { EnginePorts } from "./ports.ts";
import type { Presence } from "./presence.ts";

type Found = NonNullable<Awaited<ReturnType<Presence["classify"]>>>["kind"];

/** In the order of their mounts. A volume that gives no answer just now is left out. */
export async function pluggedVolumes(ports: EnginePorts, presence: Presence): Promise<readonly VolumeJson[]> {
  const found: VolumeJson[] = [];
  for (const volume of await ports.volumes.look()) {
    const now = await presence.classify(volume.root);
    if (now === undefined) continue;
    found.push({
      mount: volume.root,
      label: volume.label,
      totalBytes: volume.totalBytes,
      freeBytes: await freeOf(ports, volume),
      ...whatItIs(ports, now.kind),
    });
  }
  return found.sort((a, b) => (a.mount < b.mount ? -1 : 1));
}

/** A volume with a camera's folders is a card whatever else stands on it. */
function whatItIs({ ledger }: EnginePorts, kind: Found): Pick<VolumeJson, "what" | "name"> {
  if (kind.kind === "card" || kind.kind === "both") return { what: "card", name: "" };
  if (kind.kind === "neither") return { what: "new", name: "" };
  const { id, name, owner } = kind.identity;
  // One that was declared lost and is found again begins anew.
  if (ledger.lostDrives().some((drive) => drive.id === id)) return { what: "new", name: "" };
  if (owner !== undefined && owner !== ledger.owner()) return { what: "foreign", name };
  const known = ledger.drives().find((drive) => drive.id === id);
  return known === undefined ? { what: "new", name } : { what: "drive", name: known.name };
}

/** null where it can't be told just now. */
async function freeOf({ files }: EnginePorts, { root }: Volume): Promise<number | null> {
  try {
    return (await files.traits(root)).freeBytes;
  } catch (fault) {
    if (fault instanceof FileFault) return null;
    throw fault;
  }
}
