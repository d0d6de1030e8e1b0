/**
 * Small numerical tools: minimum of a smooth function, root of a function of one variable, second derivatives,
 * eigenvectors of a symmetric matrix. Made for few variables (up to about twenty), each scaled to order one.
 */

/** A function of several variables. It may return Infinity outside its domain, but not NaN. */
export type Objective = (x: readonly number[]) => number;

export interface Minimum {
  x: number[];
  value: number;
  iterations: number;
  /** false when the iterations ran out before the gradient became small */
  converged: boolean;
}

export interface MinimiseOptions {
  maxIterations?: number;
  /** step of the central differences, in units of each variable */
  step?: number;
  /** the search ends when every component of the gradient is below this */
  gradientTolerance?: number;
  /** the search ends, too, when a further step is expected to lower the value by less than this */
  valueTolerance?: number;
  /** gradient at a point whose value was the last one asked for; by central differences if not given */
  gradient?: (x: readonly number[]) => number[];
  /** a first guess of the matrix of second derivatives, inverted; positive definite */
  inverse?: readonly (readonly number[])[];
}

/** Gradient by central differences, falling back to one side where the other is outside the domain. */
export function numericalGradient(f: Objective, x: readonly number[], step: number, value: number): number[] {
  const at = x.slice();
  return x.map((xi, i) => {
    at[i] = xi + step;
    const above = f(at);
    at[i] = xi - step;
    const below = f(at);
    at[i] = xi;
    if (Number.isFinite(above) && Number.isFinite(below)) return (above - below) / (2 * step);
    if (Number.isFinite(above)) return (above - value) / step;
    return Number.isFinite(below) ? (value - below) / step : 0;
  });
}

function dot(a: readonly number[], b: readonly number[]): number {
  let sum = 0;
  for (let i = 0; i < a.length; i++) sum += a[i]! * b[i]!;
  return sum;
}

function identity(n: number): number[][] {
  return Array.from({ length: n }, (_, i) => Array.from({ length: n }, (_, j) => (i === j ? 1 : 0)));
}

/** BFGS update of the inverse Hessian (Nocedal & Wright 2006, section 6.1), in place. */
function updateInverse(inverse: number[][], s: readonly number[], y: readonly number[]): void {
  const sy = dot(s, y);
  if (!(sy > 1e-14)) return;
  const hy = inverse.map((row) => dot(row, y));
  const factor = (1 + dot(y, hy) / sy) / sy;
  for (let i = 0; i < s.length; i++)
    for (let j = 0; j < s.length; j++)
      inverse[i]![j]! += factor * s[i]! * s[j]! - (hy[i]! * s[j]! + s[i]! * hy[j]!) / sy;
}

/**
 * Minimum of a smooth function by BFGS with a backtracking line search.
 *
 * @param f function to make small; finite at `start`
 * @param start first guess, each variable of order one
 * @returns the best point met, also when the iterations ran out (`converged` tells)
 * @throws {RangeError} if `f(start)` is not finite
 */
export function minimise(f: Objective, start: readonly number[], options: MinimiseOptions = {}): Minimum {
  const { maxIterations = 200, step = 1e-4, gradientTolerance = 1e-5, valueTolerance = 0 } = options;
  const slopes = (at: readonly number[], reached: number): number[] =>
    options.gradient ? options.gradient(at) : numericalGradient(f, at, step, reached);
  let x = start.slice();
  let value = f(x);
  if (!Number.isFinite(value)) throw new RangeError("minimise requires a finite value at the start");
  let gradient = slopes(x, value);
  let inverse = options.inverse?.map((row) => row.slice()) ?? identity(x.length);
  let fresh = options.inverse === undefined;
  for (let iteration = 0; iteration < maxIterations; iteration++) {
    if (Math.max(0, ...gradient.map(Math.abs)) < gradientTolerance)
      return { x, value, iterations: iteration, converged: true };
    let direction = inverse.map((row) => -dot(row, gradient));
    if (!(dot(direction, gradient) < 0)) direction = gradient.map((g) => -g);
    const expected = -0.5 * dot(direction, gradient);
    if (expected < valueTolerance && !fresh) return { x, value, iterations: iteration, converged: true };
    const next = lineSearch(f, x, value, direction, dot(direction, gradient));
    if (next === undefined) {
      // A gradient that is slightly off no longer shows the way so near the minimum.
      if (fresh || expected < 100 * valueTolerance)
        return { x, value, iterations: iteration, converged: true };
      inverse = identity(x.length);
      fresh = true;
      continue;
    }
    const nextGradient = slopes(next.x, next.value);
    const moved = next.x.map((xi, i) => xi - x[i]!);
    const turned = nextGradient.map((g, i) => g - gradient[i]!);
    if (fresh) {
      // Scale the first inverse to the curvature just seen, so that the second step has the right length.
      const scale = dot(moved, turned) / dot(turned, turned);
      if (scale > 0) inverse = identity(x.length).map((row) => row.map((v) => v * scale));
    }
    updateInverse(inverse, moved, turned);
    fresh = false;
    const fallen = value - next.value;
    ({ x, value } = next);
    gradient = nextGradient;
    if (fallen < valueTolerance && expected < 100 * valueTolerance)
      return { x, value, iterations: iteration + 1, converged: true };
  }
  return { x, value, iterations: maxIterations, converged: false };
}

/** Backtracks along `direction` until the value falls enough (Armijo's rule); undefined when it never does. */
function lineSearch(
  f: Objective,
  x: readonly number[],
  value: number,
  direction: readonly number[],
  slope: number,
): { x: number[]; value: number } | undefined {
  const longest = Math.max(...direction.map(Math.abs));
  let length = Math.min(1, 2 / longest);
  for (let trial = 0; trial < 40; trial++, length *= 0.4) {
    const candidate = x.map((xi, i) => xi + length * direction[i]!);
    const reached = f(candidate);
    if (reached <= value + 1e-4 * length * slope && reached < value) return { x: candidate, value: reached };
  }
  return undefined;
}

/**
 * Root of `f` between `low` and `high` by the method of Chandrupatla (1997, Advances in Engineering Software 28),
 * which takes inverse quadratic steps where they are safe and bisects elsewhere.
 *
 * @param f function with values of opposite sign (or zero) at the ends
 * @param tolerance width of the final bracket
 * @throws {RangeError} if the ends do not bracket a root
 */
export function findRoot(f: (x: number) => number, low: number, high: number, tolerance: number): number {
  let a = low;
  let b = high;
  let fa = f(a);
  let fb = f(b);
  if (fa === 0) return a;
  if (fb === 0) return b;
  if (!(fa < 0 !== fb < 0)) throw new RangeError("findRoot requires ends of opposite sign");
  let share = 0.5;
  for (let k = 0; k < 100; k++) {
    const x = a + share * (b - a);
    const fx = f(x);
    let c: number;
    let fc: number;
    if (fx < 0 === fa < 0) {
      c = a;
      fc = fa;
    } else {
      c = b;
      fc = fb;
      b = a;
      fb = fa;
    }
    a = x;
    fa = fx;
    const best = Math.abs(fa) < Math.abs(fb) ? a : b;
    const width = Math.abs(b - a);
    if (fa === 0 || width <= tolerance || width <= 4e-16 * Math.abs(best)) return best;
    const xi = (a - b) / (c - b);
    const phi = (fa - fb) / (fc - fb);
    share =
      phi * phi < xi && (1 - phi) * (1 - phi) < 1 - xi
        ? (fa / (fb - fa)) * (fc / (fb - fc)) + ((c - a) / (b - a)) * (fa / (fc - fa)) * (fb / (fc - fb))
        : 0.5;
    const margin = Math.min(0.5, (0.5 * tolerance + 2e-16 * Math.abs(best)) / width);
    share = Math.min(1 - margin, Math.max(margin, share));
  }
  return Math.abs(fa) < Math.abs(fb) ? a : b;
}

/**
 * Matrix of second derivatives by differences of gradients, one evaluation for each variable.
 *
 * @param gradient that of the function at any point near `x`
 * @param step difference step, in units of each variable
 * @param here gradient at `x`
 */
export function hessianOf(
  gradient: (x: readonly number[]) => readonly number[],
  x: readonly number[],
  step: number,
  here: readonly number[],
): number[][] {
  const at = x.slice();
  const rows = x.map((xi, i) => {
    at[i] = xi + step;
    const there = gradient(at);
    at[i] = xi;
    return there.map((g, j) => (g - here[j]!) / step);
  });
  return rows.map((row, i) => row.map((v, j) => 0.5 * (v + rows[j]![i]!)));
}

/** Inverse of a symmetric positive definite matrix; undefined where it is not that. */
export function inverseOf(matrix: readonly (readonly number[])[]): number[][] | undefined {
  const n = matrix.length;
  const a = matrix.map((row) => row.slice());
  // Gauss-Jordan without pivots, which a positive definite matrix does not need.
  for (let k = 0; k < n; k++) {
    const pivot = a[k]![k]!;
    if (!(pivot > 0 && pivot < Infinity)) return undefined;
    a[k]![k] = 1;
    for (let j = 0; j < n; j++) a[k]![j]! /= pivot;
    for (let i = 0; i < n; i++) {
      if (i === k) continue;
      const factor = a[i]![k]!;
      a[i]![k] = 0;
      for (let j = 0; j < n; j++) a[i]![j]! -= factor * a[k]![j]!;
    }
  }
  return a;
}

/**
 * Eigenvalues and eigenvectors of a symmetric matrix by cyclic Jacobi rotations (Golub & Van Loan, section 8.5).
 *
 * @returns `values[k]` belongs to the vector `vectors[k]`, of length one
 */
export function symmetricEigen(matrix: readonly (readonly number[])[]): {
  values: number[];
  vectors: number[][];
} {
  const n = matrix.length;
  const a = matrix.map((row) => row.slice());
  const v = identity(n);
  for (let sweep = 0; sweep < 50; sweep++) {
    let off = 0;
    let size = 0;
    for (let i = 0; i < n; i++)
      for (let j = 0; j < n; j++) {
        if (i !== j) off += a[i]![j]! ** 2;
        size += a[i]![j]! ** 2;
      }
    if (off <= 1e-28 * size) break;
    for (let p = 0; p < n - 1; p++) for (let q = p + 1; q < n; q++) rotate(a, v, p, q);
  }
  return { values: a.map((row, i) => row[i]!), vectors: v };
}

/** One Jacobi rotation that makes a[p][q] zero; the rows of `v` collect the eigenvectors. */
function rotate(a: number[][], v: number[][], p: number, q: number): void {
  const apq = a[p]![q]!;
  if (apq === 0) return;
  const ratio = (a[q]![q]! - a[p]![p]!) / (2 * apq);
  const t = (ratio >= 0 ? 1 : -1) / (Math.abs(ratio) + Math.sqrt(ratio * ratio + 1));
  const c = 1 / Math.sqrt(t * t + 1);
  const s = t * c;
  for (const row of a) {
    const rp = row[p]!;
    row[p] = c * rp - s * row[q]!;
    row[q] = s * rp + c * row[q]!;
  }
  for (const m of [a, v]) {
    const rowP = m[p]!;
    const rowQ = m[q]!;
    for (let k = 0; k < rowP.length; k++) {
      const value = rowP[k]!;
      rowP[k] = c * value - s * rowQ[k]!;
      rowQ[k] = s * value + c * rowQ[k]!;
    }
  }
}
