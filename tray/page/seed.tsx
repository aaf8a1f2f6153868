/**
 * The seed code as pictures: shape first, colour second. Always with a word or number beside it, which is what screen
 * readers read; the picture itself is silent.
 */

import type { SeedSign } from "../../shared/boardTable.ts";

const radius = 5.25;

export function Seed({ sign }: { readonly sign: SeedSign }) {
  return (
    <svg
      class={`seed ${sign}`}
      viewBox="0 0 14 14"
      width="14"
      height="14"
      aria-hidden="true"
      focusable="false"
    >
      <Shape sign={sign} />
    </svg>
  );
}

/** What each sign means, for those who meet it the first time and for screen readers. */
export const meanings: { readonly [S in SeedSign]: string } = {
  owed: "owed",
  written: "partly verified",
  verified: "verified",
  unsure: "verified, perhaps from a cache",
  damaged: "damaged",
  away: "on a drive that isn't plugged in",
};

function Shape({ sign }: { readonly sign: SeedSign }) {
  switch (sign) {
    case "owed":
      return <circle cx="7" cy="7" r={radius} fill="none" stroke="currentColor" stroke-width="1.5" />;
    case "written":
      return (
        <>
          <circle cx="7" cy="7" r={radius} fill="none" stroke="currentColor" stroke-width="1.5" />
          <path d="M7 1.75 A5.25 5.25 0 0 0 7 12.25 Z" fill="currentColor" />
        </>
      );
    case "verified":
      return <circle cx="7" cy="7" r="6" fill="currentColor" />;
    case "unsure":
      return (
        <path
          fill="currentColor"
          fill-rule="evenodd"
          d="M7 1 A6 6 0 1 1 7 13 A6 6 0 1 1 7 1 Z M7 4.5 A2.5 2.5 0 1 0 7 9.5 A2.5 2.5 0 1 0 7 4.5 Z"
        />
      );
    case "damaged":
      return <path fill="currentColor" d="M7 7 L7 1 A6 6 0 1 0 13 7 Z" />;
    case "away":
      return (
        <circle
          cx="7"
          cy="7"
          r={radius}
          fill="none"
          stroke="currentColor"
          stroke-width="1.5"
          stroke-dasharray="2.4 1.72"
        />
      );
  }
}
