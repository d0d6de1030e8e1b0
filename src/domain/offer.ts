/** A shop's line as schema.org describes it, for a stock list that search engines and other shops can read. */
import { gtinFault } from "./gtin.ts";
import { formatMoney, type Money } from "./money.ts";

/** Members of schema.org ItemAvailability. */
export const availabilities = [
  "BackOrder",
  "Discontinued",
  "InStock",
  "InStoreOnly",
  "LimitedAvailability",
  "MadeToOrder",
  "OnlineOnly",
  "OutOfStock",
  "PreOrder",
  "PreSale",
  "Reserved",
  "SoldOut",
] as const;

/** Members of schema.org OfferItemCondition. */
export const conditions = [
  "DamagedCondition",
  "NewCondition",
  "RefurbishedCondition",
  "UsedCondition",
] as const;

export type Availability = (typeof availabilities)[number];
export type Condition = (typeof conditions)[number];

/** What a shop says about one of its lines. */
export type Offer = {
  sku: string;
  name?: string | undefined;
  mpn?: string | undefined;
  gtin?: string | undefined;
  /** left out where the shop does not tell */
  price?: Money | undefined;
  /** pieces on the shelf; left out where the shop does not tell */
  onHand?: number | undefined;
  /** days from order to delivery */
  leadTimeDays?: { least: number; most: number } | undefined;
  /** fewest pieces per order */
  minimumOrder?: number | undefined;
  availability?: Availability | undefined;
  condition?: Condition | undefined;
  /** date, YYYY-MM-DD */
  priceValidUntil?: string | undefined;
};

type QuantitativeValue = {
  "@type": "QuantitativeValue";
  value?: number;
  minValue?: number;
  maxValue?: number;
  unitCode?: string;
};

/** JSON-LD of a Product with its Offer. */
export type SchemaOrgProduct = {
  "@context": "https://schema.org";
  "@type": "Product";
  sku: string;
  mpn?: string;
  gtin?: string;
  name?: string;
  offers: {
    "@type": "Offer";
    price?: string;
    priceCurrency?: string;
    availability?: string;
    itemCondition?: string;
    inventoryLevel?: QuantitativeValue;
    deliveryLeadTime?: QuantitativeValue;
    eligibleQuantity?: QuantitativeValue;
    priceValidUntil?: string;
  };
};

/**
 * An offer in the words of schema.org: Product with sku, mpn, gtin, name; Offer with price, priceCurrency,
 * availability, inventoryLevel, deliveryLeadTime (there is no property leadTime) and eligibleQuantity.
 *
 * The GTIN is given as it is printed, not padded. What the shop does not tell is left out: read back, an offer says what it said.
 *
 * @throws {RangeError} if the GTIN or the price is none, or a number of pieces or days is negative
 */
export function toSchemaOrg(offer: Offer): SchemaOrgProduct {
  const { sku, name, mpn, gtin, price, onHand, leadTimeDays, minimumOrder } = offer;
  const { availability, condition, priceValidUntil } = offer;
  const fault = gtin === undefined ? undefined : gtinFault(gtin);
  if (fault !== undefined) throw new RangeError(`toSchemaOrg requires a GTIN: ${fault}`);
  for (const count of [onHand, leadTimeDays?.least, leadTimeDays?.most, minimumOrder]) {
    if (count !== undefined && !(count >= 0)) {
      throw new RangeError("toSchemaOrg requires pieces and days of at least 0");
    }
  }
  return {
    "@context": "https://schema.org",
    "@type": "Product",
    sku,
    ...(mpn === undefined ? {} : { mpn }),
    ...(gtin === undefined ? {} : { gtin }),
    ...(name === undefined ? {} : { name }),
    offers: {
      "@type": "Offer",
      ...(price === undefined ? {} : { price: formatMoney(price), priceCurrency: price.currency }),
      ...(availability === undefined ? {} : { availability: `https://schema.org/${availability}` }),
      ...(condition === undefined ? {} : { itemCondition: `https://schema.org/${condition}` }),
      ...(onHand === undefined ? {} : { inventoryLevel: quantity({ value: onHand }) }),
      ...(leadTimeDays === undefined
        ? {}
        : // "DAY" is the code of UN/CEFACT Recommendation 20 (from memory).
          {
            deliveryLeadTime: quantity({
              minValue: leadTimeDays.least,
              maxValue: leadTimeDays.most,
              unitCode: "DAY",
            }),
          }),
      ...(minimumOrder === undefined ? {} : { eligibleQuantity: quantity({ minValue: minimumOrder }) }),
      ...(priceValidUntil === undefined ? {} : { priceValidUntil }),
    },
  };
}

function quantity(values: Omit<QuantitativeValue, "@type">): QuantitativeValue {
  return { "@type": "QuantitativeValue", ...values };
}
