/** A seed with the words beside it that say the same. */

import type { ComponentChildren } from "preact";
import type { SeedSign } from "../../../shared/boardTable.ts";
import { Seed } from "../seed.tsx";

export function DriveSeed({
  sign,
  children,
}: {
  readonly sign: SeedSign;
  readonly children: ComponentChildren;
}) {
  return (
    <span class={`cell ${sign}`}>
      <Seed sign={sign} />
      <span>{children}</span>
    </span>
  );
}
