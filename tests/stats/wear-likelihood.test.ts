import { describe, expect, test } from "vitest";
import type { WearHyper, WearPiece } from "../../src/stats/index.ts";
import { findGross } from "../../src/stats/wear-gross.ts";
import { LineLikelihood } from "../../src/stats/wear-likelihood.ts";
import { preparePiece } from "../../src/stats/wear-middle.ts";
import { pieceLogLikelihood } from "../../src/stats/wear-path.ts";
import { hyperFrom } from "../../src/stats/wear-hyper.ts";
import { scalePiece, scalePrior } from "../../src/stats/wear-scale.ts";
import { chance, LIMIT, priorOf, simulateLine, type World } from "../calibrate/worlds.ts";

/** The same with the log of one hyper-parameter, or the bend, moved. */
function moved(hyper: WearHyper, k: number, by: number): WearHyper {
  const plain = [
    hyper.rate,
    hyper.spread,
    hyper.noise,
    hyper.reading,
    hyper.exponent,
    hyper.bend,
    ...hyper.multipliers,
  ];
  const [rate, spread, noise, reading, exponent, bend, ...multipliers] = plain.map((v, i) =>
    i !== k ? v : i === 5 ? v + by : v * Math.exp(by),
  ) as [number, number, number, number, number, number, ...number[]];
  return { rate, spread, noise, reading, exponent, bend, multipliers };
}

function lineOf(world: World, priorUsageSd: number) {
  const random = chance(5);
  const prior = scalePrior(priorOf(world), LIMIT, "test");
  const index = prior.centre.map((_, i) => i);
  const hyper = hyperFrom(
    prior,
    index.map((i) => 0.3 * Math.sin(3 * i + 1)),
    index,
  );
  let line = simulateLine(6, world, random);
  for (let tries = 0; line === null && tries < 20; tries++) line = simulateLine(6, world, random);
  const pieces = line!.pieces
    .map((piece, i) => scalePiece({ ...piece, ...(i === 1 ? { priorUsageSd } : {}) }, prior, "test"))
    .filter(({ count }) => count > 0);
  const sets = pieces.map((piece) => findGross(piece, hyper));
  return { pieces, sets, hyper, prior, likelihood: new LineLikelihood(pieces, sets, index.length - 6) };
}

/** The same piece with its readings below its start. */
const upsideDown = (piece: WearPiece): WearPiece => ({
  ...piece,
  observations: piece.observations.map((seen) => ({ ...seen, wear: -seen.wear! })),
});

const worlds: [string, World, number][] = [
  ["readings", {}, 0],
  ["readings, one piece second-hand", {}, 5],
  ["readings of which one in five is wrong", { wrongShare: 0.2 }, 0],
  ["two surfaces, logged", { surfaces: "logged" }, 0],
  ["two surfaces, logged, one reading in five wrong", { surfaces: "logged", wrongShare: 0.2 }, 0],
  ["readings and grades by turns", { grades: "mixed" }, 0],
];

describe("likelihood of a line", () => {
  for (const [name, world, priorUsageSd] of worlds) {
    test(`${name}: it is the sum over the pieces, with or without its gradient`, () => {
      const { pieces, sets, hyper, prior, likelihood } = lineOf(world, priorUsageSd);
      const rows = new Float64Array(pieces.length);
      const total = likelihood.values(hyper, rows);
      pieces.forEach((piece, i) => {
        expect(rows[i]!).toBeCloseTo(pieceLogLikelihood(piece, hyper, sets[i]!), 9);
      });
      const d = prior.centre.length;
      expect(likelihood.gradient(hyper, new Float64Array(d), new Float64Array(d * d))).toBeCloseTo(total, 9);
    });

    test(`${name}: the gradient agrees with differences`, () => {
      const { pieces, hyper, prior, likelihood } = lineOf(world, priorUsageSd);
      const d = prior.centre.length;
      const gradient = new Float64Array(d);
      likelihood.gradient(hyper, gradient, new Float64Array(d * d));
      const rows = new Float64Array(pieces.length);
      const at = (k: number, by: number): number => likelihood.values(moved(hyper, k, by), rows);
      for (let k = 0; k < d; k++) {
        const difference = (at(k, 1e-4) - at(k, -1e-4)) / 2e-4;
        // The rate is integrated by a rule of nine nodes: measured agreement 4e-4 of the size of the gradient.
        expect(Math.abs(gradient[k]! - difference)).toBeLessThan(1e-3 * (5 + Math.abs(difference)));
      }
    });
  }

  test("whatever the bend, and far beyond the limit, value and gradient agree with the pieces one by one", () => {
    const random = chance(5);
    // A limit that the readings of the line pass several times over, on either side of its start.
    const prior = scalePrior(priorOf({}), LIMIT / 5, "test");
    const centre = hyperFrom(prior, [], []);
    const pieces = simulateLine(6, {}, random)!
      .pieces.map((piece, i) => preparePiece(i === 0 ? upsideDown(piece) : piece, prior, "test"))
      .filter(({ count }) => count > 0);
    expect(Math.max(...pieces.flatMap(({ value }) => [...value]))).toBeGreaterThan(3.5);
    expect(Math.min(...pieces.flatMap(({ value }) => [...value]))).toBeLessThan(-2);
    const ordinary = pieces.map(() => [{ added: null, logPrior: 0 }]);
    const likelihood = new LineLikelihood(pieces, ordinary, 0);
    const rows = new Float64Array(pieces.length);
    const gradient = new Float64Array(prior.centre.length);
    const outer = new Float64Array(prior.centre.length ** 2);
    const steps = [0, 0.004, -0.006];
    for (const bend of [-1.5, -0.5, -0.1, -0.01, -0.006, -2e-5, -1e-8, -1e-12, 0.02, 0.6]) {
      for (const hyper of steps.map((step) => ({ ...centre, bend: bend + step * Math.abs(bend) }))) {
        likelihood.values(hyper, rows);
        pieces.forEach((piece, i) => {
          expect(rows[i]! / pieceLogLikelihood(piece, hyper, ordinary[i]!)).toBeCloseTo(1, 9);
        });
      }
      const hyper = { ...centre, bend };
      likelihood.gradient(hyper, gradient, outer);
      const above = likelihood.values({ ...hyper, bend: bend + 1e-6 }, rows);
      const difference = (above - likelihood.values({ ...hyper, bend: bend - 1e-6 }, rows)) / 2e-6;
      expect(Math.abs(gradient[5]! / difference - 1)).toBeLessThan(2e-3);
    }
  });

  test("with two hundred pieces the outer products of their gradients are about the second derivatives", () => {
    const random = chance(9);
    const prior = scalePrior(priorOf({}), LIMIT, "test");
    const index = prior.centre.map((_, i) => i);
    const centre = hyperFrom(
      prior,
      index.map(() => 0),
      index,
    );
    // Pieces drawn from the very hyper-parameters at which the two are compared.
    const pieces = Array.from({ length: 200 }, (_, i) => {
      const rate = centre.rate * Math.exp(centre.spread * random.normal());
      let wear = Math.sqrt(prior.startVariance) * random.normal();
      const observations = [8, 16, 24, 32].map((usage) => {
        wear += (rate * 8) / 40 + centre.noise * Math.sqrt(8 / 40) * random.normal();
        return { usage, wear: wear + prior.readingSd * random.normal() };
      });
      return scalePiece({ id: `${i}`, limit: LIMIT, observations }, prior, "test");
    });
    const ordinary = pieces.map(() => [{ added: null, logPrior: 0 }]);
    const likelihood = new LineLikelihood(pieces, ordinary, 0);
    const d = prior.centre.length;
    const outer = new Float64Array(d * d);
    const gradientAt = (hyper: WearHyper): Float64Array => {
      const gradient = new Float64Array(d);
      likelihood.gradient(hyper, gradient, outer);
      return gradient;
    };
    const curvature = index.map((k) => {
      const above = gradientAt(moved(centre, k, 1e-3))[k]!;
      return (gradientAt(moved(centre, k, -1e-3))[k]! - above) / 2e-3;
    });
    gradientAt(centre);
    curvature.forEach((c, k) => {
      expect(outer[k * d + k]! / c).toBeGreaterThan(0.6);
      expect(outer[k * d + k]! / c).toBeLessThan(1.6);
    });
  });
});
