/**
 * Which work files belong together on the drives that are in: catalogues are told by the databases in them, which are told
 * by their first bytes, each file once. Not its job: what follows from that (`core/edits/units.ts`).
 */

import { type AbsolutePath, nameKey, type RelativePath, type TripId } from "../../../shared/identity.ts";
import { FileFault } from "../../../shared/problems.ts";
import { databaseMagic, unitsOf } from "../../core/edits/units.ts";
import { kindOfFile } from "../../core/fileKinds.ts";
import { leftOut } from "../../core/leaveOut.ts";
import type { BlockPool } from "../bounds.ts";
import type { KnownTrip } from "../dating.ts";
import type { EnginePorts } from "../ports.ts";
import type { UnitKeys } from "./assess.ts";
import type { Watched } from "./watching.ts";

export class Units {
  readonly #ports: EnginePorts;
  readonly #pool: BlockPool;
  /** By trip and key: whether a file was found to be a database. */
  readonly #databases = new Map<string, boolean>();

  constructor(ports: EnginePorts, pool: BlockPool) {
    this.#ports = ports;
    this.#pool = pool;
  }

  /** Of everything that stands on some drive or should: the same units on every drive. */
  async of(trip: KnownTrip, listed: readonly Watched[]): Promise<readonly UnitKeys[]> {
    const files = new Map<string, { readonly path: RelativePath; readonly key: string }>();
    const originals = new Set<string>();
    for (const { listing } of listed) {
      for (const folder of listing?.originals ?? []) originals.add(folder);
      for (const [key, { path }] of listing?.files ?? []) files.set(key, { path, key });
    }
    // What the profile leaves out by now isn't listed any more: that isn't to be taken for deleted.
    const passOver = leftOut(trip.profile.edits.leaveOut);
    for (const { path } of this.#ports.ledger.edits.heads(trip.id))
      if (!files.has(nameKey(path)) && !passOver(path))
        files.set(nameKey(path), { path, key: nameKey(path) });
    for (const watched of listed) await this.#lookForDatabases(trip.id, watched);
    const isDatabase = ({ key }: { readonly key: string }) =>
      this.#databases.get(`${trip.id} ${key}`) === true;
    return unitsOf([...files.values()], originals, isDatabase).map(({ name, catalogue, files: members }) => ({
      name,
      catalogue,
      keys: members.map(({ key }) => key),
    }));
  }

  /** Only files whose name doesn't say what they are; each once. */
  async #lookForDatabases(trip: TripId, { listing, publisher }: Watched): Promise<void> {
    for (const path of listing?.beside ?? [])
      this.#databases.set(`${trip} ${nameKey(path.replace(/(?:-wal|-shm|-journal|\.lock)$/i, ""))}`, true);
    for (const [key, { path, at, size }] of listing?.files ?? []) {
      const known = this.#databases.get(`${trip} ${key}`);
      // One that is empty now may become one.
      if (known !== undefined || size < databaseMagic.length) continue;
      if (kindOfFile(path.slice(path.lastIndexOf(".") + 1)) !== "other") continue;
      const is = await this.#isDatabase(publisher.pathOf(trip, at));
      if (is !== undefined) this.#databases.set(`${trip} ${key}`, is);
    }
  }

  async #isDatabase(path: AbsolutePath): Promise<boolean | undefined> {
    try {
      const handle = await this.#ports.files.openToRead(path);
      const block = await this.#pool.take();
      try {
        const filled = await handle.read(block.subarray(0, 4_096), 0);
        const magic = new TextDecoder("latin1").decode(block.subarray(0, databaseMagic.length));
        return filled >= databaseMagic.length && magic === databaseMagic;
      } finally {
        this.#pool.giveBack(block);
        await handle.close();
      }
    } catch (fault) {
      if (fault instanceof FileFault) return undefined;
      throw fault;
    }
  }
}
