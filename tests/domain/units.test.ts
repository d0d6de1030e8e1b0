import { describe, expect, it } from "vitest";
import { convertUnit, unitNames } from "../../src/domain/units.ts";

describe("convertUnit", () => {
  it("an inch is 25.4 mm exactly (international yard and pound agreement, 1959), a degree pi/180 rad (SI brochure, 9th ed., table 8)", () => {
    expect(convertUnit(1, "in", "mm")).toBe(25.4);
    expect(convertUnit(15.494, "mm", "in")).toBeCloseTo(0.61, 12);
    expect(convertUnit(Math.PI, "rad", "deg")).toBeCloseTo(180, 12);
  });

  it("decimal multiples and other spellings of the bench are the same unit", () => {
    expect(convertUnit(2400, "mAh", "Ah")).toBeCloseTo(2.4, 12);
    expect(convertUnit(0.0024, "ohm", "mohm")).toBeCloseTo(2.4, 12);
    expect(convertUnit(80, "%", "percent")).toBe(80);
    expect(convertUnit(0.8, "fraction", "percent")).toBeCloseTo(80, 12);
    expect(convertUnit(12, "rpm", "rev/min")).toBe(12);
    expect(convertUnit(5, "thou", "mm")).toBeCloseTo(0.127, 12);
  });

  it("there and back is the same value, for every unit with itself and its family", () => {
    for (const unit of unitNames) expect(convertUnit(3.25, unit, unit)).toBe(3.25);
    expect(convertUnit(convertUnit(3.25, "mm", "thou"), "thou", "mm")).toBeCloseTo(3.25, 12);
  });

  it("a unit of another family, or an unknown one, is refused with the units that would do; it is never guessed", () => {
    expect(() => convertUnit(3, "g", "mm")).toThrow(
      /in g cannot be turned into mm; give it in mm, um, cm, m, in, thou/,
    );
    expect(() => convertUnit(3, "furlong", "mm")).toThrow(/furlong/);
    expect(() => convertUnit(3, "mm", "share of life")).toThrow(/share of life/);
  });
});
