/**
 * Where in the page one is: what stands behind `#` in the address, parts separated by `/`. So a reload shows the same
 * again, a step back goes back, and a notice can point at the matter.
 */

import { useEffect, useState } from "preact/hooks";

/** The parts, decoded; `#frames/2027-06-03` is `["frames", "2027-06-03"]`. */
export function partsOf(hash: string): readonly string[] {
  return hash.replace(/^#/, "").split("/").map(decoded);
}

/** The other way round: what a link's `href` says. */
export function addressOf(...parts: readonly string[]): string {
  return `#${parts.map(encodeURIComponent).join("/")}`;
}

export function useAddress(): readonly string[] {
  const [hash, setHash] = useState(location.hash);
  useEffect(() => {
    const changed = () => setHash(location.hash);
    addEventListener("hashchange", changed);
    return () => removeEventListener("hashchange", changed);
  }, []);
  return partsOf(hash);
}

/** What isn't encoded well is taken as it stands. */
function decoded(part: string): string {
  try {
    return decodeURIComponent(part);
  } catch {
    return part;
  }
}
