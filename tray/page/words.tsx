/** The daemon's sentences: what stands between backticks is a command to type, and looks like one. */

export function Words({ text }: { readonly text: string }) {
  const parts = text.split("`");
  // An odd backtick out belongs to a name, not to a command.
  if (parts.length % 2 === 0) return <>{text}</>;
  return <>{parts.map((part, index) => (index % 2 === 0 ? part : <code key={index}>{part}</code>))}</>;
}
