import type { StockMember } from "./stock-row.ts";

/**
 * Products and offers of schema.org in JSON-LD, as shops publish them: compact terms, with or without the prefix
 * "schema:" or the vocabulary's address. Other vocabularies in the same document are passed over.
 */
type Node = Record<string, unknown>;

const isNode = (value: unknown): value is Node =>
  typeof value === "object" && value !== null && !Array.isArray(value);

const bare = (term: string) => term.replace(/^(?:https?:\/\/schema\.org\/|schema:)/, "");

/** What stands under a term, whatever prefix it has. */
function under(node: Node, term: string): unknown {
  const key = term in node ? term : Object.keys(node).find((one) => bare(one) === term);
  return key === undefined ? undefined : node[key];
}

/** A member of a node: the first of several values, and the value of a value object. */
function member(node: Node, term: string): unknown {
  const value = under(node, term);
  const first = Array.isArray(value) ? value[0] : value;
  if (isNode(first) && "@value" in first) return first["@value"];
  return isNode(first) && Object.keys(first).length === 1 && "@id" in first ? first["@id"] : first;
}

const typesOf = (node: Node): string[] => {
  const type = node["@type"];
  return (Array.isArray(type) ? type : [type])
    .filter((one) => typeof one === "string")
    .map((one) => bare(one));
};

/** Days in the unit of a duration, by UN/CEFACT Recommendation 20 (codes from memory). */
const daysIn: Record<string, number> = { DAY: 1, WEE: 7, HUR: 1 / 24 };

function quantity(value: unknown): unknown {
  return isNode(value) ? (member(value, "value") ?? member(value, "minValue")) : value;
}

/** A lead time as "3-7" days; what cannot be read stays as it is, for the row to be refused with it. */
function leadTime(value: unknown): unknown {
  if (!isNode(value)) return value;
  const unit = member(value, "unitCode") ?? "DAY";
  const factor = typeof unit === "string" ? daysIn[unit] : undefined;
  const only = member(value, "value");
  const least = only ?? member(value, "minValue") ?? member(value, "maxValue");
  const most = only ?? member(value, "maxValue") ?? least;
  const [from, to] = [Number(least), Number(most)];
  if (factor === undefined || !Number.isFinite(from) || !Number.isFinite(to)) return JSON.stringify(value);
  return `${Math.floor(from * factor)}-${Math.ceil(to * factor)}`;
}

const gtins = ["gtin", "gtin13", "gtin14", "gtin12", "gtin8"];

/** Digits of a GTIN, also out of a GS1 Digital Link (…/01/09506000134352). */
const gtinIn = (value: unknown): unknown =>
  typeof value === "string" ? (/^https?:\/\/.*\/01\/(\d{8,14})(?:[/?#]|$)/.exec(value)?.[1] ?? value) : value;

/** The price of an offer, or of the price specification in it. */
function priced(offer: Node, term: "price" | "priceCurrency"): unknown {
  const specified = member(offer, "priceSpecification");
  return member(offer, term) ?? (isNode(specified) ? member(specified, term) : undefined);
}

/** Of several offers the first in the shop's currency, or that says none. */
function offerIn(product: Node, currency: string): unknown {
  const several = under(product, "offers");
  if (!Array.isArray(several)) return member(product, "offers");
  const fits = (one: unknown) =>
    isNode(one) && [undefined, currency].includes(priced(one, "priceCurrency") as string);
  return several.find(fits) ?? member(product, "offers");
}

/** A reference to something that stands elsewhere in the document. A list is read as it comes, row by row. */
const isReference = (value: unknown): boolean => value !== undefined && value !== null && !isNode(value);

/**
 * The cells of a product with its offer, or of an offer with the product that it offers; or, as a text, why it is neither.
 *
 * @param currency of the shop: of several offers of a product, that in it counts
 * @example
 * ```ts
 * const cells = cellsOfSchemaOrg({ "@type": "Offer", sku: "A-1", price: "6.50" }, "EUR");
 * typeof cells === "function" ? cells("price") : cells; // => "6.50"
 * ```
 */
export function cellsOfSchemaOrg(
  value: unknown,
  currency: string,
): ((member: StockMember) => unknown) | string {
  const unknown = 'must be a Product or an Offer of schema.org ("@type")';
  if (!isNode(value)) return unknown;
  const listed = member(value, "item") ?? value;
  if (!isNode(listed)) return unknown;
  const isOffer = typesOf(listed).some((type) => /^(?:Aggregate)?Offer$/.test(type));
  const isProduct = typesOf(listed).some((type) =>
    /^(?:Product|IndividualProduct|ProductModel|SomeProducts)$/.test(type),
  );
  if (!isOffer && !isProduct) {
    const said = JSON.stringify(listed["@type"]);
    return said === undefined
      ? unknown
      : `${unknown}, but is ${said}; terms stand as they are, or after "schema:"`;
  }
  const offered = isOffer ? listed : offerIn(listed, currency);
  const item = isOffer ? member(listed, "itemOffered") : listed;
  if (isReference(offered) || isReference(item))
    return `names ${isOffer ? "what it offers" : "its offer"} by an address (${JSON.stringify(isOffer ? item : offered)}); write it inside`;
  const offer = isNode(offered) ? offered : {};
  const product = isNode(item) ? item : {};
  const either = (term: string) => member(product, term) ?? member(offer, term);
  return (asked) => {
    switch (asked) {
      case "gtin":
        return gtinIn(gtins.map(either).find((one) => one !== undefined));
      case "inventoryLevel":
        return quantity(either("inventoryLevel"));
      case "eligibleQuantity": {
        const least = member(offer, "eligibleQuantity");
        return isNode(least) ? (member(least, "minValue") ?? member(least, "value")) : least;
      }
      case "deliveryLeadTime":
        return leadTime(member(offer, "deliveryLeadTime"));
      case "price":
      case "priceCurrency":
        return priced(offer, asked);
      case "availability":
        return member(offer, asked);
      case "mpn":
      case "name":
      case "sku":
        return either(asked);
    }
  };
}
