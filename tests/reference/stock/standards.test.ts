import { parse } from "csv-parse/sync";
import { stringify } from "csv-stringify/sync";
import { expect, test } from "vitest";
import { gtin14, gtinCheckDigit, isGtin } from "../../../src/domain/gtin.ts";
import { currencyDecimals, formatMoney, isCurrency, parseMoney } from "../../../src/domain/money.ts";
import { availabilities, conditions, toSchemaOrg } from "../../../src/domain/offer.ts";
import { expectAll, referenceCase } from "./reference-case.ts";

test("std-01 GTIN check digits agree with GS1 General Specifications 7.9.1, not with the misquoted digit 3", () => {
  const reference = referenceCase<{ bodies: string[]; codes: string[]; normalise: string[] }>("std-01");
  const { bodies, codes, normalise } = reference.inputs;
  const answers: Record<string, unknown> = {};
  for (const body of bodies) answers[`check digit of ${body}`] = gtinCheckDigit(body);
  for (const code of codes) answers[`valid ${code}`] = isGtin(code);
  for (const code of normalise) answers[`14-digit form of ${code}`] = gtin14(code);
  expectAll(reference, answers);
});

test("std-02 money in minor units agrees with ISO 4217 where Intl does not", () => {
  type Inputs = {
    minor_units_not_2: [string, number][];
    no_minor_unit: string[];
    intl_differs: { digits: Record<string, number> };
    amounts: [string, string][];
  };
  const reference = referenceCase<Inputs>("std-02");
  const { minor_units_not_2, no_minor_unit, intl_differs, amounts } = reference.inputs;
  const answers: Record<string, unknown> = {};
  for (const [text, currency] of amounts) {
    const key = `${text} ${currency} in minor units`;
    try {
      const money = parseMoney(text, currency);
      answers[key] = money.minorUnits;
      expect(parseMoney(formatMoney(money), currency)).toEqual(money);
    } catch (error) {
      expect(error).toBeInstanceOf(RangeError);
      answers[key] = "reject";
    }
  }
  expectAll(reference, answers);
  for (const [currency, decimals] of minor_units_not_2)
    expect(currencyDecimals(currency), currency).toBe(decimals);
  for (const code of no_minor_unit) expect(isCurrency(code), code).toBe(false);
  const exceptions = new Map(minor_units_not_2);
  for (const currency of Object.keys(intl_differs.digits)) {
    expect(currencyDecimals(currency), currency).toBe(exceptions.get(currency) ?? 2);
  }
});

test("std-03 an offer is written in the words of schema.org: no property leadTime, and the example to the letter", () => {
  const reference = referenceCase<{ facts: Record<string, unknown>; example: unknown }>("std-03");
  const { facts, example } = reference.inputs;
  expect(availabilities).toEqual(facts["ItemAvailability members"]);
  expect(conditions).toEqual(facts["OfferItemCondition members"]);
  const written = toSchemaOrg({
    sku: "A-100",
    mpn: "SG-48-78",
    name: "Spur gear, 78 teeth, 48 pitch",
    price: { minorUnits: 650, currency: "EUR" },
    onHand: 4,
    availability: "InStock",
    leadTimeDays: { least: 3, most: 7 },
    minimumOrder: 2,
  });
  expect(written).toEqual(example);
  const { offers } = written;
  expect("leadTime" in offers).toBe(facts["property leadTime exists"]);
  expect(facts["lead time property"]).toSatisfy((property: string) => property in offers);
  for (const [value, type] of [
    [offers.inventoryLevel, facts["inventoryLevel value type"]],
    [offers.deliveryLeadTime, facts["deliveryLeadTime value type"]],
  ] as const) {
    expect(value?.["@type"]).toBe(type);
    expect(facts["QuantitativeValue properties"]).toEqual(
      expect.arrayContaining(Object.keys(value!).filter((key) => key !== "@type")),
    );
  }
  expect(offers.eligibleQuantity).toEqual({ "@type": "QuantitativeValue", minValue: 2 });
  expect(offers.deliveryLeadTime?.unitCode).toHaveLength(3);
  expect(facts["price value types"]).toContain("Text");
  expect(typeof offers.price).toBe("string");
  expect(facts["gtin family"]).toContain("gtin");
  expect(
    toSchemaOrg({ sku: "B", name: "B", gtin: "73513537", price: { minorUnits: 1, currency: "EUR" } }).gtin,
  ).toBe("73513537");
});

test("std-04 CSV stock lists are read as RFC 4180 says, and written so that they are read the same", () => {
  const reference = referenceCase<{ texts: { name: string; text: string }[] }>("std-04");
  const answers: Record<string, unknown> = {};
  for (const { name, text } of reference.inputs.texts) {
    try {
      const rows = parse(text, { bom: true }) as string[][];
      answers[name] = rows;
      expect(parse(stringify(rows, { record_delimiter: "\r\n" }))).toEqual(rows);
    } catch {
      answers[name] = "error";
    }
  }
  expectAll(reference, answers);
});
