/** What frames would be called, as the templates are typed. */

import { printable } from "../../../shared/text.ts";
import type { ExampleJson } from "../../../shared/tripsApi.ts";

export function Examples({
  examples,
  heading: Heading = "h3",
}: {
  readonly examples: readonly ExampleJson[];
  readonly heading?: "h2" | "h3";
}) {
  if (examples.length === 0) return null;
  const real = examples.some((example) => example.real);
  return (
    <div class="examples">
      <Heading>Frames will be called</Heading>
      <ul>
        {examples.map((example, index) => (
          <li key={index}>
            <code>{printable(example.path, 300)}</code>
            <span class="hint">{printable(example.of)}</span>
          </li>
        ))}
      </ul>
      <p class="hint">
        {real
          ? "Frames that are known, as they would be called. What is filed already keeps its name; this holds for frames that come."
          : "Made-up frames; none is known yet."}
      </p>
    </div>
  );
}
