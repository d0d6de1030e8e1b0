import { expect, test } from "vitest";
import { toSchemaOrg } from "../../src/domain/offer.ts";

const price = { minorUnits: 650, currency: "EUR" };

test("toSchemaOrg leaves out what the shop does not tell, and makes nothing up from an empty shelf", () => {
  expect(toSchemaOrg({ sku: "A", price, onHand: 0 })).toEqual({
    "@context": "https://schema.org",
    "@type": "Product",
    sku: "A",
    offers: {
      "@type": "Offer",
      price: "6.50",
      priceCurrency: "EUR",
      inventoryLevel: { "@type": "QuantitativeValue", value: 0 },
    },
  });
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
