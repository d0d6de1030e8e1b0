/**
 * Global Trade Item Numbers: the digits under a barcode. They are text, never a number: leading zeros belong to them.
 * Rules: GS1 General Specifications, section 7.9.1.
 */

const LENGTHS = [8, 12, 13, 14];

/**
 * Check digit for the digits that precede it: weights 3, 1, 3, 1, … from the right, then what is missing to the next
 * multiple of ten.
 *
 * @param body the digits without the check digit
 * @returns 0 to 9
 * @throws {RangeError} if `body` is empty or holds anything but the digits 0 to 9
 * @example
 * ```ts
 * gtinCheckDigit("629104150021"); // => 3
 * ```
 */
export function gtinCheckDigit(body: string): number {
  if (!/^[0-9]+$/.test(body) || body.includes("\n")) {
    throw new RangeError("gtinCheckDigit requires digits 0 to 9 only");
  }
  let sum = 0;
  for (let i = 0; i < body.length; i++) {
    const digit = body.charCodeAt(body.length - 1 - i) - 48;
    sum += i % 2 === 0 ? 3 * digit : digit;
  }
  return (10 - (sum % 10)) % 10;
}

/**
 * What is wrong with a number as a GTIN, in words for the person who typed it; undefined when nothing is.
 *
 * The check digit catches every wrong digit and most swaps of neighbours, not those of digits that differ by 5.
 */
export function gtinFault(code: string): string | undefined {
  if (code === "") return "The GTIN is empty";
  if (/\s/.test(code)) return "A GTIN has no spaces or line breaks";
  if (!/^[0-9]+$/.test(code)) return "A GTIN has digits 0 to 9 only";
  if (!LENGTHS.includes(code.length)) {
    return `A GTIN has 8, 12, 13 or 14 digits, this one has ${code.length}`;
  }
  const right = gtinCheckDigit(code.slice(0, -1));
  const found = Number(code.slice(-1));
  if (found === right) return undefined;
  return `The last digit of the GTIN is ${found}, but the digits before it ask for ${right}: one of them is mistyped`;
}

/** Whether `code` is a GTIN of 8, 12, 13 or 14 digits with the right check digit. */
export function isGtin(code: string): boolean {
  return gtinFault(code) === undefined;
}

/**
 * The 14-digit form, in which the same item has the same text whatever length was printed. For comparing; show and
 * publish the number as it was given.
 *
 * @throws {RangeError} if `code` is not a GTIN; the message says what is wrong
 * @example
 * ```ts
 * gtin14("73513537"); // => "00000073513537"
 * ```
 */
export function gtin14(code: string): string {
  const fault = gtinFault(code);
  if (fault !== undefined) throw new RangeError(`gtin14 requires a GTIN: ${fault}`);
  return code.padStart(14, "0");
}
