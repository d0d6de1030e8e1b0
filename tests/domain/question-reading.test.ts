import { describe, expect, it } from "vitest";
import type { Measure } from "../../src/domain/kind.ts";
import { questionReading } from "../../src/domain/question-reading.ts";

const span: Measure = {
  quantity: "span over 10 teeth",
  unit: "mm",
  direction: "falls",
  asNew: 15.485,
  asNewSd: 0.02,
  // Base pitch of a 48 DP gear: pi m cos 20 degrees, m = 25.4 / 48.
  miscountStep: 1.5622,
  instruments: [{ name: "calliper", repeatabilitySd: 0.018, resolution: 0.01 }],
};
const ask = (value: number, more: Partial<Parameters<typeof questionReading>[0]> = {}) =>
  questionReading({
    value,
    sd: 0.018,
    measure: span,
    earlier: [{ value: 15.46, sd: 0.018 }],
    plausibleWear: 0.05,
    ...more,
  });

describe("questionReading", () => {
  it("lets pass what wear and reading error explain, a little growth included", () => {
    for (const value of [15.46, 15.44, 15.4, 15.5, 15.53]) expect(ask(value), String(value)).toEqual([]);
  });

  it("questions a reading that grows where wear shrinks, beyond three standard deviations of both readings", () => {
    expect(ask(15.54)[0]).toContain("more than the 15.46 mm read before");
    const play: Measure = { ...span, direction: "rises", asNew: 0.04, miscountStep: null };
    expect(ask(0.01, { measure: play, earlier: [{ value: 0.12, sd: 0.018 }] })[0]).toContain(
      "less than the 0.12 mm",
    );
  });

  it("recognises inches", () => {
    expect(ask(0.6083)[0]).toBe("0.6083 mm looks like inches: 0.6083 in would be 15.45 mm");
  });

  it("shows a reading as it was entered, with what it comes to; and recognises millimetres entered as inches", () => {
    const inches = (value: number, more = {}) =>
      ask(value * 25.4, {
        entered: { value, unit: "in" },
        measure: { ...span, miscountStep: null },
        ...more,
      })[0];
    expect(inches(0.7698)).toBe(
      "0.7698 in (19.55 mm) is more than the 15.46 mm read before, but wear makes it less: was it another piece, another corner or another place?",
    );
    expect(inches(0.59)).toBe(
      "0.59 in (14.99 mm) is 0.474 mm worn since the last reading, far more than the use since then explains (at most about 0.05 mm)",
    );
    expect(inches(15.45)).toBe("15.45 in (392.4 mm) looks like millimetres: was it 15.45 mm?");
    expect(ask(19.55, { entered: { value: 19.55, unit: "millimetre" } })[0]).toMatch(
      /^19\.55 mm is more than/,
    );
  });

  it("recognises another number of teeth, one or two base pitches off either way", () => {
    expect(ask(15.45 + 1.5622)[0]).toContain("1 base pitch) over what fits");
    expect(ask(15.45 - 1.5622)[0]).toContain("1 base pitch) under what fits");
    expect(ask(15.45 + 2 * 1.5622)[0]).toContain("2 base pitch) over");
  });

  it("questions wear far beyond what the use since the last reading explains", () => {
    expect(ask(15.2)[0]).toContain("far more than the use since then explains");
    expect(ask(15.2, { plausibleWear: 0.3 })).toEqual([]);
  });

  it("compares a first reading with the catalogue size, whose spread counts", () => {
    expect(ask(15.44, { earlier: [], plausibleWear: 0 })).toEqual([]);
    expect(ask(16.2, { earlier: [], plausibleWear: 0 })).toHaveLength(1);
  });
});
