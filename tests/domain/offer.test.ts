import { expect, test } from "vitest";
import { toSchemaOrg } from "../../src/domain/offer.ts";

const price = { minorUnits: 650, currency: "EUR" };

test("toSchemaOrg leaves out what the shop does not tell", () => {
  expect(toSchemaOrg({ sku: "A", name: "A", price })).toEqual({
    "@context": "https://schema.org",
    "@type": "Product",
    sku: "A",
    name: "A",
    offers: {
      "@type": "Offer",
      price: "6.50",
      priceCurrency: "EUR",
      availability: "https://schema.org/InStock",
    },
  });
});

test("toSchemaOrg takes an empty shelf for a back order unless the shop says otherwise", () => {
  expect(toSchemaOrg({ sku: "A", name: "A", price, onHand: 0 }).offers.availability).toBe(
    "https://schema.org/BackOrder",
  );
  const soldOut = toSchemaOrg({ sku: "A", name: "A", price, onHand: 0, availability: "SoldOut" });
  expect(soldOut.offers.availability).toBe("https://schema.org/SoldOut");
});

test("toSchemaOrg refuses a wrong GTIN and negative numbers", () => {
  expect(() => toSchemaOrg({ sku: "A", name: "A", price, gtin: "123" })).toThrow(
    "toSchemaOrg requires a GTIN",
  );
  expect(() => toSchemaOrg({ sku: "A", name: "A", price, onHand: -1 })).toThrow(RangeError);
  expect(() => toSchemaOrg({ sku: "A", name: "A", price, leadTimeDays: { least: -1, most: 2 } })).toThrow(
    RangeError,
  );
});
