import { describe, expect, it } from "vitest";
import { clubSeason, lines } from "./club.ts";
import { outcomeOf, rulesAtSameService } from "./compare.ts";

const target = 0.9;
/** Two lines only: the third takes the longest to fit. */
const clubsBy = (covers: "line" | "list") =>
  Array.from({ length: 24 }, (_, seed) =>
    clubSeason(70_000 + seed, { value: target, covers }, lines.slice(0, 2)),
  );
const byLine = clubsBy("line");
const byList = clubsBy("list");

describe("clubs run by the tool's lists, the truth unknown to it", () => {
  const outcome = outcomeOf(byLine);

  it("are served as often as the lists stated, within three standard errors, and as the target asks", () => {
    expect(outcome.halves).toBe(96);
    expect(outcome.stated).toBeGreaterThanOrEqual(target);
    expect(Math.abs(outcome.achieved - outcome.stated)).toBeLessThan(3 * outcome.standardError);
    expect(outcome.achieved).toBeGreaterThan(target - 0.03);
  });

  it("buy less than a fixed share of what is on the cars, or what the usual life asks, for the same service", () => {
    const [onCars, , usualLife] = rulesAtSameService(byLine, outcome, "line");
    expect(onCars!.achieved).toBeCloseTo(outcome.achieved, 9);
    expect(onCars!.bought).toBeGreaterThan(outcome.bought);
    expect(usualLife!.bought).toBeGreaterThan(outcome.bought);
  });

  it("go through the same season whenever it is asked for", () => {
    const again = () => clubSeason(70_000, { value: target, covers: "line" }, lines.slice(0, 1));
    expect(again()).toEqual(again());
  });
});

describe("clubs run by lists with one target for the whole list", () => {
  const outcome = outcomeOf(byList);

  it("are told a chance within 3 points above the target, and are served as often as they are told", () => {
    expect(outcome.jointStated).toBeGreaterThanOrEqual(target);
    expect(outcome.jointStated).toBeLessThan(target + 0.03);
    expect(Math.abs(outcome.jointAchieved - outcome.jointStated)).toBeLessThan(
      3 * outcome.jointStandardError,
    );
  });

  it("buy less than a fixed share of what is on the cars, or what the usual life asks, for the same service", () => {
    const [onCars, , usualLife] = rulesAtSameService(byList, outcome, "list");
    expect(onCars!.achieved).toBeCloseTo(outcome.jointAchieved, 9);
    expect(onCars!.bought).toBeGreaterThan(outcome.bought);
    expect(usualLife!.bought).toBeGreaterThan(outcome.bought);
  });
});
