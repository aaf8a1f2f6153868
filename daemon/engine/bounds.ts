/** Waiting in line: a pool of blocks and a counter of places. Both hand out in the order asked. */

import { assert } from "../../shared/brand.ts";
import type { Block } from "../ports/files.ts";

/** So many may be inside at once. */
export class Places {
  #free: number;
  readonly #waiting: (() => void)[] = [];

  constructor(amount: number) {
    this.#free = amount;
  }

  async enter(): Promise<void> {
    if (this.#free > 0) {
      this.#free -= 1;
      return;
    }
    await new Promise<void>((resolve) => this.#waiting.push(resolve));
  }

  leave(): void {
    const next = this.#waiting.shift();
    if (next === undefined) this.#free += 1;
    else next();
  }

  /** Runs `work` with a place. */
  async inside<T>(work: () => Promise<T>): Promise<T> {
    await this.enter();
    try {
      return await work();
    } finally {
      this.leave();
    }
  }
}

/** The memory for streaming, all of it. */
export class BlockPool {
  readonly #free: Block[];
  readonly #places: Places;
  readonly #out = new Set<Block>();

  constructor(blocks: readonly Block[]) {
    this.#free = [...blocks];
    this.#places = new Places(blocks.length);
  }

  async take(): Promise<Block> {
    await this.#places.enter();
    const block = this.#free.pop();
    assert(block !== undefined, "a place in the pool is a block in the pool");
    this.#out.add(block);
    return block;
  }

  giveBack(block: Block): void {
    assert(this.#out.delete(block), "a block is given back once");
    this.#free.push(block);
    this.#places.leave();
  }
}
