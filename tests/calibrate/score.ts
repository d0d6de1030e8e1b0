/** Does 80 % mean 80 %? Forecasts over many simulated lines, scored by where the truth falls. */
import { fitWearLine, forecastWear, pitUniformity } from "../../src/stats/index.ts";
import { chance, LIMIT, priorOf, simulateLine, type World } from "./worlds.ts";

export interface Coverage {
  lines: number;
  cover50: number;
  cover80: number;
  cover95: number;
  /** largest distance of the distribution of the forecast probabilities of the truth from the uniform law */
  distance: number;
  /** chance of ten bins at least as uneven if the truth fell evenly (chi-square) */
  uniform: number;
  /** mean of those probabilities; above 0.5 the pieces last longer than forecast */
  meanProbability: number;
  millisecondsPerLine: number;
}

/** Probability forecast for the truth, line by line. */
export function truthProbabilities(pieces: number, world: World, lines: number, seed: number): number[] {
  const random = chance(seed);
  const out: number[] = [];
  for (let tried = 0; out.length < lines && tried < 20 * lines; tried++) {
    const line = simulateLine(pieces, world, random);
    if (line === null) continue;
    const fit = fitWearLine({ pieces: line.pieces, limit: LIMIT }, priorOf(world));
    out.push(forecastWear(fit, line.target, line.now).remainingCdf(line.remaining));
  }
  return out;
}

export function coverage(pieces: number, world: World, lines: number, seed: number): Coverage {
  const from = performance.now();
  const p = truthProbabilities(pieces, world, lines, seed).sort((a, b) => a - b);
  const inside = (level: number): number => p.filter((u) => Math.abs(u - 0.5) <= level / 2).length / p.length;
  return {
    lines: p.length,
    cover50: inside(0.5),
    cover80: inside(0.8),
    cover95: inside(0.95),
    distance: Math.max(...p.map((u, i) => Math.max((i + 1) / p.length - u, u - i / p.length))),
    uniform: pitUniformity(p).pValue,
    meanProbability: p.reduce((a, b) => a + b, 0) / p.length,
    millisecondsPerLine: (performance.now() - from) / p.length,
  };
}
