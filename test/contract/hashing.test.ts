/** The hash on which every verdict rests, against published values. */

import { spawnSync } from "node:child_process";
import { expect, test } from "vitest";
import { createHashing } from "../../daemon/platform/common/xxHash.ts";

const hashing = await createHashing();

function xxh64(...parts: readonly Uint8Array[]): string {
  const running = hashing.start();
  for (const part of parts) running.update(part);
  return running.digest();
}

/** The buffer of the reference implementation's sanity check (xxHash repository, CLI sanity check, 2024). */
function sanityBuffer(length: number): Uint8Array {
  const mask = (1n << 64n) - 1n;
  let generator = 2654435761n;
  return Uint8Array.from({ length }, () => {
    const value = Number(generator >> 56n);
    generator = (generator * 11400714785074694797n) & mask;
    return value;
  });
}

test("the reference implementation's own vectors come out", () => {
  // xxHash repository, CLI sanity check (2024), XXH64, seed 0.
  const vectors: readonly (readonly [number, string])[] = [
    [0, "ef46db3751d8e999"],
    [1, "e934a84adb052768"],
    [4, "9136a0dca57457ee"],
    [14, "8282dcc4994e35c8"],
    [222, "b641ae8cb691c174"],
  ];
  for (const [length, digest] of vectors) expect(xxh64(sanityBuffer(length)), `${length} bytes`).toBe(digest);
});

test("texts, zeros and lengths around the accumulators' 32 bytes come out", () => {
  // Observed with xxhsum 0.8.1 and equal to an independent run of the specification 0.1.1.
  const text = (value: string): Uint8Array => Buffer.from(value, "latin1");
  expect(xxh64(text("a"))).toBe("d24ec4f1a98c6e5b");
  expect(xxh64(text("abc"))).toBe("44bc2cf5ad770999");
  expect(xxh64(text("123456789"))).toBe("8cb841db40e6ae83");
  expect(xxh64(text("The quick brown fox jumps over the lazy dog"))).toBe("0b242d361fda71bc");
  expect(xxh64(new Uint8Array(31))).toBe("faf43dd52deb083a");
  expect(xxh64(new Uint8Array(32))).toBe("f6e9be5d70632cf5");
  expect(xxh64(new Uint8Array(33))).toBe("1dcdf75a2320fb61");
  expect(xxh64(Uint8Array.from({ length: 256 }, (_, index) => index))).toBe("1facbe8406cd904b");
  expect(xxh64(sanityBuffer(4161))).toBe("cd3d6df2db509a75");
  expect(xxh64(new Uint8Array(1_048_576))).toBe("87d2a1b6e1163ef1");
  expect(xxh64(text("a".repeat(1_000_000)))).toBe("dc483aaa9b4fdc40");
});

test("any split of the input gives the same digest, empty parts included", () => {
  const whole = sanityBuffer(4161);
  for (const size of [1, 31, 32, 33, 4096]) {
    const parts: Uint8Array[] = [new Uint8Array(0)];
    for (let from = 0; from < whole.length; from += size) parts.push(whole.subarray(from, from + size));
    expect(xxh64(...parts), `parts of ${size}`).toBe("cd3d6df2db509a75");
  }
  const zeros = new Uint8Array(1_048_576);
  const parts = Array.from({ length: 17 }, (_, index) =>
    zeros.subarray(index * 65_537, (index + 1) * 65_537),
  );
  expect(xxh64(...parts)).toBe("87d2a1b6e1163ef1");
});

test("hashes that run at the same time don't disturb each other", () => {
  const first = hashing.start();
  const second = hashing.start();
  for (const byte of Buffer.from("abc")) {
    first.update(Uint8Array.of(byte));
    second.update(Uint8Array.of(0));
  }
  expect(first.digest()).toBe("44bc2cf5ad770999");
  second.update(new Uint8Array(29));
  expect(second.digest()).toBe("f6e9be5d70632cf5");
});

const xxhsum = spawnSync("xxhsum", ["--version"]).status === 0;
test.skipIf(!xxhsum)("an independent program gives the same digest (needs xxhsum)", () => {
  const content = sanityBuffer(100_003);
  const { stdout } = spawnSync("xxhsum", ["-H1", "-"], { input: content, encoding: "utf8" });
  expect(stdout.slice(0, 16)).toBe(xxh64(content));
});
