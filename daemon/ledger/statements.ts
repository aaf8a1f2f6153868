/** SQL statements of one database, each prepared once; rows are checked by shape before anyone sees them. */

import type Database from "better-sqlite3";
import { z } from "zod";

type Value = string | number | null;

export class Statements {
  readonly #db: Database.Database;
  readonly #prepared = new Map<string, Database.Statement>();

  constructor(db: Database.Database) {
    this.#db = db;
  }

  /** @returns how many rows were changed. */
  run(sql: string, ...parameters: Value[]): number {
    return this.#statement(sql).run(...parameters).changes;
  }

  raw(sql: string, ...parameters: Value[]): unknown[] {
    return this.#statement(sql).all(...parameters);
  }

  all<Shape extends z.ZodType>(shape: Shape, sql: string, ...parameters: Value[]): z.output<Shape>[] {
    return this.raw(sql, ...parameters).map((row) => shape.parse(row));
  }

  /** The one number that a statement gives. */
  number(sql: string, ...parameters: Value[]): number {
    const value: unknown = this.#statement(sql)
      .pluck()
      .get(...parameters);
    return z.number().parse(value);
  }

  /** Every change in `work` or none. */
  together<T>(work: () => T): T {
    return this.#db.transaction(work)();
  }

  #statement(sql: string): Database.Statement {
    let statement = this.#prepared.get(sql);
    if (statement === undefined) {
      statement = this.#db.prepare(sql);
      this.#prepared.set(sql, statement);
    }
    return statement;
  }
}
