/**
 * Money: a whole number of minor units (cents, pence, yen) and a currency. Amounts go in and out as decimal text and
 * never through binary fractions: 1.005 * 100 is not 100.5 there.
 */

/** An amount. `minorUnits` is a whole number within ±(2^53 - 1). */
export type Money = { minorUnits: number; currency: string };

/**
 * Decimals of the currencies in ISO 4217 list one that do not have 2. JavaScript's own Intl table is not used: it
 * follows habits of display and gives 0 for 16 currencies that have 2 or 3, among them HUF, IDR, IQD and PKR.
 */
const DECIMALS: Record<number, string> = {
  0: "BIF CLP DJF GNF ISK JPY KMF KRW PYG RWF UGX UYI VND VUV XAF XOF XPF",
  3: "BHD IQD JOD KWD LYD OMR TND",
  4: "CLF UYW",
};

/** The others of list one that money can be counted in, as of 2025 (from memory). */
const TWO_DECIMALS = `
  AED AFN ALL AMD AOA ARS AUD AWG AZN BAM BBD BDT BGN BMD BND BOB BOV BRL BSD BTN BWP BYN BZD CAD CDF CHE CHF CHW
  CNY COP COU CRC CUP CVE CZK DKK DOP DZD EGP ERN ETB EUR FJD FKP GBP GEL GHS GIP GMD GTQ GYD HKD HNL HTG HUF IDR
  ILS INR IRR JMD KES KGS KHR KPW KYD KZT LAK LBP LKR LRD LSL MAD MDL MGA MKD MMK MNT MOP MRU MUR MVR MWK MXN MXV
  MYR MZN NAD NGN NIO NOK NPR NZD PAB PEN PGK PHP PKR PLN QAR RON RSD RUB SAR SBD SCR SDG SEK SGD SHP SLE SOS SRD
  SSP STN SVC SYP SZL THB TJS TMT TOP TRY TTD TWD TZS UAH USD USN UYU UZS VED VES WST XCD XCG YER ZAR ZMW ZWG`;

const MINOR_UNITS = new Map<string, number>([
  ...TWO_DECIMALS.trim()
    .split(/\s+/)
    .map((code) => [code, 2] as const),
  ...Object.entries(DECIMALS).flatMap(([decimals, codes]) =>
    codes.split(" ").map((code) => [code, Number(decimals)] as const),
  ),
]);

/** Every currency that amounts may be in, as three capital letters (ISO 4217), in alphabetical order. */
export const currencies: readonly string[] = [...MINOR_UNITS.keys()].sort();

/** Whether `code` is a currency that amounts may be in. Metals, test codes and the like are not. */
export function isCurrency(code: string): boolean {
  return MINOR_UNITS.has(code);
}

/**
 * Decimals of a currency.
 *
 * @returns 0, 2, 3 or 4
 * @throws {RangeError} if `currency` is not a currency with minor units
 */
export function currencyDecimals(currency: string): number {
  const decimals = MINOR_UNITS.get(currency);
  if (decimals === undefined) {
    throw new RangeError(`currencyDecimals requires a currency of ISO 4217 such as EUR, got "${currency}"`);
  }
  return decimals;
}

/**
 * Amount from decimal text with a point: "12.50", "-3.1", "7".
 *
 * Zeros at the end are harmless; other digits beyond those of the currency are refused, not rounded.
 *
 * @throws {RangeError} if the text is no such number, has too many decimals or is too large, or the currency is unknown
 * @example
 * ```ts
 * parseMoney("12.50", "EUR"); // => { minorUnits: 1250, currency: "EUR" }
 * ```
 */
export function parseMoney(text: string, currency: string): Money {
  const decimals = currencyDecimals(currency);
  const match = /^(-?)([0-9]+)(?:\.([0-9]+))?$/.exec(text);
  if (match === null || text.endsWith("\n")) {
    throw new RangeError(`parseMoney requires digits with a decimal point such as 12.50, got "${text}"`);
  }
  const [, sign, whole, fraction = ""] = match;
  const needed = fraction.replace(/0+$/, "");
  if (needed.length > decimals) {
    throw new RangeError(`parseMoney requires at most ${decimals} decimals for ${currency}, got "${text}"`);
  }
  const minorUnits = Number(whole! + needed.padEnd(decimals, "0"));
  if (!Number.isSafeInteger(minorUnits)) {
    throw new RangeError(`parseMoney requires an amount below 2^53 minor units, got "${text}"`);
  }
  return { minorUnits: sign === "-" && minorUnits !== 0 ? -minorUnits : minorUnits, currency };
}

/**
 * Decimal text of an amount, with all decimals of its currency and a point: what `parseMoney` reads.
 *
 * @throws {RangeError} if the amount is not a whole number of minor units, or the currency is unknown
 * @example
 * ```ts
 * formatMoney({ minorUnits: 1250, currency: "EUR" }); // => "12.50"
 * ```
 */
export function formatMoney(money: Money): string {
  const { minorUnits, currency } = money;
  const decimals = currencyDecimals(currency);
  if (!Number.isSafeInteger(minorUnits)) {
    throw new RangeError(`formatMoney requires a whole number of minor units, got ${minorUnits}`);
  }
  const digits = String(Math.abs(minorUnits)).padStart(decimals + 1, "0");
  const sign = minorUnits < 0 ? "-" : "";
  if (decimals === 0) return sign + digits;
  return `${sign}${digits.slice(0, -decimals)}.${digits.slice(-decimals)}`;
}

/** An amount with its currency, as a sentence says it: "AUD 12.50". @throws {RangeError} as `formatMoney` */
export const moneyText = (money: Money): string => `${money.currency} ${formatMoney(money)}`;

/**
 * Means in whole minor units that add up to the mean of the whole: that is rounded, and what is left over by cutting
 * each part to a whole number goes to those with the largest remainders, the earlier first. Whole numbers are added up,
 * so that parts of the same whole that are cut in other ways come to the same.
 *
 * @param sums sums of amounts, whole numbers >= 0
 * @param count of how many each is the sum
 * @example
 * ```ts
 * wholeMeans([104, 204, 304], 10); // => [11, 20, 30]
 * ```
 */
export function wholeMeans(sums: readonly number[], count: number): number[] {
  const means = sums.map((sum) => Math.floor(sum / count));
  const total = Math.round(sums.reduce((all, sum) => all + sum, 0) / count);
  const left = total - means.reduce((all, mean) => all + mean, 0);
  const byRemainder = sums.map((sum, i) => ({ i, rest: sum % count }));
  byRemainder.sort((a, b) => b.rest - a.rest || a.i - b.i);
  for (const { i } of byRemainder.slice(0, left)) means[i]!++;
  return means;
}

/**
 * Sum of amounts of one currency; nothing gives 0.
 *
 * @throws {RangeError} if an amount is of another currency, or the sum leaves the range of whole numbers
 */
export function sumMoney(amounts: readonly Money[], currency: string): Money {
  let minorUnits = 0;
  for (const amount of amounts) {
    if (amount.currency !== currency) {
      throw new RangeError(`sumMoney requires amounts in ${currency}, got ${amount.currency}`);
    }
    minorUnits += amount.minorUnits;
  }
  if (!Number.isSafeInteger(minorUnits))
    throw new RangeError("sumMoney requires a sum below 2^53 minor units");
  return { minorUnits, currency };
}
