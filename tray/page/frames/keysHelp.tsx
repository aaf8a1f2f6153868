/** The line that says which keys there are, and switches single letters on and off. */

export function KeysHelp({
  words,
  letters,
  onLetters,
}: {
  readonly words: string;
  readonly letters: boolean;
  readonly onLetters: (on: boolean) => void;
}) {
  return (
    <p class="small keys">
      <span>{words}</span>
      <label>
        <input
          type="checkbox"
          checked={letters}
          onChange={(event) => onLetters(event.currentTarget.checked)}
        />{" "}
        Letters and digits count
      </label>
    </p>
  );
}
