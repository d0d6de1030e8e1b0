import { describe, expect, it } from "vitest";
import { clubSeason, lines } from "./club.ts";
import { outcomeOf, rulesAtSameService } from "./compare.ts";

const target = 0.9;
/** Two lines only: the third takes the longest to fit. */
const clubs = Array.from({ length: 24 }, (_, seed) => clubSeason(70_000 + seed, target, lines.slice(0, 2)));
const outcome = outcomeOf(clubs);

describe("clubs run by the tool's lists, the truth unknown to it", () => {
  it("are served as often as the lists stated, within three standard errors, and as the target asks", () => {
    expect(outcome.halves).toBe(96);
    expect(outcome.stated).toBeGreaterThanOrEqual(target);
    expect(Math.abs(outcome.achieved - outcome.stated)).toBeLessThan(3 * outcome.standardError);
    expect(outcome.achieved).toBeGreaterThan(target - 0.03);
  });

  it("buy less than a fixed share of what is on the cars, or what the usual life asks, for the same service", () => {
    const [onCars, , usualLife] = rulesAtSameService(clubs, outcome.achieved);
    expect(onCars!.achieved).toBeCloseTo(outcome.achieved, 9);
    expect(onCars!.bought).toBeGreaterThan(outcome.bought);
    expect(usualLife!.bought).toBeGreaterThan(outcome.bought);
  });

  it("go through the same season whenever it is asked for", () => {
    expect(clubSeason(70_000, target, lines.slice(0, 1))).toEqual(
      clubSeason(70_000, target, lines.slice(0, 1)),
    );
  });
});
