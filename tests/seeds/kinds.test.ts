import { readFileSync } from "node:fs";
import { describe, expect, it } from "vitest";
import { z } from "zod";
import { shippedKinds } from "../../seeds/index.ts";
import { benchSteps, clocks, surfaces } from "../../src/domain/kind.ts";
import { kindFaults } from "../../src/domain/kind-rules.ts";

const positive = z.number().positive();
const fraction = z.number().min(0).max(1);
const text = z.string().min(1);
const kindShape = z.strictObject({
  code: z.string().regex(/^[A-Z0-9]+(-[A-Z0-9]+)?$/),
  name: text,
  clock: z.enum(clocks),
  benchStep: z.enum(benchSteps),
  measure: z
    .strictObject({
      quantity: text,
      unit: z.enum(["mm", "rev/min", "deg", "%", "mΩ"]),
      direction: z.enum(["falls", "rises"]),
      asNew: positive,
      asNewSd: positive,
      miscountStep: positive.optional(),
      instruments: z
        .array(z.strictObject({ name: text, repeatabilitySd: positive, resolution: positive }))
        .min(1),
    })
    .nullable(),
  limits: z
    .strictObject({
      basis: z.enum(["size", "loss"]),
      race: positive.nullable(),
      club: positive,
      practice: positive.optional(),
      stop: positive.nullable(),
    })
    .nullable(),
  usualLife: z.strictObject({ p10: positive, p90: positive }),
  pieceSpread: positive.max(1),
  runSpread: positive.max(1),
  surfaces: z.partialRecord(z.enum(surfaces), positive.max(10)),
  usedBy: z.enum(["fitting", "pack"]),
  changeRule: z.enum(["alone", "pair", "set", "with-mate"]),
  changedTogether: z.int().min(1).max(4),
  mateCode: text.nullable(),
  breakagePerRun: fraction.max(0.05),
  shelfLifeDays: z.int().positive().nullable(),
  carStopper: z.boolean(),
  checkMinutes: positive.max(10),
  check: text.max(120),
  cautions: z.array(text),
  source: text,
});

const byCode = new Map(shippedKinds.map((kind) => [kind.code, kind]));
const kind = (code: string) => byCode.get(code)!;

/** The standard normal quantile of 0.9. */
const Z90 = 1.2815515655446004;

/** Log-normal life over pieces: its log-sd, and the share of the allowance that a usage takes on average. */
const lifeSd = (code: string) => Math.log(kind(code).usualLife.p90 / kind(code).usualLife.p10) / (2 * Z90);
function meanWearShare(code: string, usage: number): number {
  const { p10, p90 } = kind(code).usualLife;
  return (usage / Math.sqrt(p10 * p90)) * Math.exp(lifeSd(code) ** 2 / 2);
}
/** The share of the allowance that one piece in a hundred exceeds. */
function highWearShare(code: string, usage: number): number {
  const { p10, p90 } = kind(code).usualLife;
  return (usage / Math.sqrt(p10 * p90)) * Math.exp(2.326 * lifeSd(code));
}

describe("the shipped kinds", () => {
  it("are 45, each with its own code, and each field is in its vocabulary and range", () => {
    expect(shippedKinds).toHaveLength(45);
    expect(byCode.size).toBe(45);
    for (const one of shippedKinds) expect(kindShape.safeParse(one).error?.issues, one.code).toBeUndefined();
  });

  it("have a measure exactly where they have limits, else they are graded only", () => {
    for (const one of shippedKinds) expect(one.limits === null, one.code).toBe(one.measure === null);
    expect(shippedKinds.filter((one) => one.measure !== null)).toHaveLength(22);
  });

  it("have limits in the order race, club, stop, and beyond the as-new size", () => {
    for (const { code, measure, limits } of shippedKinds) {
      if (measure === null || limits === null) continue;
      const sign = measure.direction === "rises" || limits.basis === "loss" ? 1 : -1;
      const ladder = [limits.race, limits.club, limits.stop].filter((limit) => limit !== null);
      const start = limits.basis === "loss" ? 0 : measure.asNew;
      const steps = [start, ...ladder].map((value) => sign * value);
      for (let i = 1; i < steps.length; i++) expect(steps[i], code).toBeGreaterThan(steps[i - 1]!);
      if (limits.basis === "loss" && measure.direction === "falls")
        expect(limits.stop ?? limits.club, code).toBeLessThan(measure.asNew);
    }
  });

  it("have a 10-90 % life that agrees with the spread from piece to piece", () => {
    for (const one of shippedKinds) {
      // The range counts whole runs and holds the scatter from run to run, so it may be a quarter wider.
      const coefficient = Math.sqrt(Math.expm1(lifeSd(one.code) ** 2));
      expect(coefficient / one.pieceSpread, one.code).toBeGreaterThan(0.9);
      expect(coefficient / one.pieceSpread, one.code).toBeLessThan(1.25);
    }
  });

  it("give gears their base pitch, pi m cos 20 degrees, as the step of a miscounted tooth (from memory)", () => {
    const basePitch = (module: number) => Math.PI * module * Math.cos(Math.PI / 9);
    for (const code of ["SPR-48", "PIN-AL", "PIN-ST"])
      expect(kind(code).measure!.miscountStep, code).toBeCloseTo(basePitch(25.4 / 48), 3);
    expect(kind("SPR-06").measure!.miscountStep).toBeCloseTo(basePitch(0.6), 3);
  });

  it("contradict themselves in no value", () => {
    for (const one of shippedKinds) expect(kindFaults(one), one.code).toEqual([]);
  });

  it("name a surface of multiplier 1 where surfaces matter at all", () => {
    for (const one of shippedKinds) {
      const multipliers = Object.values(one.surfaces);
      if (multipliers.length > 0) expect(multipliers, one.code).toContain(1);
    }
  });

  it("name a mate that exists exactly where they are changed with a mate", () => {
    for (const one of shippedKinds) {
      expect(one.mateCode !== null, one.code).toBe(one.changeRule === "with-mate");
      if (one.mateCode !== null) expect(byCode.has(one.mateCode), one.code).toBe(true);
    }
  });

  it("count one piece where changed alone, two where a pair, four where a set", () => {
    const together = { alone: 1, pair: 2, set: 4 } as const;
    for (const { code, changeRule, changedTogether } of shippedKinds)
      if (changeRule !== "with-mate") expect(changedTogether, code).toBe(together[changeRule]);
  });

  it("are used by the pack only where they belong to one", () => {
    expect(shippedKinds.filter((one) => one.usedBy === "pack").map((one) => one.code)).toEqual([
      "LIP-CAP",
      "LIP-IR",
      "CON",
    ]);
  });

  it("carry cautions that leave the last word to the rules, the label or the maker", () => {
    for (const { code, cautions } of shippedKinds)
      for (const caution of cautions)
        expect(caution, code).toMatch(/rules|label|leaflet|maker|local authority/);
    for (const code of ["LIP-CAP", "LIP-IR"])
      expect(kind(code).cautions.join(" ")).toMatch(/never unattended.*swollen/s);
    for (const code of ["SPR-48", "PIN-AL", "BLT"])
      expect(kind(code).cautions.join(" ")).toMatch(/Unplug the pack/);
  });

  it("say where their figures come from, in words", () => {
    const raw = readFileSync(new URL("../../seeds/kinds.json", import.meta.url), "utf8");
    expect(raw).not.toMatch(/\[S\d|\bDER\b|\bMEM\b|\bCP\b/);
    for (const one of shippedKinds) expect(one.source, one.code).toMatch(/common practice, no source/);
  });
});

/** A run of a club meeting is about five and a half minutes, and a meeting six runs: common practice, no source. */
const RUN_MINUTES = 5.5;

describe("starting beliefs agree with the trade (common practice, no source)", () => {
  it("brushes of a stock motor after seven runs have worn well under a fifth of their allowance", () => {
    expect(meanWearShare("BRU", 7 * RUN_MINUTES)).toBeLessThan(0.17);
    expect(highWearShare("BRU", 7 * RUN_MINUTES)).toBeLessThan(0.3);
  });

  it("a closed, lightly greased gear set shows no wear worth acting on after its first club day", () => {
    for (const code of ["SPR-06", "PIN-ST"])
      expect(highWearShare(code, 6 * RUN_MINUTES), code).toBeLessThan(0.1);
  });

  it("a full club day leaves sound dampers that need no rebuild", () => {
    for (const code of ["DMP-OIL", "DMP-SEAL", "DMP-SHF"])
      expect(highWearShare(code, 6), code).toBeLessThan(0.75);
    expect(meanWearShare("DMP-OIL", 6)).toBeLessThan(0.4);
  });

  it("a rubber touring tyre lives 20 to 40 club runs on sealed asphalt, twice that on carpet", () => {
    const { usualLife, surfaces: wear } = kind("TYR-RT");
    expect(usualLife.p10 / RUN_MINUTES).toBeGreaterThan(20);
    expect(usualLife.p90 / RUN_MINUTES).toBeLessThan(40);
    expect(usualLife.p10 / wear.carpet! / RUN_MINUTES).toBeGreaterThan(50);
  });

  it("a front arm is broken long before it wears out", () => {
    const { breakagePerRun, usualLife } = kind("ARM-F");
    expect(1 / breakagePerRun).toBeLessThan(usualLife.p10);
  });

  it("dust at least doubles the wear of open gears, and of wheel bearings more than that", () => {
    expect(kind("SPR-48").surfaces["dusty-clay"]).toBeGreaterThanOrEqual(2);
    expect(kind("BRG-W").surfaces["dusty-clay"]).toBeGreaterThan(kind("SPR-06").surfaces["dusty-clay"]!);
  });
});
