/**
 * Writes SVG and HTML. A text becomes part of a document only through `element`, which escapes it; what `element`
 * gives back is known by its type, and is not escaped again.
 */
export interface Markup {
  readonly markup: string;
}

/** What may stand inside an element. */
export type Content = Markup | string | number | null | false | readonly Content[];

const entities: Record<string, string> = {
  "&": "&amp;",
  "<": "&lt;",
  ">": "&gt;",
  '"': "&quot;",
  "'": "&#39;",
};

/** Characters that XML 1.0 allows in no form (section 2.2), halves of pairs among them. */
const unwritable =
  // biome-ignore lint/suspicious/noControlCharactersInRegex: these are the characters to be found
  /[\0-\x08\x0b\x0c\x0e-\x1f\ufffe\uffff]|[\ud800-\udbff](?![\udc00-\udfff])|(?<![\ud800-\udbff])[\udc00-\udfff]/g;

/** A text as it stands in a document or in a quoted attribute; what cannot be written becomes U+FFFD. */
export const escaped = (text: string): string =>
  text.replaceAll(unwritable, "\ufffd").replaceAll(/[&<>"']/g, (sign) => entities[sign]!);

function written(content: Content): string {
  if (content === null || content === false) return "";
  if (typeof content === "string") return escaped(content);
  if (typeof content === "number") return String(content);
  if ("markup" in content) return content.markup;
  return content.map(written).join("");
}

/** Elements of HTML that have no end tag. */
const empty = new Set(["meta", "link", "br"]);
/** Positions in a picture: a hundredth of a pixel is enough. */
const short = (value: number) => String(Math.round(value * 100) / 100);

/** An element with its attributes and content. Attributes that are null or false are left out. */
export function element(
  name: string,
  attributes: Record<string, string | number | null | false> = {},
  ...content: Content[]
): Markup {
  const inside = Object.entries(attributes)
    .filter(([, value]) => value !== null && value !== false)
    .map(([key, value]) => ` ${key}="${typeof value === "number" ? short(value) : escaped(String(value))}"`)
    .join("");
  if (empty.has(name)) return { markup: `<${name}${inside}>` };
  return { markup: `<${name}${inside}>${written(content)}</${name}>` };
}

/** Style sheets and other text that we wrote ourselves, as it is. */
export const trusted = (text: string): Markup => ({ markup: text });
