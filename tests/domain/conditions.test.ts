import { describe, expect, it } from "vitest";
import { shippedKinds } from "../../seeds/index.ts";
import {
  cornerOf,
  factorsMet,
  factorsOf,
  type RunUnderConditions,
  usageUnderLevels,
} from "../../src/domain/conditions.ts";
import type { Kind } from "../../src/domain/kind.ts";

const kind = (code: string): Kind => ({
  ...shippedKinds.find((one) => one.code === code)!,
  id: code,
  shipped: true,
});
let made = 0;
const run = (more: Partial<RunUnderConditions> = {}): RunUnderConditions => ({
  at: `2026-01-01T00:${String(++made).padStart(6, "0")}Z`,
  minutes: 10,
  knocks: 0,
  surface: "asphalt",
  conditions: [],
  position: "front-left tyre",
  direction: "clockwise",
  ...more,
});
const factor = (code: string, name: string) => factorsOf(kind(code)).find((one) => one.name === name)!;

describe("cornerOf", () => {
  it.each([
    ["front-left tyre", "front", "left"],
    ["Rear right damper", "rear", "right"],
    ["rear wheel axle", "rear", null],
    ["left hub", null, "left"],
    ["spur", null, null],
    ["front to rear belt", null, null],
    ["rearranged frontier", null, null],
  ])("reads %s as %s, %s", (name, end, side) => {
    expect(cornerOf(name)).toEqual({ end, side });
  });
});

describe("the factors of a kind", () => {
  it("a tyre's corner is outer or inner by the direction of the track: left wheels are outside when it runs clockwise", () => {
    const { levelOf } = factor("TYR-RT", "corner");
    expect(levelOf(run())).toBe("outer front");
    expect(levelOf(run({ direction: "anticlockwise" }))).toBe("inner front");
    expect(levelOf(run({ position: "rear-right tyre" }))).toBe("inner rear");
    expect(levelOf(run({ direction: null }))).toBeNull();
    expect(levelOf(run({ position: "spare" }))).toBeNull();
  });

  it("mesh is a matter of gears, cleaning not one of tyres and packs, and a pack has no place on the car", () => {
    const names = (code: string) => factorsOf(kind(code)).map(({ name }) => name);
    expect(names("SPR-48")).toContain("mesh");
    expect(names("SPR-48")).toContain("not-cleaned");
    expect(names("TYR-RT")).not.toContain("not-cleaned");
    expect(names("LIP-CAP")).toEqual(["wet", "damp", "dusty", "hot"]);
  });
});

describe("factorsMet", () => {
  const dusty = (count: number) =>
    Array.from({ length: count }, () => run({ conditions: ["dusty"], position: null }));
  const clean = (count: number) => Array.from({ length: count }, () => run({ position: null }));
  const met = (runs: RunUnderConditions[]) =>
    factorsMet(kind("TYR-RT"), runs).map(({ factor: { name }, levels }) => [
      name,
      levels[0]!.runs,
      levels[0]!.share,
    ]);

  it("are those with enough runs under them, beside other use", () => {
    expect(met([...dusty(5), ...clean(15)])).toEqual([["dusty", 5, 0.25]]);
    expect(met([...dusty(2), ...clean(8)])).toEqual([]);
    expect(met([...dusty(3), ...clean(97)])).toEqual([]);
    expect(met(dusty(20))).toEqual([]);
    expect(met([])).toEqual([]);
  });
});

describe("usageUnderLevels", () => {
  it("turns use into use on the usual surface, in all and under each level, up to each moment", () => {
    const runs = [
      run({ at: "2026-01-01T10:00:00Z" }),
      run({ at: "2026-01-01T11:00:00Z", surface: "carpet", conditions: ["not-cleaned"] }),
      run({ at: "2026-01-02T10:00:00Z", conditions: ["not-cleaned"] }),
    ];
    const spur = kind("SPR-48");
    const notCleaned = factor("SPR-48", "not-cleaned");
    const line = {
      kind: spur,
      met: { factor: notCleaned, levels: [{ ...notCleaned.levels[0]!, runs: 2, share: 0.5 }] },
      onSurface: (surface: string) => (surface === "carpet" ? 0.5 : 1),
    };
    expect(
      usageUnderLevels(line, runs, ["2026-01-01T09:00:00Z", "2026-01-01T11:00:00Z", "2026-01-03T00:00:00Z"]),
    ).toEqual([
      { usage: 0, exposures: [0] },
      { usage: 15, exposures: [5] },
      { usage: 25, exposures: [15] },
    ]);
  });
});
