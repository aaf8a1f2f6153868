/** `drive add`: a mounted volume becomes a known drive. Its identity is written to it and nothing else. */

import type { DriveAddedJson } from "../../shared/api.ts";
import { rfc3339 } from "../../shared/format.ts";
import { type AbsolutePath, type DriveId, folderOf, nameKey, under } from "../../shared/identity.ts";
import { FileFault, UserMistake } from "../../shared/problems.ts";
import { asArgument, printable } from "../../shared/text.ts";
import { type DriveIdentity, writeIdentity } from "../record/driveIdentity.ts";
import { identityFile } from "../record/driveLayout.ts";
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
  if (kind.kind === "drive") {
    const { identity } = kind;
    if (namesake !== undefined && namesake.id !== identity.id)
      throw new UserMistake(
        `Another drive is called ${printable(namesake.name)} already. Nothing was changed.`,
        `Remove the \`.scrubjay\` folder on ${shown} if it isn't needed, then introduce the drive under another name.`,
      );
    if (nameKey(identity.name) !== nameKey(name))
      throw new UserMistake(
        `${shown} is the drive ${printable(identity.name)} already. Nothing was changed.`,
        `Use it as ${printable(identity.name)}: \`scrubjay drive add MOUNT --name ${asArgument(identity.name)}\`.`,
      );
    if (identity.fsId !== "" && volume.fsId !== "" && identity.fsId !== volume.fsId)
      throw new UserMistake(
        `${shown} says it is ${printable(identity.name)}, which is another medium. Nothing was changed.`,
        "It looks like a copy of that drive. Remove its `.scrubjay` folder and introduce it under a name of its own.",
      );
    ledger.addDrive({ id: identity.id, name: identity.name, fsId: identity.fsId, lastSeen: clock.now() });
    return { id: identity.id, name: identity.name, mount: volume.root };
  }
  // A drive whose identity was removed is still that drive: as a second one its copies would count twice.
  const itself = known.find((drive) => drive.fsId !== "" && drive.fsId === volume.fsId);
  if (itself !== undefined && itself !== namesake)
    throw new UserMistake(
      `${shown} is the drive ${printable(itself.name)}, whose identity was removed. Nothing was changed.`,
      `Introduce it as ${printable(itself.name)}.`,
    );
  if (namesake !== undefined && itself === undefined)
    throw new UserMistake(
      `Another drive is called ${printable(namesake.name)} already.`,
      "Choose another name.",
    );
  const identity: DriveIdentity = {
    id: itself?.id ?? (ports.randomness.hex(16) as DriveId),
    name,
    fsId: volume.fsId,
    made: rfc3339(clock.now(), "UTC"),
  };
  await writeTo(ports, volume.root, identity);
  ledger.addDrive({ id: identity.id, name, fsId: volume.fsId, lastSeen: clock.now() });
  ledger.note("drive", identity.id, `introduced as ${printable(name)}`, clock.now());
  presence.reconsider(volume.id);
  return { id: identity.id, name, mount: volume.root };
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
async function mountedAt(ports: EnginePorts, mount: AbsolutePath): Promise<AbsolutePath | undefined> {
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

async function writeTo(ports: EnginePorts, root: AbsolutePath, identity: DriveIdentity): Promise<void> {
  const { files } = ports;
  const path = under(root, identityFile);
  try {
    if (await stands(ports, path))
      throw new UserMistake(
        `${printable(path)} is there already and can't be read as a drive's identity. Nothing was changed.`,
        "Move it away if it isn't needed, then introduce the drive again.",
      );
    await files.makeFolder({ root, device: (await files.facts(root)).device }, folderOf(identityFile));
    await files.replaceOwn(path, writeIdentity(identity));
  } catch (fault) {
    if (!(fault instanceof FileFault)) throw fault;
    const why = fault.code === "read-only" ? "it is write-protected" : `the answer was ${fault.code}`;
    throw new UserMistake(
      `${printable(root)} couldn't be written: ${why}.`,
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
