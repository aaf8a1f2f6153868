/**
 * The elements of an XMP sidecar with the places where their parts stand, so that single characters of it can be
 * changed. A strict reading of XML 1.0 and its namespaces, as far as XMP needs them (ISO 16684-1 allows no DOCTYPE).
 *
 * Invariant: what isn't understood for sure is refused (`NotUnderstood`), never guessed. What elements mean is the
 * business of `xmpRating.ts`.
 */

export interface XmlAttribute {
  /** "" where it has no prefix. */
  readonly space: string;
  readonly local: string;
  /** References resolved. */
  readonly value: string;
  /** Where the value's characters begin and end, without the quotes. UTF-16 units */
  readonly from: number;
  readonly to: number;
}

export interface XmlElement {
  readonly space: string;
  readonly local: string;
  readonly parent: XmlElement | undefined;
  readonly attributes: readonly XmlAttribute[];
  /** Prefixes that are declared here, with their namespaces; those of the parents hold too. */
  readonly declared: ReadonlyMap<string, string>;
  /** Right behind the name in the start tag. UTF-16 units */
  readonly nameEnd: number;
  /** What stands between the tags, if that is text alone; undefined for anything else, and for `<a/>`. */
  readonly text: { readonly from: number; readonly to: number } | undefined;
}

/** `message` is a part of a sentence. */
export class NotUnderstood extends Error {}

type Open = { -readonly [Key in keyof XmlElement]: XmlElement[Key] } & {
  readonly name: string;
  readonly contentFrom: number;
  readonly depth: number;
  parent: Open | undefined;
  plain: boolean;
};
type RawAttribute = Omit<XmlAttribute, "space" | "local"> & { readonly name: string };

const malformed = "it isn't well-formed XML";
const xmlSpace = "http://www.w3.org/XML/1998/namespace";
/** Far more than XMP has; bounds the work on a hostile file. */
const deepest = 200;

// XML 1.0 (fifth edition), productions 2 to 4, a name without its colon; Namespaces in XML 1.0, production 4.
const notAChar = /[^\t\n\r\u0020-\uD7FF\uE000-\uFFFD\u{10000}-\u{10FFFF}]/u;
const nameStart =
  "A-Z_a-z\\u00C0-\\u00D6\\u00D8-\\u00F6\\u00F8-\\u02FF\\u0370-\\u037D\\u037F-\\u1FFF\\u200C\\u200D\\u2070-\\u218F" +
  "\\u2C00-\\u2FEF\\u3001-\\uD7FF\\uF900-\\uFDCF\\uFDF0-\\uFFFD\\u{10000}-\\u{EFFFF}";
const simpleName = `[${nameStart}][${nameStart}\\-.0-9\\u00B7\\u0300-\\u036F\\u203F\\u2040]*`;
const nameAt = new RegExp(`${simpleName}(?::${simpleName})?`, "uy");
const blanksAt = /[ \t\r\n]*/y;
const equalsAt = /[ \t\r\n]*=[ \t\r\n]*/y;
const quotedAt = /"[^<"]*"|'[^<']*'/y;
const textAt = /[^<]*/y;
const reference = /&(?:#(\d{1,7})|#x([\da-fA-F]{1,6})|(amp|lt|gt|quot|apos));|&/g;
const entities: Readonly<Record<string, string>> = { amp: "&", lt: "<", gt: ">", quot: '"', apos: "'" };
const declarationAt =
  /<\?xml[ \t\r\n]+version[ \t\r\n]*=[ \t\r\n]*(?:"1\.0"|'1\.0')(?:[ \t\r\n]+encoding[ \t\r\n]*=[ \t\r\n]*(?:"([\w.-]+)"|'([\w.-]+)'))?(?:[ \t\r\n]+standalone[ \t\r\n]*=[ \t\r\n]*(?:"(?:yes|no)"|'(?:yes|no)'))?[ \t\r\n]*\?>/y;

/**
 * @param text a whole XML document, with or without a BOM
 * @returns every element, in the order of the start tags; the first is the root
 * @throws NotUnderstood
 */
export function elementsOf(text: string): readonly XmlElement[] {
  return new Scan(text).elements();
}

/** @returns the namespace that the prefix stands for at this element; "" none, undefined: it isn't declared */
export function spaceOf(prefix: string, element: XmlElement | undefined): string | undefined {
  if (prefix === "xml") return xmlSpace;
  for (let at = element; at !== undefined; at = at.parent) {
    const space = at.declared.get(prefix);
    if (space !== undefined) return space;
  }
  return prefix === "" ? "" : undefined;
}

class Scan {
  readonly #text: string;
  readonly #elements: XmlElement[] = [];
  #at = 0;
  #open: Open | undefined;

  constructor(text: string) {
    this.#text = text;
  }

  elements(): readonly XmlElement[] {
    if (notAChar.test(this.#text)) throw new NotUnderstood(malformed);
    if (this.#text.startsWith("\uFEFF")) this.#at = 1;
    this.#declaration();
    while (this.#at < this.#text.length) this.#next();
    if (this.#open !== undefined || this.#elements.length === 0) throw new NotUnderstood(malformed);
    return this.#elements;
  }

  #next(): void {
    if (this.#sees("<!--")) this.#comment();
    else if (this.#sees("<![CDATA[")) this.#characterData();
    else if (this.#sees("<!DOCTYPE")) throw new NotUnderstood("it has a DOCTYPE, which XMP doesn't allow");
    else if (this.#sees("<?")) this.#instruction();
    else if (this.#sees("</")) this.#endTag();
    else if (this.#sees("<")) this.#startTag();
    else this.#plainText();
  }

  #declaration(): void {
    if (!/^<\?xml[ \t\r\n]/.test(this.#text.slice(this.#at, this.#at + 6))) return;
    declarationAt.lastIndex = this.#at;
    const found = declarationAt.exec(this.#text);
    if (found === null) throw new NotUnderstood(malformed);
    const encoding = found[1] ?? found[2] ?? "UTF-8";
    if (encoding.toUpperCase() !== "UTF-8") throw new NotUnderstood("it says it isn't in UTF-8");
    this.#at = declarationAt.lastIndex;
  }

  #comment(): void {
    const end = this.#find("--", this.#at + 4);
    if (this.#text[end + 2] !== ">") throw new NotUnderstood(malformed);
    this.#pass(end + 3);
  }

  #characterData(): void {
    if (this.#open === undefined) throw new NotUnderstood(malformed);
    this.#pass(this.#find("]]>", this.#at) + 3);
  }

  #instruction(): void {
    const start = this.#at + 2;
    this.#at = start;
    const name = this.#take(nameAt);
    // `<?xml` stands at the very beginning or nowhere.
    if (name.toLowerCase() === "xml" || name.includes(":")) throw new NotUnderstood(malformed);
    const end = this.#find("?>", this.#at);
    if (end > this.#at && this.#take(blanksAt) === "") throw new NotUnderstood(malformed);
    this.#pass(end + 2);
  }

  #plainText(): void {
    const text = this.#take(textAt);
    if (this.#open === undefined && /[^ \t\r\n]/.test(text)) throw new NotUnderstood(malformed);
    if (text.includes("]]>")) throw new NotUnderstood(malformed);
    resolved(text);
  }

  #startTag(): void {
    const parent = this.#open;
    if (parent !== undefined) parent.plain = false;
    else if (this.#elements.length > 0) throw new NotUnderstood(malformed);
    if ((parent?.depth ?? 0) >= deepest) throw new NotUnderstood("it is nested too deep");
    this.#at += 1;
    const name = this.#take(nameAt);
    const nameEnd = this.#at;
    const raw = this.#attributes();
    const closed = this.#sees("/>");
    if (!closed && !this.#sees(">")) throw new NotUnderstood(malformed);
    this.#at += closed ? 2 : 1;
    const element: Open = {
      ...{ name, nameEnd, parent, contentFrom: this.#at, depth: (parent?.depth ?? 0) + 1 },
      ...{ declared: declarations(raw), plain: true, text: undefined, space: "", local: "", attributes: [] },
    };
    const [prefix, local] = parted(name);
    element.local = local;
    element.space = declaredSpace(prefix, element);
    element.attributes = qualified(raw, element);
    this.#elements.push(element);
    if (!closed) this.#open = element;
  }

  #attributes(): readonly RawAttribute[] {
    const found: RawAttribute[] = [];
    for (;;) {
      const blanks = this.#take(blanksAt);
      if (this.#sees("/>") || this.#sees(">")) return found;
      if (blanks === "") throw new NotUnderstood(malformed);
      const name = this.#take(nameAt);
      this.#take(equalsAt);
      const from = this.#at + 1;
      const value = resolved(this.#take(quotedAt).slice(1, -1));
      found.push({ name, value, from, to: this.#at - 1 });
    }
  }

  #endTag(): void {
    const element = this.#open;
    const contentTo = this.#at;
    this.#at += 2;
    if (element === undefined || this.#take(nameAt) !== element.name) throw new NotUnderstood(malformed);
    this.#take(blanksAt);
    if (!this.#sees(">")) throw new NotUnderstood(malformed);
    this.#at += 1;
    if (element.plain) element.text = { from: element.contentFrom, to: contentTo };
    this.#open = element.parent;
  }

  #sees(what: string): boolean {
    return this.#text.startsWith(what, this.#at);
  }

  #find(what: string, from: number): number {
    const found = this.#text.indexOf(what, from);
    if (found < 0) throw new NotUnderstood(malformed);
    return found;
  }

  /** Past something that isn't plain text. */
  #pass(to: number): void {
    if (this.#open !== undefined) this.#open.plain = false;
    this.#at = to;
  }

  #take(pattern: RegExp): string {
    pattern.lastIndex = this.#at;
    const [found] = pattern.exec(this.#text) ?? [];
    if (found === undefined) throw new NotUnderstood(malformed);
    this.#at += found.length;
    return found;
  }
}

function parted(name: string): readonly [string, string] {
  const colon = name.indexOf(":");
  return colon < 0 ? ["", name] : [name.slice(0, colon), name.slice(colon + 1)];
}

function declarations(raw: readonly RawAttribute[]): ReadonlyMap<string, string> {
  const found = new Map<string, string>();
  for (const { name, value } of raw) {
    const [prefix, local] = parted(name);
    if (name !== "xmlns" && prefix !== "xmlns") continue;
    const declared = name === "xmlns" ? "" : local;
    const odd = declared !== "" && (value === "" || declared === "xmlns" || declared === "xml");
    if (odd || found.has(declared)) throw new NotUnderstood(malformed);
    found.set(declared, value);
  }
  return found;
}

function declaredSpace(prefix: string, element: XmlElement): string {
  const space = spaceOf(prefix, element);
  if (space === undefined) throw new NotUnderstood("it uses a prefix that it doesn't declare");
  return space;
}

/** All but the declarations. Namespaces in XML 1.0, section 6.3: no two mean the same. */
function qualified(raw: readonly RawAttribute[], element: XmlElement): readonly XmlAttribute[] {
  const seen = new Set<string>();
  const found: XmlAttribute[] = [];
  for (const { name, value, from, to } of raw) {
    const [prefix, local] = parted(name);
    if (name === "xmlns" || prefix === "xmlns") continue;
    const space = prefix === "" ? "" : declaredSpace(prefix, element);
    const key = JSON.stringify([space, local]);
    if (seen.has(key)) throw new NotUnderstood(malformed);
    seen.add(key);
    found.push({ space, local, value, from, to });
  }
  return found;
}

/** Without a DOCTYPE there are five entities and the characters by number. @throws NotUnderstood for any other */
function resolved(text: string): string {
  return text.replace(reference, (whole, decimal?: string, hex?: string, name?: string) => {
    if (name !== undefined) return entities[name] ?? "";
    const code = decimal === undefined ? Number.parseInt(hex ?? "", 16) : Number(decimal);
    const isOne = whole !== "&" && code <= 0x10ffff;
    const char = isOne ? String.fromCodePoint(code) : "";
    if (!isOne || notAChar.test(char)) throw new NotUnderstood(malformed);
    return char;
  });
}
