/** Randomness for identities and temporary names. */

export interface Randomness {
  /** `bytes` random bytes as lower-case hex. */
  hex(bytes: number): string;
}
