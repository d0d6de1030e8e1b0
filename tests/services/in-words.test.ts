import { expect, test } from "vitest";
import {
  asSentence,
  likelyNeed,
  percent,
  percents,
  rangeInWords,
  risen,
} from "../../src/services/in-words.ts";

test("a chance is never called certain or impossible", () => {
  expect([0, 0.004, 0.006, 0.5, 0.994, 0.996, 1].map(percent)).toEqual([
    "under 1 %",
    "under 1 %",
    "1 %",
    "50 %",
    "99 %",
    "over 99 %",
    "over 99 %",
  ]);
});

test("chances that would read alike get as many digits as tell them apart", () => {
  expect(percents(0.4, 0.9)).toEqual(["40 %", "90 %"]);
  expect(percents(0.996, 0.9993)).toEqual(["99.6 %", "99.9 %"]);
  expect(percents(0.9961, 1)).toEqual(["99.6 %", "over 99.9 %"]);
  expect(percents(0.99961, 0.99994)).toEqual(["99.96 %", "99.99 %"]);
  expect(percents(0.3, 0.302, 0.9)).toEqual(["30.0 %", "30.2 %", "90.0 %"]);
  expect(percents(0.0001, 0.004)).toEqual(["under 0.1 %", "0.4 %"]);
});

test("what is not gained is not called a rise", () => {
  expect(risen(0.4, 0.9)).toBe("rises from 40 % to 90 %");
  expect(risen(0.4, 0.4)).toBe("stays at 40 %");
  expect(risen(1, 1 - 1e-12)).toBe("stays at over 99 %");
});

test("a need of nothing, of one and of a range are said as people say them", () => {
  expect(likelyNeed({ p10: 0, p90: 0 })).toBe("none is likely to be needed");
  expect(likelyNeed({ p10: 1, p90: 1 })).toBe("1 is likely to be needed");
  expect(likelyNeed({ p10: 3, p90: 3 })).toBe("3 are likely to be needed");
  expect(likelyNeed({ p10: 0, p90: 2 })).toBe("0 to 2 are likely to be needed");
});

test("a text gets a full stop at its end, unless it ends with a question or has one", () => {
  expect(["it is", "is it?", "It is.", "Stop!"].map(asSentence)).toEqual([
    "it is.",
    "is it?",
    "It is.",
    "Stop!",
  ]);
});

test("a range from nothing to nothing is none, and one from a number to itself that number", () => {
  const said = [
    [0, 0],
    [1, 1],
    [0, 2],
  ].map(([p10, p90]) => rangeInWords({ p10: p10!, p90: p90! }));
  expect(said).toEqual(["none", "1", "0 to 2"]);
});
