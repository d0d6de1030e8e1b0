/**
 * The standard normal law: density, distribution, quantile, with tails that keep their digits.
 *
 * Everything rests on the scaled complementary error function erfcx(x) = exp(x²) erfc(x), because it neither
 * underflows nor cancels in the tail where erfc itself is lost.
 */

const SQRT_HALF = Math.SQRT1_2;
const TWO_OVER_SQRT_PI = 2 / Math.sqrt(Math.PI);
const INV_SQRT_PI = 1 / Math.sqrt(Math.PI);
const INV_SQRT_2PI = 1 / Math.sqrt(2 * Math.PI);

/** Step of the trapezoidal rule below: its error is about exp(-π²/h²) = 7e-18 relative. */
const STEP = 0.5;
const NODES = 13;
const NODE_SQUARE = Array.from({ length: NODES }, (_, n) => ((n + 1) * STEP) ** 2);
const NODE_WEIGHT = NODE_SQUARE.map((square) => Math.exp(-square));

function requireNumber(name: string, value: number): void {
  if (typeof value !== "number" || Number.isNaN(value)) throw new RangeError(`${name} requires a number`);
}

/** erf(x) for |x| <= 1/2 by its Maclaurin series 2/sqrt(π) x exp(-x²) Σ (2x²)^k / (1·3···(2k+1)), all terms positive. */
function erfTimesExp(x: number): number {
  const twiceSquare = 2 * x * x;
  let term = 1;
  let sum = 1;
  for (let k = 1; k < 40 && term > 1e-18; k++) {
    term *= twiceSquare / (2 * k + 1);
    sum += term;
  }
  return TWO_OVER_SQRT_PI * x * sum;
}

/**
 * Scaled complementary error function, erfcx(x) = exp(x²) erfc(x).
 *
 * Series near zero, the trapezoidal rule of Matta & Reichel (1971) in the middle, the asymptotic series for
 * x > 20. Relative error below 1e-14 from -20 to 1e10.
 *
 * @param x any real number
 * @returns a positive number; Infinity below about -26.6, where the value leaves the range of a double
 * @throws {RangeError} if `x` is not a number
 */
export function erfcx(x: number): number {
  requireNumber("erfcx", x);
  if (x < -0.5) return x < -26.7 ? Infinity : 2 * expSquare(x) - erfcx(-x);
  if (x <= 0.5) return Math.exp(x * x) - erfTimesExp(x);
  const square = x * x;
  if (x > 20) {
    const y = 0.5 / square;
    return (
      (INV_SQRT_PI / x) *
      (1 - y * (1 - 3 * y * (1 - 5 * y * (1 - 7 * y * (1 - 9 * y * (1 - 11 * y * (1 - 13 * y)))))))
    );
  }
  let sum = 0.5 / square;
  for (let n = 0; n < NODES; n++) sum += NODE_WEIGHT[n]! / (NODE_SQUARE[n]! + square);
  const trapezoid = ((2 * STEP * x) / Math.PI) * sum;
  // The pole of the integrand at ±ix lies inside the strip of the rule until x = π/h; its residue is subtracted.
  return x < Math.PI / STEP
    ? trapezoid - 2 / (Math.exp((2 * Math.PI * x) / STEP - square) - Math.exp(-square))
    : trapezoid;
}

/** exp(x²) with x² split at a multiple of 1/16, so that the rounding of x² is not magnified by the exponential. */
function expSquare(x: number): number {
  const head = Math.trunc(x * 16) / 16;
  return Math.exp(head * head) * Math.exp((x - head) * (x + head));
}

/** exp(-z²/2), split in the same way. */
function expMinusHalfSquare(z: number): number {
  if (Math.abs(z) > 39) return 0;
  const head = Math.trunc(z * 16) / 16;
  return Math.exp(-0.5 * head * head) * Math.exp(-0.5 * (z - head) * (z + head));
}

/**
 * Density of the standard normal law at `z`.
 *
 * @param z any real number
 * @throws {RangeError} if `z` is not a number
 * @example  normalPdf(0); // => 0.39894
 */
export function normalPdf(z: number): number {
  requireNumber("normalPdf", z);
  return INV_SQRT_2PI * expMinusHalfSquare(z);
}

/**
 * Probability that a standard normal variable is at most `z`.
 *
 * @param z any real number, infinities included
 * @returns a probability, with full relative precision down to 1e-300
 * @throws {RangeError} if `z` is not a number
 * @example  normalCdf(-1.959964); // => 0.0250
 */
export function normalCdf(z: number): number {
  requireNumber("normalCdf", z);
  if (z < -39) return 0;
  if (z > 9) return 1;
  return z <= 0
    ? 0.5 * expMinusHalfSquare(z) * erfcx(-z * SQRT_HALF)
    : 1 - 0.5 * expMinusHalfSquare(z) * erfcx(z * SQRT_HALF);
}

/**
 * Natural logarithm of `normalCdf(z)`, also where the probability itself would underflow.
 *
 * @param z any real number
 * @throws {RangeError} if `z` is not a number
 * @example  logNormalCdf(-100); // => -5005.524
 */
export function logNormalCdf(z: number): number {
  requireNumber("logNormalCdf", z);
  if (z > 0) return Math.log1p(-normalCdf(-z));
  if (z > -1) return Math.log(normalCdf(z));
  if (z === -Infinity) return -Infinity;
  return -0.5 * z * z + Math.log(0.5 * erfcx(-z * SQRT_HALF));
}

/** Value of a polynomial whose coefficients are given from the constant upwards. */
function polynomial(coefficients: readonly number[], x: number): number {
  let value = 0;
  for (let i = coefficients.length - 1; i >= 0; i--) value = value * x + coefficients[i]!;
  return value;
}

// Rational approximations of Wichura (1988), algorithm AS 241, rounded to doubles: centre, near tail, far tail.
const CENTRE_TOP = [
  3.3871328727963665, 133.14166789178438, 1971.5909503065513, 13731.69376550946, 45921.95393154987,
  67265.7709270087, 33430.57558358813, 2509.0809287301227,
];
const CENTRE_BOTTOM = [
  1, 42.31333070160091, 687.1870074920579, 5394.196021424751, 21213.794301586597, 39307.89580009271,
  28729.085735721943, 5226.495278852854,
];
const NEAR_TOP = [
  1.4234371107496835, 4.630337846156546, 5.769497221460691, 3.6478483247632045, 1.2704582524523684,
  0.2417807251774506, 0.022723844989269184, 0.0007745450142783414,
];
const NEAR_BOTTOM = [
  1, 2.053191626637759, 1.6763848301838038, 0.6897673349851, 0.14810397642748008, 0.015198666563616457,
  0.0005475938084995345, 1.0507500716444169e-9,
];
const FAR_TOP = [
  6.657904643501103, 5.463784911164114, 1.7848265399172913, 0.29656057182850487, 0.026532189526576124,
  0.0012426609473880784, 2.7115555687434876e-5, 2.0103343992922881e-7,
];
const FAR_BOTTOM = [
  1, 0.599832206555888, 0.1369298809227358, 0.014875361290850615, 0.0007868691311456133,
  1.8463183175100548e-5, 1.421511758316446e-7, 2.0442631033899397e-15,
];

/**
 * Value below which a standard normal variable falls with probability `p`.
 *
 * Wichura (1988), Applied Statistics 37, 477-484; relative error about 1e-15 from 1e-300.
 *
 * @param p probability, in (0, 1)
 * @throws {RangeError} if `p` is outside (0, 1)
 * @example  normalQuantile(0.9); // => 1.28155
 */
export function normalQuantile(p: number): number {
  if (!(p > 0 && p < 1)) throw new RangeError("normalQuantile requires a probability in (0, 1)");
  const centred = p - 0.5;
  if (Math.abs(centred) <= 0.425) {
    const r = 0.180625 - centred * centred;
    return (centred * polynomial(CENTRE_TOP, r)) / polynomial(CENTRE_BOTTOM, r);
  }
  const r = Math.sqrt(-Math.log(centred < 0 ? p : 1 - p));
  const size =
    r <= 5
      ? polynomial(NEAR_TOP, r - 1.6) / polynomial(NEAR_BOTTOM, r - 1.6)
      : polynomial(FAR_TOP, r - 5) / polynomial(FAR_BOTTOM, r - 5);
  return centred < 0 ? -size : size;
}
