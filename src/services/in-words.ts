/** Numbers as a person reads them in a sentence. */

/** A chance or a share; never "100 %" or "0 %", for nothing that is forecast is certain. */
export const percent = (p: number): string =>
  p > 0.995 ? "over 99 %" : p < 0.005 ? "under 1 %" : `${Math.round(p * 100)} %`;

/** More decimals would say more than a forecast knows. */
const mostDecimals = 4;

/**
 * Chances that are read beside each other: where two that differ would read alike, all get more digits.
 *
 * @returns one text for each
 */
export function percents(...chances: number[]): string[] {
  const plain = chances.map(percent);
  const apart = (texts: readonly string[]) =>
    texts.every((text, i) => texts.every((other, j) => text !== other || chances[i] === chances[j]));
  if (apart(plain)) return plain;
  for (let decimals = 1; decimals <= mostDecimals; decimals++) {
    const texts = chances.map((p) => withDecimals(p, decimals));
    if (apart(texts)) return texts;
  }
  return plain;
}

function withDecimals(p: number, decimals: number): string {
  const text = (p * 100).toFixed(decimals);
  const least = (10 ** -decimals).toFixed(decimals);
  if (Number(text) >= 100) return `over ${(100 - 10 ** -decimals).toFixed(decimals)} %`;
  return Number(text) === 0 ? `under ${least} %` : `${text} %`;
}

/** "rises from 40 % to 90 %", or "stays at 40 %" where nothing is gained that a person could read. */
export function risen(before: number, after: number): string {
  const [from, to] = percents(before, after);
  return from === to ? `stays at ${to}` : `rises from ${from} to ${to}`;
}

/** "none", "1", "2 to 5". */
export const rangeInWords = ({ p10, p90 }: { p10: number; p90: number }): string =>
  p90 === 0 ? "none" : p10 === p90 ? `${p10}` : `${p10} to ${p90}`;

/** "none is likely to be needed", "2 to 5 are likely to be needed". */
export const likelyNeed = (need: { p10: number; p90: number }): string =>
  `${rangeInWords(need)} ${need.p90 === 0 || (need.p10 === 1 && need.p90 === 1) ? "is" : "are"} likely to be needed`;

/** With the full stop at its end, unless it asks something. */
export const asSentence = (text: string): string => (/[.?!]$/.test(text) ? text : `${text}.`);

export const capitalised = (sentence: string): string =>
  sentence.replace(/^./, (first) => first.toUpperCase());
export const count = (n: number, word: string): string => `${n} ${word}${n === 1 ? "" : "s"}`;
export const oneDecimal = (x: number): number => Math.round(x * 10) / 10;

const months = "January February March April May June July August September October November December".split(
  " ",
);
/** The month of a day, such as "June 2027". */
export const inMonth = (day: string): string => `${months[Number(day.slice(5, 7)) - 1]} ${day.slice(0, 4)}`;
