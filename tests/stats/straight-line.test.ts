import { expect, it } from "vitest";
import { straightLine } from "../../src/stats/index.ts";

it("straightLine is the least-squares line with the spread about it, worked by hand: 1, 3, 2, 5 at 0 to 3", () => {
  // Means 1.5 and 2.75; slope 5.5 / 5; residuals -0.1, 0.8, -1.3, 0.6.
  const { intercept, slope, sd } = straightLine(
    [1, 3, 2, 5].map((y, x) => ({ x, y })),
    0.01,
  );
  expect(slope).toBeCloseTo(1.1, 12);
  expect(intercept).toBeCloseTo(1.1, 12);
  expect(sd).toBeCloseTo(Math.sqrt((0.01 + 0.64 + 1.69 + 0.36) / 2), 12);
});

it("straightLine never takes the spread as less than the least: two points leave none", () => {
  expect(
    straightLine(
      [
        { x: 0, y: 0 },
        { x: 2, y: 1 },
      ],
      0.3,
    ).sd,
  ).toBe(0.3);
});

it("straightLine refuses one x, numbers that are none, and no spread", () => {
  expect(() =>
    straightLine(
      [
        { x: 1, y: 0 },
        { x: 1, y: 1 },
      ],
      1,
    ),
  ).toThrow(RangeError);
  expect(() =>
    straightLine(
      [
        { x: 0, y: 0 },
        { x: 1, y: Number.NaN },
      ],
      1,
    ),
  ).toThrow(RangeError);
  expect(() =>
    straightLine(
      [
        { x: 0, y: 0 },
        { x: 1, y: 1 },
      ],
      0,
    ),
  ).toThrow(RangeError);
});
