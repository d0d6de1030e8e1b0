import fc from "fast-check";
import { expect, test } from "vitest";
import { gtin14, gtinCheckDigit, gtinFault, isGtin } from "../../src/domain/gtin.ts";

fc.configureGlobal({ seed: 20 });

const digits = (length: number) =>
  fc
    .array(fc.integer({ min: 0, max: 9 }), { minLength: length, maxLength: length })
    .map((list) => list.join(""));
const body = fc.constantFrom(7, 11, 12, 13).chain(digits);

test("a body with its check digit is a GTIN, with any other last digit it is not", () => {
  fc.assert(
    fc.property(body, fc.integer({ min: 1, max: 9 }), (text, off) => {
      const right = gtinCheckDigit(text);
      expect(isGtin(text + right)).toBe(true);
      expect(isGtin(text + ((right + off) % 10))).toBe(false);
    }),
  );
});

test("padding with zeros to a longer form keeps the check digit valid and the 14-digit form the same", () => {
  fc.assert(
    fc.property(digits(7), (text) => {
      const short = text + gtinCheckDigit(text);
      for (const length of [12, 13, 14]) {
        const long = short.padStart(length, "0");
        expect(isGtin(long)).toBe(true);
        expect(gtin14(long)).toBe(gtin14(short));
      }
    }),
  );
});

test("gtinFault says in words what is wrong", () => {
  expect(gtinFault("6291041500213")).toBeUndefined();
  expect(gtinFault("")).toBe("The GTIN is empty");
  expect(gtinFault("6291041500213\n")).toBe("A GTIN has no spaces or line breaks");
  expect(gtinFault("62910415O0213")).toBe("A GTIN has digits 0 to 9 only");
  expect(gtinFault("73513536")).toMatch(
    /^The last digit of the GTIN is 6, but the digits before it ask for 7/,
  );
  expect(gtinFault("629104150")).toBe("A GTIN has 8, 12, 13 or 14 digits, this one has 9");
  expect(gtinFault("6291041500214")).toBe(
    "The last digit of the GTIN is 4, but the digits before it ask for 3: one of them is mistyped",
  );
});

test("gtinCheckDigit and gtin14 refuse what is no number of that sort", () => {
  for (const text of ["", "12a", "12\n", "１２"]) expect(() => gtinCheckDigit(text)).toThrow(RangeError);
  expect(() => gtin14("6291041500214")).toThrow("gtin14 requires a GTIN: The last digit of the GTIN is 4");
});
