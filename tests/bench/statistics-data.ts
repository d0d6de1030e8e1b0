import { createRandom, type LifeObservation, type WearPiece, type WearPrior } from "../../src/stats/index.ts";

/** Made-up data for the statistics measured beside R: the same numbers on every machine. */
export const wearLimit = 1;
export const wearBelief: WearPrior = {
  life: { p10: 20, p90: 80 },
  pieceSpread: 0.3,
  runSpread: 0.4,
  usagePerRun: 1,
  startSd: 0.015,
  readingSd: 0.02,
};

/**
 * Pieces that wear as the model of wear lines has it, each read at moments of its own over up to one usual life.
 *
 * @param seed a line is the same for the same seed and size
 */
export function wornLine(seed: number, pieces: number, readings: number): WearPiece[] {
  const random = createRandom(seed);
  const level = Math.exp(0.4 * random.normal()) / 40;
  return Array.from({ length: pieces }, (_, p) => {
    const rate = level * Math.exp(0.3 * random.normal());
    const gap = (40 * (0.4 + 0.6 * random.uniform())) / readings;
    let usage = 0;
    let wear = wearBelief.startSd * random.normal();
    const observations = Array.from({ length: readings }, () => {
      const by = gap * (0.5 + random.uniform());
      usage += by;
      wear += rate * by + level * 0.4 * Math.sqrt(by) * random.normal();
      return { usage, wear: wear + wearBelief.readingSd * random.normal() };
    });
    return { id: `piece ${p}`, limit: wearLimit, observations };
  });
}

/** The pieces with the last reading of the first one not yet taken. */
export function beforeLastReading(pieces: readonly WearPiece[]): WearPiece[] {
  const [first, ...rest] = pieces;
  return [{ ...first!, observations: first!.observations.slice(0, -1) }, ...rest];
}

/**
 * Weibull lives of shape 2 and scale 40, seen in four ways: a quarter each to the day, still running, between two
 * looks, and found failed at the first look.
 */
export function mixedLives(seed: number, count: number): LifeObservation[] {
  const random = createRandom(seed);
  return Array.from({ length: count }, (_, i): LifeObservation => {
    const life = 40 * Math.sqrt(random.exponential());
    const look = 5 + 55 * random.uniform();
    const seen = i % 4;
    if (seen === 0) return { kind: "failed", at: life };
    if (seen === 1) return life > look ? { kind: "running", at: look } : { kind: "failed", at: life };
    if (seen === 2) {
      const from = 8 * Math.floor(life / 8);
      return from === 0 ? { kind: "before", at: 8 } : { kind: "between", from, to: from + 8 };
    }
    return life > look ? { kind: "running", at: look } : { kind: "before", at: look };
  });
}
