import { describe, expect, it } from "vitest";
import { lifeSurvival } from "../../src/stats/life-distribution.ts";
import type { LifeObservation } from "../../src/stats/life-data.ts";
import { fitLife } from "../../src/stats/life-fit.ts";
import { normalQuantile } from "../../src/stats/normal.ts";
import {
  aalenJohansen,
  type CurveObservation,
  curveQuantile,
  kaplanMeier,
} from "../../src/stats/survival-curve.ts";
import { turnbullEstimate } from "../../src/stats/turnbull.ts";
import { caseOf, column, expectCase, livesOf, uniforms } from "./cases.ts";

const mp = caseOf("km-6mp");
const leukaemia = column(mp, "time").map(
  (at, i): CurveObservation => ({ kind: column(mp, "event")[i] === 1 ? "failed" : "running", at }),
);

describe("kaplanMeier", () => {
  it("agrees with R and the printed table: 6-MP arm (Freireich et al., 1963; Klein & Moeschberger, 2003, table 4.1A)", () => {
    const steps = kaplanMeier(leukaemia);
    const got: Record<string, number> = { median: curveQuantile(steps, 0.5)! };
    for (const { at, survival, standardError } of steps) {
      got[`S_${at}`] = survival;
      got[`se_${at}`] = standardError!;
    }
    const at13 = steps.find(({ at }) => at === 13)!;
    const half = (normalQuantile(0.975) * at13.standardError!) / at13.survival;
    expectCase(mp, {
      ...got,
      log_lo_13: at13.survival * Math.exp(-half),
      log_hi_13: at13.survival * Math.exp(half),
      loglog_lo_13: at13.limits!.low,
      loglog_hi_13: at13.limits!.high,
    });
  });

  it("agrees with R with delayed entry: 26 patients on the age scale (Klein & Moeschberger, 2003, section 1.15)", () => {
    const one = caseOf("km-delayed-entry");
    const [entry, exit, event] = [column(one, "entry"), column(one, "exit"), column(one, "event")];
    const patients = exit.map(
      (at, i): CurveObservation => ({
        kind: event[i] === 1 ? "failed" : "running",
        at,
        enteredAt: entry[i]!,
      }),
    );
    const got: Record<string, number> = {};
    for (const { at, atRisk, survival } of kaplanMeier(patients)) {
      got[`risk_${at}`] = atRisk;
      got[`S_${at}`] = survival;
    }
    expectCase(one, got);
    expect(kaplanMeier(patients).at(-1)).toMatchObject({ survival: 0, standardError: null, limits: null });
  });

  it("started later, it is the curve conditional on survival to that age", () => {
    const whole = kaplanMeier(leukaemia);
    const late = kaplanMeier(leukaemia, { from: 10 });
    const at10 = whole.find(({ at }) => at === 10)!.survival;
    expect(late[0]!.at).toBe(13);
    expect(late.at(-1)!.survival * at10).toBeCloseTo(whole.at(-1)!.survival, 12);
  });

  it("a count weighs as repeated items, and nothing failed gives no steps and no median", () => {
    const counted = kaplanMeier([
      { kind: "failed", at: 2, count: 3 },
      { kind: "running", at: 5, count: 2 },
    ]);
    expect(counted).toMatchObject([{ at: 2, atRisk: 5, failed: 3 }]);
    expect(counted[0]!.survival).toBeCloseTo(0.4, 15);
    expect(curveQuantile(kaplanMeier([{ kind: "running", at: 4 }]), 0.5)).toBe(null);
  });

  it("an entry after the exit is refused", () => {
    expect(() => kaplanMeier([{ kind: "failed", at: 2, enteredAt: 3 }])).toThrow(
      /enteredAt from 0 to below 2/,
    );
    expect(() => curveQuantile([], 1)).toThrow(RangeError);
  });
});

describe("aalenJohansen", () => {
  it("survival and incidences sum to one, and one cause alone is one minus Kaplan-Meier", () => {
    const causes = ["worn", "broken", null, "worn", null, "broken", "worn"];
    const items = causes.map((cause, i) => ({ cause, at: 3 + ((i * 5) % 7), enteredAt: i % 2 }));
    for (const { survival, incidence } of aalenJohansen(items)) {
      expect(survival + incidence["worn"]! + incidence["broken"]!).toBeCloseTo(1, 14);
    }
    const alone = aalenJohansen(items.map((item) => ({ ...item, cause: item.cause && "any" })));
    const curve = kaplanMeier(
      items.map(({ cause, ...item }): CurveObservation => ({ ...item, kind: cause ? "failed" : "running" })),
    );
    expect(alone.map(({ incidence }) => 1 - incidence["any"]!)).toEqual(
      curve.map(({ survival }) => expect.closeTo(survival, 14)),
    );
  });
});

describe("turnbullEstimate", () => {
  it("is the Kaplan-Meier curve when lives are exact or right-censored, with delayed entry too", () => {
    for (const entry of [0, 4]) {
      const items = leukaemia.map((item, i) => ({ ...item, enteredAt: i % 3 === 0 ? entry : 0 }));
      const masses = turnbullEstimate(items);
      for (const { at, survival } of kaplanMeier(items)) {
        expect(masses.find(({ to }) => to === at)!.survivalAfter).toBeCloseTo(survival, 4);
      }
    }
  });

  it("is the isotonic regression of the failed shares when each item is inspected once (Nelson, 1982, turbine wheels)", () => {
    const one = caseOf("currentstatus-turbinewheel");
    const lives = livesOf(one);
    const ages = [...new Set(lives.map((life) => (life as { at: number }).at))];
    const blocks = ages.map((age) => {
      const here = lives.filter((life) => (life as { at: number }).at === age);
      const failed = here.reduce((sum, life) => sum + (life.kind === "before" ? life.count! : 0), 0);
      return { ages: [age], failed, total: here.reduce((sum, life) => sum + life.count!, 0) };
    });
    // Pool adjacent violators (Ayer et al., 1955).
    for (let i = 1; i < blocks.length; ) {
      const [a, b] = [blocks[i - 1]!, blocks[i]!];
      if (a.failed / a.total <= b.failed / b.total) i += 1;
      else {
        blocks.splice(i - 1, 2, {
          ages: [...a.ages, ...b.ages],
          failed: a.failed + b.failed,
          total: a.total + b.total,
        });
        i = Math.max(1, i - 1);
      }
    }
    const masses = turnbullEstimate(lives);
    for (const { ages: pooled, failed, total } of blocks) {
      const below = masses
        .filter(({ to }) => to <= pooled.at(-1)!)
        .reduce((sum, m) => sum + m.probability, 0);
      expect(below).toBeCloseTo(failed / total, 3);
    }
  });

  it("stands close to a Weibull fit of the same interval-censored lives (heat exchanger tubes, Meeker & Escobar, 1998)", () => {
    const lives = livesOf(caseOf("interval-heatexchanger"));
    const { life } = fitLife("weibull", lives);
    const masses = turnbullEstimate(lives);
    expect(masses.map(({ from, to }) => [from, to])).toEqual([
      [0, 1],
      [1, 2],
      [2, 3],
      [3, Infinity],
    ]);
    for (const { to, survivalAfter } of masses.slice(0, 3)) {
      expect(Math.abs(survivalAfter - lifeSurvival(life, to))).toBeLessThan(0.01);
    }
  });

  it("left truncation is undone: items found only if they outlived their entry", () => {
    // Truth: masses 0.5, 0.3, 0.2 at ages 1, 2, 3; half of the items are seen only if older than 1.
    const lives: LifeObservation[] = [
      { kind: "failed", at: 1, count: 500 },
      { kind: "failed", at: 2, count: 300 },
      { kind: "failed", at: 3, count: 200 },
      { kind: "failed", at: 2, count: 300, enteredAt: 1 },
      { kind: "failed", at: 3, count: 200, enteredAt: 1 },
    ];
    expect(turnbullEstimate(lives).map(({ probability }) => probability)).toEqual([
      expect.closeTo(0.5, 6),
      expect.closeTo(0.3, 6),
      expect.closeTo(0.2, 6),
    ]);
  });

  it("40 random sets of inspections settle, where self-consistency alone would empty a mass for ever", () => {
    const next = uniforms(3);
    for (let set = 0; set < 40; set += 1) {
      const lives = Array.from({ length: 12 }, (): LifeObservation => {
        const at = Math.ceil(10 * next());
        const kind = next();
        if (kind < 0.4) return { kind: "before", at };
        return kind < 0.7
          ? { kind: "running", at }
          : { kind: "between", from: at, to: at + Math.ceil(4 * next()) };
      });
      const masses = turnbullEstimate(lives);
      expect(masses.reduce((sum, { probability }) => sum + probability, 0)).toBeCloseTo(1, 6);
    }
  });

  it("no observation, or an interval that is empty, is refused", () => {
    expect(() => turnbullEstimate([])).toThrow(/at least one observation/);
    expect(() => turnbullEstimate([{ kind: "between", from: 3, to: 3 }])).toThrow(/from < to/);
  });
});
