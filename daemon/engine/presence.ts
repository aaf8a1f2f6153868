/**
 * What is plugged in, and what it is: a card by what it holds, a drive only by the identity that was written to it,
 * else neither and left alone. Kept true by looking; a volume that has gone aborts its `gone` signal, and work on it
 * stops by that.
 *
 * Invariant: a volume with a camera's folders is never a drive, so nothing is ever written to a card.
 */

import type { AbsolutePath, CardId, DriveId, VolumeId } from "../../shared/identity.ts";
import { under } from "../../shared/identity.ts";
import { FileFault } from "../../shared/problems.ts";
import { printable } from "../../shared/text.ts";
import { bytes, type Instant } from "../../shared/units.ts";
import { looksLikeCard, mustLookInside } from "../core/cardLayout.ts";
import type { FsTraits, VolumeRoot } from "../ports/files.ts";
import type { Volume } from "../ports/volumes.ts";
import { type DriveIdentity, readIdentity } from "../record/driveIdentity.ts";
import { identityFile } from "../record/driveLayout.ts";
import { Places } from "./bounds.ts";
import type { EnginePorts } from "./ports.ts";

export interface PresentDrive {
  readonly id: DriveId;
  readonly name: string;
  readonly volume: Volume;
  readonly traits: FsTraits;
  /** Its root, with the file system that belongs there. */
  readonly at: VolumeRoot;
  /** Aborted when it is no longer there. */
  readonly gone: AbortSignal;
}

export interface PresentCard {
  readonly id: CardId;
  readonly volume: Volume;
  readonly arrived: Instant;
  readonly gone: AbortSignal;
}

/** What a volume turned out to be. */
type Kind =
  | { readonly kind: "card" }
  | { readonly kind: "drive"; readonly identity: DriveIdentity; readonly traits: FsTraits }
  | { readonly kind: "both" }
  | { readonly kind: "neither" };

interface Seen {
  readonly volume: Volume;
  readonly kind: Kind;
  readonly arrived: Instant;
  readonly gone: AbortController;
  /** What it is known by while it is taken for a card. */
  readonly card: CardId;
}

export class Presence {
  readonly #ports: EnginePorts;
  readonly #seen = new Map<VolumeId, Seen>();
  readonly #oneLook = new Places(1);
  #drives: readonly PresentDrive[] = [];
  #lookFails = false;
  /** Roots of volumes of which it can't be told what they are. */
  #unreadable: readonly AbsolutePath[] = [];
  #closed = false;

  constructor(ports: EnginePorts) {
    this.#ports = ports;
  }

  /** Known drives that are plugged in. */
  get drives(): readonly PresentDrive[] {
    return this.#drives;
  }

  get cards(): readonly PresentCard[] {
    return [...this.#seen.values()]
      .filter((seen) => seen.kind.kind === "card")
      .map((seen) => ({
        id: seen.card,
        volume: seen.volume,
        arrived: seen.arrived,
        gone: seen.gone.signal,
      }));
  }

  /** Mounts with a drive's identity and a camera's folders. */
  get ambiguous(): readonly AbsolutePath[] {
    return this.#with("both").map((seen) => seen.volume.root);
  }

  /** Mounts that give no answer, so that it isn't known what they are. */
  get unreadable(): readonly AbsolutePath[] {
    return this.#unreadable;
  }

  /** Mounts with an identity that belongs to another medium, or that this computer doesn't know. */
  get strangers(): readonly {
    readonly mount: AbsolutePath;
    readonly name: string;
    readonly why: "twice" | "unknown" | "lost";
  }[] {
    const used = new Set(this.#drives.map((drive) => drive.volume.id));
    const ids = new Set<string>([
      ...this.#drives.map((drive) => drive.id),
      ...this.#ports.ledger.drives().map((drive) => drive.id),
    ]);
    const lost = new Set<string>(this.#ports.ledger.lostDrives().map((drive) => drive.id));
    return this.#identified()
      .filter(({ seen }) => !used.has(seen.volume.id))
      .map(({ seen, identity }) => ({
        mount: seen.volume.root,
        name: identity.name,
        why: lost.has(identity.id) ? "lost" : ids.has(identity.id) ? "twice" : "unknown",
      }));
  }

  /**
   * Looks at the volumes and updates what is here.
   * @returns whether anything came or went.
   */
  async look(): Promise<boolean> {
    return this.#oneLook.inside(async () => {
      const now = await this.#listVolumes();
      if (now === undefined || this.#closed) return false;
      const ids = new Set(now.map((volume) => volume.id));
      let changed = false;
      for (const [id, seen] of this.#seen) {
        if (ids.has(id)) continue;
        this.#seen.delete(id);
        seen.gone.abort();
        changed = true;
      }
      const unreadable: AbsolutePath[] = [];
      for (const volume of now) {
        const before = this.#seen.get(volume.id);
        // What is neither card nor drive may become one: its folders may not have been there yet.
        if (before !== undefined && before.kind.kind !== "neither") continue;
        const kind = await this.#kindOf(volume);
        if (this.#closed) return false;
        if (kind === undefined) unreadable.push(volume.root);
        if (kind === undefined || (before !== undefined && kind.kind === "neither")) continue;
        const arrived = this.#ports.clock.now();
        const card = this.#freeCardId(volume);
        this.#seen.set(volume.id, { volume, kind, arrived, gone: new AbortController(), card });
        changed = changed || kind.kind !== "neither";
      }
      changed ||= unreadable.join("\n") !== this.#unreadable.join("\n");
      this.#unreadable = unreadable;
      this.#settleDrives();
      return changed;
    });
  }

  /** A look that fails (the computer is out of handles, say) tells nothing; what was seen before holds till the next. */
  async #listVolumes(): Promise<readonly Volume[] | undefined> {
    try {
      const volumes = await this.#ports.volumes.look();
      this.#lookFails = false;
      return volumes;
    } catch (failure) {
      if (!this.#lookFails)
        this.#ports.ledger.note("look", "", printable(String(failure)), this.#ports.clock.now());
      this.#lookFails = true;
      return undefined;
    }
  }

  /** Looks at one mounted volume now, whether it was seen before or not; undefined where nothing is mounted there. */
  async classify(root: AbsolutePath): Promise<{ readonly volume: Volume; readonly kind: Kind } | undefined> {
    const volume = (await this.#listVolumes())?.find((each) => each.root === root);
    if (volume === undefined) return undefined;
    const kind = await this.#kindOf(volume);
    return kind === undefined ? undefined : { volume, kind };
  }

  /** Forgets what a volume was taken for, so that the next look sees it anew. */
  reconsider(volume: VolumeId): void {
    const seen = this.#seen.get(volume);
    this.#seen.delete(volume);
    this.#drives = this.#drives.filter((drive) => drive.volume.id !== volume);
    seen?.gone.abort();
  }

  /** Everything is let go and nothing is seen any more; used at the end. */
  leaveAll(): void {
    this.#closed = true;
    for (const seen of this.#seen.values()) seen.gone.abort();
    this.#seen.clear();
    this.#drives = [];
  }

  #settleDrives(): void {
    const known = new Map(this.#ports.ledger.drives().map((drive) => [drive.id, drive]));
    const before = new Map(this.#drives.map((drive) => [drive.volume.id, drive]));
    const drives = new Map<DriveId, PresentDrive>();
    for (const { seen, identity, traits } of this.#identified()) {
      const row = known.get(identity.id);
      if (row === undefined) continue;
      // Only the file system that the identity was written to is the drive; elsewhere it is a copy of its folder.
      const { fsId } = seen.volume;
      if (identity.fsId !== "" && fsId !== "" && identity.fsId !== fsId) continue;
      // Of two that can't be told apart, the one that was there first stays it.
      if (drives.has(identity.id) && !before.has(seen.volume.id)) continue;
      const drive = before.get(seen.volume.id) ?? {
        id: identity.id,
        name: row.name,
        volume: seen.volume,
        traits,
        at: { root: seen.volume.root, device: traits.device },
        gone: seen.gone.signal,
      };
      drives.set(identity.id, drive);
    }
    for (const drive of drives.values()) {
      if (before.has(drive.volume.id)) continue;
      const row = known.get(drive.id);
      // A drive that other drives' records told of is seen here for the first time.
      if (row?.fsId === "" && drive.volume.fsId !== "")
        this.#ports.ledger.addDrive({ ...row, fsId: drive.volume.fsId });
      this.#ports.ledger.driveSeen(drive.id, this.#ports.clock.now());
    }
    for (const drive of before.values())
      if (![...drives.values()].includes(drive))
        this.#ports.ledger.driveSeen(drive.id, this.#ports.clock.now());
    this.#drives = [...drives.values()];
  }

  #identified() {
    return [...this.#seen.values()].flatMap((seen) =>
      seen.kind.kind === "drive" ? [{ seen, identity: seen.kind.identity, traits: seen.kind.traits }] : [],
    );
  }

  #with(kind: Kind["kind"]): Seen[] {
    return [...this.#seen.values()].filter((seen) => seen.kind.kind === kind);
  }

  /** @returns undefined when it can't be told yet (it went, or can't be read just now); the next look tries again. */
  async #kindOf(volume: Volume): Promise<Kind | undefined> {
    const { files } = this.#ports;
    try {
      const folders: string[] = [];
      for (const entry of await files.list(volume.root)) {
        if (entry.kind !== "folder") continue;
        folders.push(entry.name);
      }
      for (const name of folders.filter(mustLookInside)) {
        // Where the root tells already, a folder that can't be listed doesn't matter here.
        if (looksLikeCard(folders)) break;
        const inside = await files.list(under(volume.root, name));
        for (const each of inside) if (each.kind === "folder") folders.push(`${name}/${each.name}`);
      }
      const camera = looksLikeCard(folders);
      // Asked before the identity is read: had the drive been pulled between, they would be those of the computer's disk.
      const traits = folders.includes(".scrubjay") ? await files.traits(volume.root) : undefined;
      const identity = traits === undefined ? undefined : await this.#identityOf(volume.root);
      if (camera) return { kind: identity === undefined ? "card" : "both" };
      if (identity === undefined || traits === undefined) return { kind: "neither" };
      return { kind: "drive", identity, traits };
    } catch (fault) {
      if (fault instanceof FileFault) return undefined;
      throw fault;
    }
  }

  async #identityOf(root: AbsolutePath): Promise<DriveIdentity | undefined> {
    const { files, limits } = this.#ports;
    try {
      return readIdentity(await files.readSmall(under(root, identityFile), bytes(limits.ownFileBytesMax)));
    } catch (fault) {
      if (fault instanceof FileFault && (fault.code === "missing" || fault.code === "too-large"))
        return undefined;
      throw fault;
    }
  }

  /**
   * A card as last formatted: formatting gives the file system a new identity. Nothing of ours stands on it. Where the
   * system knows no identity, label and size have to do.
   */
  #cardId({ fsId, label, totalBytes }: Volume, nth: number): CardId {
    const running = this.#ports.hashing.start();
    const told = fsId === "" ? JSON.stringify([label, totalBytes]) : fsId;
    running.update(new TextEncoder().encode(nth === 1 ? told : JSON.stringify([told, nth])));
    return running.digest() as string as CardId;
  }

  /** Some cameras give every card one identity: the second that is in at the same time gets one of its own. */
  #freeCardId(volume: Volume): CardId {
    const used = new Set(this.#with("card").map((seen) => seen.card));
    for (let nth = 1; ; nth += 1) {
      const id = this.#cardId(volume, nth);
      if (!used.has(id)) return id;
    }
  }
}
