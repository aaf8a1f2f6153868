/** `drive add`: a mounted volume becomes a known drive. Its identity is written to it and nothing else. */

import type { DriveAddedJson } from "../../shared/api.ts";
import { rfc3339 } from "../../shared/format.ts";
import { type AbsolutePath, type DriveId, folderOf, nameKey, under } from "../../shared/identity.ts";
import { FileFault, UserMistake } from "../../shared/problems.ts";
import { asArgument, printable } from "../../shared/text.ts";
import { type DriveIdentity, writeIdentity } from "../record/driveIdentity.ts";
import { identityFile } from "../record/driveLayout.ts";
import { wordsFor } from "./faultWords.ts";
import type { EnginePorts } from "./ports.ts";
import type { Presence } from "./presence.ts";

const longestName = 60;

/** @throws UserMistake when the volume or the name won't do; FileFault never. */
export async function introduceDrive(
  ports: EnginePorts,
  presence: Presence,
  mount: AbsolutePath,
  name: string,
): Promise<DriveAddedJson> {
  checkName(name);
  const root = await mountedAt(ports, mount);
  const found = root === undefined ? undefined : await presence.classify(root);
  const shown = printable(mount);
  if (found === undefined)
    throw new UserMistake(
      `No volume is mounted at ${shown}.`,
      "Plug the drive in and name the folder where it is mounted; `scrubjay drive list` shows what is known.",
    );
  const { volume, kind } = found;
  if (kind.kind === "card" || kind.kind === "both")
    throw new UserMistake(
      `${shown} is a camera's card. Nothing was written to it.`,
      "Cards are only ever read. Introduce a drive without a camera's folders.",
    );
  const { ledger, clock } = ports;
  const known = ledger.drives();
  const namesake = known.find((drive) => nameKey(drive.name) === nameKey(name));
  const lost = new Set<string>(ledger.lostDrives().map((drive) => drive.id));
  // A drive that was declared lost and is found again begins anew: nothing that was said of it counts.
  if (kind.kind === "drive" && !lost.has(kind.identity.id)) {
    const { identity } = kind;
    if (identity.owner !== undefined && identity.owner !== ledger.owner())
      throw new UserMistake(
        `${shown} is the drive ${printable(identity.name)} of another Scrubjay. Nothing was changed.`,
        `If it is yours, from another computer, \`scrubjay rebuild ${asArgument(root ?? mount)}\` learns what it knows. If it isn't, leave it alone.`,
      );
    if (namesake !== undefined && namesake.id !== identity.id)
      throw new UserMistake(
        `Another drive is called ${printable(namesake.name)} already. Nothing was changed.`,
        `Remove the \`.scrubjay\` folder on ${shown} if it isn't needed, then introduce the drive under another name.`,
      );
    if (identity.fsId !== "" && volume.fsId !== "" && identity.fsId !== volume.fsId)
      throw new UserMistake(
        `${shown} says it is ${printable(identity.name)}, which is another medium. Nothing was changed.`,
        "It looks like a copy of that drive. Remove its `.scrubjay` folder and introduce it under a name of its own.",
      );
    const renamed = nameKey(identity.name) !== nameKey(name);
    if (renamed && holdsCopies(ports, identity.id))
      throw new UserMistake(
        `${shown} is the drive ${printable(identity.name)} already and holds copies. Nothing was changed.`,
        `Use it as ${printable(identity.name)}: \`scrubjay drive add MOUNT --name ${asArgument(identity.name)}\`.`,
      );
    const now: DriveIdentity = renamed ? { ...identity, name } : identity;
    if (renamed) await onMedium(volume.root, () => writeIdentityTo(ports, volume.root, now));
    ledger.addDrive({ id: now.id, name: now.name, fsId: now.fsId, lastSeen: clock.now() });
    if (renamed) presence.reconsider(volume.id);
    return { id: now.id, name: now.name, mount: volume.root };
  }
  // A drive whose identity was removed is still that drive: as a second one its copies would count twice.
  const itself = known.find((drive) => drive.fsId !== "" && drive.fsId === volume.fsId);
  if (itself !== undefined && itself !== namesake)
    throw new UserMistake(
      `${shown} is the drive ${printable(itself.name)}, whose identity was removed. Nothing was changed.`,
      `Introduce it as ${printable(itself.name)}.`,
    );
  if (namesake !== undefined && itself === undefined && isFree(ports, presence, namesake.id)) {
    // Its trips are home and it was freed of them: what is introduced now is that drive erased, or one in its place.
    ledger.loseDrive(namesake.id, clock.now());
  } else if (namesake !== undefined && itself === undefined)
    throw new UserMistake(
      `Another drive is called ${printable(namesake.name)} already.`,
      "Choose another name.",
    );
  const identity: DriveIdentity = {
    id: itself?.id ?? (ports.randomness.hex(16) as DriveId),
    name,
    fsId: volume.fsId,
    made: rfc3339(clock.now(), "UTC"),
    owner: ownerOf(ports),
  };
  if (kind.kind === "drive") await onMedium(volume.root, () => writeIdentityTo(ports, volume.root, identity));
  else await writeTo(ports, volume.root, identity);
  ledger.addDrive({ id: identity.id, name, fsId: volume.fsId, lastSeen: clock.now() });
  ledger.note("drive", identity.id, `introduced as ${printable(name)}`, clock.now());
  presence.reconsider(volume.id);
  return { id: identity.id, name, mount: volume.root };
}

/** Whose drives these are; made up when the first drive is introduced. */
function ownerOf({ ledger, randomness }: EnginePorts): string {
  const known = ledger.owner();
  if (known !== undefined) return known;
  const owner = randomness.hex(16);
  ledger.setOwner(owner);
  return owner;
}

function checkName(name: string): void {
  if (name.length > 0 && name.length <= longestName && name.trim() === name && printable(name) === name)
    return;
  throw new UserMistake(
    `"${printable(name, 80)}" can't be a drive's name.`,
    `A name has 1 to ${longestName} visible characters and no space at either end.`,
  );
}

/** The root of the volume that this path is, whatever way it is written. */
export async function mountedAt(ports: EnginePorts, mount: AbsolutePath): Promise<AbsolutePath | undefined> {
  const { files, volumes } = ports;
  try {
    const wanted = await files.facts(mount);
    for (const volume of await volumes.look()) {
      if (volume.root === mount) return volume.root;
      const facts = await files.facts(volume.root);
      if (facts.device === wanted.device && facts.inode === wanted.inode) return volume.root;
    }
  } catch (fault) {
    if (!(fault instanceof FileFault)) throw fault;
  }
  return undefined;
}

/** A drive that holds copies keeps its name: journals and people know it by that. */
function holdsCopies({ ledger }: EnginePorts, drive: DriveId): boolean {
  return ledger.trips().some((trip) => ledger.copiesOn(drive, trip.id).length > 0);
}

/** A drive that was freed of its trips and isn't here leaves its name to another medium. */
function isFree(ports: EnginePorts, presence: Presence, drive: DriveId): boolean {
  const { ledger } = ports;
  const freed = ledger.trips().some((trip) => ledger.archives.isRetired(drive, trip.id));
  return freed && !holdsCopies(ports, drive) && !presence.drives.some(({ id }) => id === drive);
}

async function writeTo(ports: EnginePorts, root: AbsolutePath, identity: DriveIdentity): Promise<void> {
  const path = under(root, identityFile);
  await onMedium(root, async () => {
    if (await stands(ports, path))
      throw new UserMistake(
        `${printable(path)} is there already and can't be read as a drive's identity. Nothing was changed.`,
        "Move it away if it isn't needed, then introduce the drive again.",
      );
    await writeIdentityTo(ports, root, identity);
  });
}

async function writeIdentityTo(
  { files }: EnginePorts,
  root: AbsolutePath,
  identity: DriveIdentity,
): Promise<void> {
  const { device } = await files.facts(root);
  await files.makeFolder({ root, device }, folderOf(identityFile));
  await files.replaceOwn(under(root, identityFile), writeIdentity(identity));
}

/** Runs work on the new drive; what fails there is said in words. */
async function onMedium(root: AbsolutePath, work: () => Promise<void>): Promise<void> {
  try {
    await work();
  } catch (fault) {
    if (!(fault instanceof FileFault)) throw fault;
    throw new UserMistake(
      `${printable(root)} couldn't be written: ${wordsFor(fault.code)}.`,
      "Nothing else on it was changed. Check its switch, its cable and who may write to it.",
      74,
    );
  }
}

async function stands(ports: EnginePorts, path: AbsolutePath): Promise<boolean> {
  try {
    await ports.files.facts(path);
    return true;
  } catch (fault) {
    if (fault instanceof FileFault && fault.code === "missing") return false;
    throw fault;
  }
}
