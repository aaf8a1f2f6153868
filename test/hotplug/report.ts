/**
 * What is said while the steps pass, and the report with the board at each of them. A step fails by throwing; the next
 * ones go on where they can, and whoever runs it learns of every one.
 */

import { appendFileSync, writeFileSync } from "node:fs";

export class Report {
  readonly path: string;
  readonly #began = performance.now();
  failed = 0;
  passed = 0;

  constructor(path: string) {
    this.path = path;
    writeFileSync(path, "");
  }

  /** A line for whoever watches, and for the report. */
  say(line: string): void {
    console.log(line);
    this.write(line);
  }

  /** Only for the report. */
  write(text: string): void {
    appendFileSync(this.path, `${text}\n`);
  }

  /** Runs a step. @param board what the report shows after it, passed or failed. @returns whether it passed. */
  async step(
    name: string,
    act: () => Promise<readonly string[]>,
    board: () => Promise<string>,
  ): Promise<boolean> {
    const began = performance.now();
    const seconds = (): string => `${((performance.now() - began) / 1000).toFixed(1)} s`;
    let passed = false;
    try {
      const found = await act();
      this.passed += 1;
      passed = true;
      this.say(`passed  ${name} (${seconds()})`);
      for (const line of found) this.say(`          ${line}`);
    } catch (fault) {
      this.failed += 1;
      this.say(`FAILED  ${name} (${seconds()})`);
      this.say(`          ${fault instanceof Error ? fault.message : String(fault)}`);
    }
    this.write(`\n${await board().catch((fault: unknown) => `(no board: ${String(fault)})`)}\n`);
    return passed;
  }

  /** The last line, and the exit status. */
  end(): number {
    const all = `${this.passed} steps passed, ${this.failed} failed`;
    const minutes = ((performance.now() - this.#began) / 60_000).toFixed(1);
    this.say(`\n${all}; ${minutes} minutes. The board at each step: ${this.path}`);
    return this.failed === 0 && this.passed > 0 ? 0 : 1;
  }
}

/** A promise of a step. @throws what isn't so. */
export function must(holds: boolean, what: string): asserts holds {
  if (!holds) throw new Error(`not so: ${what}`);
}
