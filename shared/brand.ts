/**
 * Branded primitives: a size is never mistaken for a time, a drive for a card. The brand exists for the compiler
 * only; at run time these are plain numbers and strings. Not its job: units themselves (`units.ts`).
 */

declare const brand: unique symbol;

/** `T` that the compiler keeps apart from every other `T` by its name. */
export type Branded<T, Name extends string> = T & { readonly [brand]: Name };

/** Reached only if a switch over a tagged union forgot a case; then it doesn't compile. */
export function unreachable(value: never): never {
  throw new Error(`unreachable case: ${JSON.stringify(value)}`);
}

/** States a belief that a bug alone can break. A failed one throws, in production too. */
export function assert(condition: boolean, belief: string): asserts condition {
  if (!condition) throw new Error(`assertion failed: ${belief}`);
}
