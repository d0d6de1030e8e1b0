import fc from "fast-check";
import { expect, test } from "vitest";
import {
  currencies,
  currencyDecimals,
  formatMoney,
  isCurrency,
  moneyText,
  parseMoney,
  sumMoney,
  wholeMeans,
} from "../../src/domain/money.ts";

fc.configureGlobal({ seed: 20 });

const currency = fc.constantFrom(...currencies);
const minorUnits = fc.maxSafeInteger();

test("formatMoney and parseMoney are inverse for every currency and every whole number of minor units", () => {
  fc.assert(
    fc.property(minorUnits, currency, (units, code) => {
      const money = { minorUnits: units === 0 ? 0 : units, currency: code };
      const text = formatMoney(money);
      expect(text).toMatch(/^-?[0-9]+(\.[0-9]+)?$/);
      expect(parseMoney(text, code)).toEqual(money);
    }),
  );
});

test("parseMoney reads zeros at the end that the currency does not have, and never gives minus zero", () => {
  expect(parseMoney("12.500", "EUR")).toEqual({ minorUnits: 1250, currency: "EUR" });
  expect(parseMoney("1200.00", "JPY").minorUnits).toBe(1200);
  expect(Object.is(parseMoney("-0.00", "EUR").minorUnits, 0)).toBe(true);
  expect(parseMoney("007", "EUR").minorUnits).toBe(700);
});

test("parseMoney refuses what is not plain digits with a point", () => {
  for (const text of [
    "",
    " 1",
    "1 ",
    "1,50",
    "1.",
    ".5",
    "1e3",
    "+1",
    "--1",
    "1\n",
    "１",
    "NaN",
    "Infinity",
    "0x10",
  ]) {
    expect(() => parseMoney(text, "EUR"), text).toThrow(/^parseMoney requires digits/);
  }
  expect(() => parseMoney("1.005", "USD")).toThrow("parseMoney requires at most 2 decimals for USD");
  expect(() => parseMoney("90071992547409.92", "EUR")).toThrow("2^53");
  expect(parseMoney("90071992547409.91", "EUR").minorUnits).toBe(Number.MAX_SAFE_INTEGER);
});

test("currencies are three capital letters, once each, and metals and test codes are not among them", () => {
  expect(currencies.every((code) => /^[A-Z]{3}$/.test(code))).toBe(true);
  expect(new Set(currencies).size).toBe(currencies.length);
  expect(currencies.length).toBeGreaterThan(150);
  for (const code of ["XAU", "XTS", "XXX", "eur", "", "toString"]) expect(isCurrency(code)).toBe(false);
  expect(() => currencyDecimals("XAU")).toThrow(RangeError);
});

test("sumMoney adds whole units and refuses mixed currencies", () => {
  fc.assert(
    fc.property(fc.array(fc.integer({ min: -1e9, max: 1e9 })), (list) => {
      const amounts = list.map((units) => ({ minorUnits: units, currency: "EUR" }));
      expect(sumMoney(amounts, "EUR").minorUnits).toBe(list.reduce((sum, units) => sum + units, 0));
    }),
  );
  expect(() => sumMoney([{ minorUnits: 1, currency: "USD" }], "EUR")).toThrow(
    "sumMoney requires amounts in EUR",
  );
});

test("formatMoney refuses fractions of a minor unit", () => {
  expect(() => formatMoney({ minorUnits: 0.5, currency: "EUR" })).toThrow(RangeError);
  expect(() => formatMoney({ minorUnits: Number.NaN, currency: "EUR" })).toThrow(RangeError);
  expect(formatMoney({ minorUnits: -5, currency: "EUR" })).toBe("-0.05");
  expect(formatMoney({ minorUnits: 5, currency: "CLF" })).toBe("0.0005");
});

test("wholeMeans adds up to the mean of the whole, and each part is its own mean cut or rounded up", () => {
  fc.assert(
    fc.property(
      fc.array(fc.integer({ min: 0, max: 10_000_000 }), { maxLength: 20 }),
      fc.integer({ min: 1, max: 1000 }),
      (sums, count) => {
        const means = wholeMeans(sums, count);
        const [all = 0] = wholeMeans([sums.reduce((total, sum) => total + sum, 0)], count);
        expect(means.reduce((total, mean) => total + mean, 0)).toBe(all);
        means.forEach((mean, i) => {
          expect(Math.abs(mean - sums[i]! / count)).toBeLessThan(1);
        });
      },
    ),
  );
});

test("moneyText says the currency before the amount", () => {
  expect(moneyText({ minorUnits: 19_400, currency: "AUD" })).toBe("AUD 194.00");
  expect(moneyText({ minorUnits: 19_400, currency: "JPY" })).toBe("JPY 19400");
});
