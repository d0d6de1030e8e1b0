/** Replacements when lives are whole numbers of periods. Exact. */
import { requireWhole } from "./discrete.ts";
import { lawFromTails } from "./renewal-grid.ts";

/**
 * Expected replacements in each of the first `periods` periods when lives are whole numbers of periods:
 * u_n = first_n + sum over i < n of u_(n-i) later_i (Feller 1968, chapter XIII).
 *
 * @param input.life element i - 1 is the chance of a life of exactly i periods; may sum to less than 1
 * @param input.firstLife the same for the life in place at the start, default `life`
 * @returns element n - 1 belongs to period n
 * @throws {RangeError} if a chance is below 0, a sum is above 1, or periods is not a whole number of at least 0
 */
export function discreteRenewal(input: {
  life: readonly number[];
  firstLife?: readonly number[];
  periods: number;
}): number[] {
  const { life, firstLife = life, periods } = input;
  requireWhole("discreteRenewal", "periods", periods, 0);
  requirePartialLaw("discreteRenewal", life);
  requirePartialLaw("discreteRenewal", firstLife);
  const expected: number[] = [];
  for (let n = 1; n <= periods; n++) {
    let sum = firstLife[n - 1] ?? 0;
    for (let i = 1; i < n && i <= life.length; i++) sum += expected[n - 1 - i]! * life[i - 1]!;
    expected.push(sum);
  }
  return expected;
}

/**
 * Law of the number of replacements in `periods` periods when lives are whole numbers of periods, as where parts
 * are looked at and replaced only between periods. Exact.
 *
 * @param input.life element i - 1 is the chance of a life of exactly i periods; may sum to less than 1
 * @param input.firstLife the same for the life in place at the start, default `life`
 * @throws {RangeError} as `discreteRenewal`
 */
export function latticeRenewalCounts(input: {
  life: readonly number[];
  firstLife?: readonly number[];
  periods: number;
}): number[] {
  const { life, firstLife = life, periods } = input;
  requireWhole("latticeRenewalCounts", "periods", periods, 0);
  requirePartialLaw("latticeRenewalCounts", life);
  requirePartialLaw("latticeRenewalCounts", firstLife);
  const tails: number[] = [];
  // Element n is the chance that replacement k falls in period n.
  let at = [0, ...firstLife.slice(0, periods)];
  for (let k = 1; k <= periods; k++) {
    tails.push(
      Math.min(
        1,
        at.reduce((sum, chance) => sum + chance, 0),
      ),
    );
    const next = new Array<number>(periods + 1).fill(0);
    for (let n = 0; n < at.length; n++) {
      for (let i = 1; i <= life.length && n + i <= periods; i++) next[n + i]! += at[n]! * life[i - 1]!;
    }
    at = next;
  }
  return lawFromTails(tails);
}

function requirePartialLaw(caller: string, chances: readonly number[]): void {
  let sum = 0;
  for (const chance of chances) {
    if (!(chance >= 0)) throw new RangeError(`${caller} requires chances that are not below 0`);
    sum += chance;
  }
  if (!(sum <= 1 + 1e-9))
    throw new RangeError(`${caller} requires chances that sum to at most 1, got ${sum}`);
}
