import { describe, expect, test } from "vitest";
import { findRoot, hessianOf, inverseOf, minimise, symmetricEigen } from "../../src/stats/optimise.ts";

const rosenbrock = ([x, y]: readonly number[]): number => 100 * (y! - x! * x!) ** 2 + (1 - x!) ** 2;

describe("minimise", () => {
  test("finds the minimum of Rosenbrock's valley from the usual start (Rosenbrock 1960)", () => {
    const found = minimise(rosenbrock, [-1.2, 1], { step: 1e-5, gradientTolerance: 1e-7 });
    expect(found.converged).toBe(true);
    expect(found.x[0]).toBeCloseTo(1, 6);
    expect(found.x[1]).toBeCloseTo(1, 6);
  });
  test("needs fewer values of Rosenbrock's valley where the gradient is given", () => {
    let asked = 0;
    const counted = (x: readonly number[]): number => {
      asked += 1;
      return rosenbrock(x);
    };
    const gradient = ([x, y]: readonly number[]): number[] => [
      -400 * x! * (y! - x! * x!) - 2 * (1 - x!),
      200 * (y! - x! * x!),
    ];
    const found = minimise(counted, [-1.2, 1], { gradient, gradientTolerance: 1e-7 });
    expect(found.x[0]).toBeCloseTo(1, 6);
    const given = asked;
    asked = 0;
    minimise(counted, [-1.2, 1], { step: 1e-5, gradientTolerance: 1e-7 });
    expect(given).toBeLessThan(asked / 3);
  });
  test("stays inside the domain when the function is infinite outside", () => {
    const found = minimise(([x]) => (x! > 0 ? x! - Math.log(x!) : Infinity), [0.01]);
    expect(found.x[0]).toBeCloseTo(1, 4);
  });
  test("says when the iterations ran out", () => {
    expect(minimise(rosenbrock, [-1.2, 1], { maxIterations: 3 }).converged).toBe(false);
  });
  test("refuses a start outside the domain", () => {
    expect(() => minimise(() => Infinity, [0])).toThrow(RangeError);
  });
});

describe("findRoot", () => {
  test("finds cos x = x to 1e-12", () => {
    expect(findRoot((x) => Math.cos(x) - x, 0, 1, 1e-13)).toBeCloseTo(0.7390851332151607, 12);
  });
  test("finds the root of a function that is flat nearly everywhere", () => {
    expect(findRoot((x) => Math.tanh(1e4 * (x - 0.123456)), -10, 10, 1e-12)).toBeCloseTo(0.123456, 10);
  });
  test("refuses ends of the same sign", () => {
    expect(() => findRoot((x) => x * x + 1, -1, 1, 1e-6)).toThrow(RangeError);
  });
});

describe("second derivatives and eigenvectors", () => {
  test("the Hessian of a quadratic is its matrix, from gradients", () => {
    const gradient = ([x, y]: readonly number[]): number[] => [6 * x! + y!, x! + 4 * y!];
    const h = hessianOf(gradient, [0.3, -1], 0.1, gradient([0.3, -1]));
    expect(h[0]![0]).toBeCloseTo(6, 9);
    expect(h[0]![1]).toBeCloseTo(1, 9);
    expect(h[1]![1]).toBeCloseTo(4, 9);
  });
  test("a matrix times its inverse is one; what is not positive definite has none", () => {
    const m = [
      [4, 1, 0.5],
      [1, 3, -1],
      [0.5, -1, 2],
    ];
    const inverse = inverseOf(m)!;
    for (let i = 0; i < 3; i++)
      for (let j = 0; j < 3; j++)
        expect(m[i]!.reduce((s, v, k) => s + v * inverse[k]![j]!, 0)).toBeCloseTo(Number(i === j), 13);
    expect(
      inverseOf([
        [1, 2],
        [2, 1],
      ]),
    ).toBeUndefined();
  });
  test("eigenvectors put a symmetric matrix together again", () => {
    const n = 6;
    const m = Array.from({ length: n }, (_, i) => Array.from({ length: n }, (_, j) => 1 / (i + j + 1)));
    const { values, vectors } = symmetricEigen(m);
    for (let i = 0; i < n; i++)
      for (let j = 0; j < n; j++) {
        const sum = values.reduce((s, v, k) => s + v * vectors[k]![i]! * vectors[k]![j]!, 0);
        expect(sum).toBeCloseTo(m[i]![j]!, 13);
      }
    // The trace of Hilbert's matrix of order 6.
    expect(values.reduce((a, b) => a + b, 0)).toBeCloseTo(1 + 1 / 3 + 1 / 5 + 1 / 7 + 1 / 9 + 1 / 11, 12);
  });
});
