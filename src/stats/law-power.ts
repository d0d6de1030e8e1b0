/** Powers of a law of whole numbers: the demand over a multiple of a time, or a part of it. */
import { convolve, pmfMean, pmfVariance, requireLaw, trimTail } from "./discrete.ts";

/** A chance below this beside 0 is rounding; a law of independent equal parts has none. */
const ROUNDING = 1e-12;
const MOST_TERMS = 20_000;

/**
 * The law of demand over `exponent` times the time that a law is for, where demand in parts of the time is independent
 * and alike in law: its generating function is that of the law, to that power. A whole power is a convolution; another
 * one follows by the recurrence for powers of a power series, q_0 = p_0^a and
 * n p_0 q_n = Σ_{k=1..n} (k a - (n - k)) p_k q_{n-k} (Miller; Henrici 1974, from memory), and is a law only where no chance
 * comes out below 0. For all exponents that is so where the law is infinitely divisible, such as compound Poisson.
 *
 * @param law chances of 0, 1, 2, …
 * @param exponent of at least 0
 * @returns a law; what is beyond its far end has a chance below 1e-12
 * @throws {RangeError} if `law` is none, `exponent` is out of range, or the power is no law or loses its digits
 */
export function lawPower(law: readonly number[], exponent: number): number[] {
  requireLaw("lawPower", law);
  if (!(exponent >= 0 && exponent <= 1000))
    throw new RangeError("lawPower requires an exponent in [0, 1000]");
  const whole = Math.round(exponent);
  if (Math.abs(exponent - whole) <= 1e-9 * Math.max(1, exponent)) return wholePower(law, whole);
  const least = law.findIndex((chance) => chance > 0);
  const shift = least * exponent;
  if (Math.abs(shift - Math.round(shift)) > 1e-9) throw noLaw();
  const power = seriesPower(law.slice(least), exponent);
  const { mean, variance } = { mean: pmfMean(law), variance: pmfVariance(law) };
  const shifted = [...new Array<number>(Math.round(shift)).fill(0), ...power];
  const near = (value: number, wanted: number) => Math.abs(value - wanted) <= 1e-7 * Math.max(1e-3, wanted);
  if (!near(pmfMean(shifted), exponent * mean) || !near(pmfVariance(shifted), exponent * variance))
    throw noLaw();
  return shifted;
}

const noLaw = () =>
  new RangeError(
    "lawPower requires a law that can be shared out over that part of its time, or a whole multiple of it",
  );

function wholePower(law: readonly number[], exponent: number): number[] {
  let power = [1];
  let square = [...law];
  for (let left = exponent; left > 0; left = Math.floor(left / 2)) {
    if (left % 2 === 1) power = trimTail(convolve(power, square));
    if (left > 1) square = trimTail(convolve(square, square));
  }
  return power;
}

function seriesPower(law: readonly number[], exponent: number): number[] {
  const [none] = law as [number];
  const power = [none ** exponent];
  let sum = power[0]!;
  for (let n = 1; n < MOST_TERMS && sum < 1 - 1e-13; n++) {
    let chance = 0;
    for (let k = 1; k <= Math.min(n, law.length - 1); k++)
      chance += (k * exponent - (n - k)) * law[k]! * power[n - k]!;
    chance /= n * none;
    if (!(chance >= -ROUNDING)) throw noLaw();
    power.push(Math.max(0, chance));
    sum += Math.max(0, chance);
    // Beyond the mean the terms of a law fade; what has faded away without reaching 1 is rounding.
    if (n > 4 * (exponent + 1) * law.length && chance < 1e-15) break;
  }
  if (!(Math.abs(sum - 1) < 1e-9)) throw noLaw();
  return power.map((chance) => chance / sum);
}
