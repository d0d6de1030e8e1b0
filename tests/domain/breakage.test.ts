import { describe, expect, it } from "vitest";
import { shippedKinds } from "../../seeds/index.ts";
import { breakageOf, breakagePerRun, lineBreakage } from "../../src/domain/breakage.ts";
import type { Kind } from "../../src/domain/kind.ts";
import { createRandom } from "../../src/stats/index.ts";

const spur: Kind = { ...shippedKinds.find(({ code }) => code === "SPR-48")!, id: "spur", shipped: true };
const lives = (driverId: string, pieces: number, runs: number, broken: number) =>
  Array.from({ length: pieces }, (_, i) => ({ driverId, runs, broken: i < broken }));
const perRun = ({ shape, rate }: { shape: number; rate: number }) => shape / rate;

describe("a driver's own breakage rate", () => {
  it("lies between the line's and what broke for the driver, nearer to the latter the more was run", () => {
    const quiet = lives("quiet", 20, 40, 4);
    const little = lineBreakage(spur, [...quiet, ...lives("rough", 2, 20, 2)]);
    const much = lineBreakage(spur, [...quiet, ...lives("rough", 20, 20, 20)]);
    const line = perRun(little);
    expect(perRun(little.drivers["rough"]!)).toBeGreaterThan(line);
    expect(perRun(little.drivers["rough"]!)).toBeLessThan(0.05);
    expect(perRun(much.drivers["rough"]!)).toBeGreaterThan(0.7 * 0.05);
    expect(perRun(much.drivers["rough"]!)).toBeLessThan(0.05);
    expect(perRun(much.drivers["quiet"]!)).toBeLessThan(0.015);
    expect(much.drivers["rough"]).toMatchObject({ broken: 20, runs: 400 });
  });

  it("is wider for a driver who never used the line than the line's own, and about as high", () => {
    const evidence = lineBreakage(spur, [...lives("a", 20, 50, 5), ...lives("b", 20, 50, 5)]);
    const [own, line] = [breakagePerRun(breakageOf(evidence, "c")), breakagePerRun(evidence)];
    expect(own.p90 / own.p10).toBeGreaterThan(line.p90 / line.p10);
    expect(own.median / line.median).toBeGreaterThan(0.7);
    expect(own.median / line.median).toBeLessThan(1.4);
    expect(own.p10).toBeLessThan(own.median);
  });

  it("agrees with summing over the line's rate and every driver's factor one by one", () => {
    const seen = [
      { driverId: "a", runs: 120, broken: 3 },
      { driverId: "b", runs: 300, broken: 1 },
    ];
    const evidence = lineBreakage(
      spur,
      seen.flatMap(({ driverId, runs, broken }) => lives(driverId, broken + 1, runs / (broken + 1), broken)),
    );
    // The gamma law of a factor with shape 4 and mean 1; the kind's own of the rate, worth one breakage.
    const factors = Array.from({ length: 1200 }, (_, i) => 0.005 + i * 0.005);
    const factorWeight = (f: number) => f ** 3 * Math.exp(-4 * f);
    let [mass, first, second] = [0, 0, 0];
    for (let log = Math.log(1e-4); log < Math.log(0.3); log += 0.02) {
      const rate = Math.exp(log);
      const [a, b] = seen.map(({ runs, broken }) => {
        const each = factors.map((f) => factorWeight(f) * (rate * f) ** broken * Math.exp(-rate * f * runs));
        const sum = (power: number) => each.reduce((s, w, i) => s + w * (rate * factors[i]!) ** power, 0);
        return [sum(0), sum(1), sum(2)] as const;
      }) as [readonly [number, number, number], readonly [number, number, number]];
      const prior = rate * Math.exp(-rate / spur.breakagePerRun);
      mass += prior * a[0] * b[0];
      first += prior * a[1] * b[0];
      second += prior * a[2] * b[0];
    }
    const mean = first / mass;
    const own = evidence.drivers["a"]!;
    expect(perRun(own)).toBeCloseTo(mean, 5);
    expect(own.shape / own.rate ** 2 / (second / mass - mean * mean)).toBeCloseTo(1, 2);
  });

  it("holds the true rate of made drivers as often as it says: 80 % of 300, give or take four standard errors", () => {
    const random = createRandom(17);
    let inside = 0;
    let count = 0;
    for (let line = 0; line < 60; line++) {
      const rate = random.gamma(1) * spur.breakagePerRun;
      const truth = Array.from({ length: 5 }, () => (rate * random.gamma(4)) / 4);
      const evidence = lineBreakage(
        spur,
        truth.flatMap((own, d) =>
          Array.from({ length: 10 }, () => ({
            driverId: `${d}`,
            runs: 40,
            broken: random.uniform() < own * 40,
          })),
        ),
      );
      for (const [d, own] of truth.entries()) {
        const { p10, p90 } = breakagePerRun(evidence.drivers[`${d}`]!);
        count += 1;
        if (own >= p10 && own <= p90) inside += 1;
      }
    }
    expect(Math.abs(inside / count - 0.8)).toBeLessThan(4 * Math.sqrt(0.16 / count));
  });

  it("is that of a new driver for whoever has not used the line, and stays finite where nothing was run or all broke", () => {
    const line = lineBreakage(spur, lives("a", 3, 40, 1));
    expect(breakageOf(line, "b")).toEqual(line.newDriver);
    for (const some of [[], lives("a", 1, 0, 0), lives("a", 50, 1, 50), lives("a", 500, 100, 0)]) {
      const { shape, rate } = breakageOf(lineBreakage(spur, some), "a");
      expect(Number.isFinite(shape) && shape > 0 && Number.isFinite(rate) && rate > 0).toBe(true);
    }
  });
});
