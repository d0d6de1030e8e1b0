import { expect, it } from "vitest";
import { adviceBy, changeBelow, lookAfterRuns, lookBelow } from "../../src/domain/piece-advice.ts";

it("a piece is changed below one chance of not being worn out and looked at below another, at the chance itself neither", () => {
  expect(adviceBy(1 - changeBelow + 1e-9, 0)).toEqual({ advice: "change", rule: "chance" });
  expect(adviceBy(0.299, 100)).toEqual({ advice: "look", rule: "chance" });
  expect(adviceBy(1 - lookBelow + 1e-9, 0)).toEqual({ advice: "look", rule: "chance" });
  expect(adviceBy(0, 0)).toEqual({ advice: "leave", rule: "chance" });
});

it("a piece that would be left is looked at after so many runs unseen, and that is then the rule", () => {
  expect(adviceBy(0.01, lookAfterRuns - 1)).toEqual({ advice: "leave", rule: "chance" });
  expect(adviceBy(0.01, lookAfterRuns)).toEqual({ advice: "look", rule: "unseen" });
});
