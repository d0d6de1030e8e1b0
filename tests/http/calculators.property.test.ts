import fc from "fast-check";
import { afterAll, beforeAll, expect, test } from "vitest";
import { asNewSpanMm, teethToSpan } from "../../src/domain/gears.ts";
import { operations } from "../../src/http/routes/index.ts";
import { startTestService, type TestService } from "../support/service.ts";

let service: TestService;
beforeAll(async () => {
  service = await startTestService();
});
afterAll(() => service.close());

const schemaOf = (name: string) =>
  operations.find(({ spec }) => spec.path === `/v1/calculators/${name}`)!.spec.answers[200]!.body!;

/** Bodies tried on each calculator. */
const RUNS = 60;
/**
 * Of computing time, against hanging only: the slowest, ten thousand readings of one piece, takes one to two and a half
 * seconds. On a machine that is busy with other things the clock on the wall says nothing.
 */
const MOST_SECONDS = 15;
const computedSeconds = (since: NodeJS.CpuUsage): number => {
  const { user, system } = process.cpuUsage(since);
  return (user + system) / 1e6;
};

/**
 * Whatever is asked, the answer is numbers, or a refusal that names the member to change. Null appears only where the
 * description has it, and JSON has no NaN to hide behind: the answer is compared with its description.
 */
async function expectSense(name: string, body: unknown) {
  const started = process.cpuUsage();
  const answer = await service.owner.post(`/v1/calculators/${name}`, body);
  const shown = JSON.stringify(body).slice(0, 400);
  expect(computedSeconds(started), `${name} took too long with ${shown}`).toBeLessThan(MOST_SECONDS);
  expect(service.faults, shown).toEqual([]);
  if (answer.status === 200) {
    const parsed = schemaOf(name).safeParse(answer.body);
    expect(parsed.error?.issues ?? [], shown).toEqual([]);
    return answer;
  }
  expect(answer.status, shown).toBe(422);
  expect(answer.body.detail.length, shown).toBeGreaterThan(10);
  expect(answer.body.errors[0].pointer, shown).toMatch(/^#/);
  return answer;
}

const nasty = fc.constantFrom(
  0,
  -0,
  1,
  -1,
  0.1,
  3,
  40,
  1e-300,
  1e300,
  -1e300,
  1e-12,
  1e12,
  1e9,
  1e-9,
  5e-324,
  null,
);
/** Mostly sensible numbers, so that the hostile ones are met one at a time. */
const number = fc.oneof(
  { weight: 6, arbitrary: fc.double({ min: 0.01, max: 200, noNaN: true }) },
  { weight: 1, arbitrary: nasty },
);
const positive = fc.oneof(
  { weight: 8, arbitrary: fc.double({ min: 0.01, max: 200, noNaN: true }) },
  { weight: 1, arbitrary: nasty },
);
const wholeNumber = fc.oneof(
  { weight: 8, arbitrary: fc.integer({ min: 0, max: 40 }) },
  { weight: 1, arbitrary: nasty },
);
const chance = fc.oneof(
  { weight: 8, arbitrary: fc.double({ min: 0.01, max: 0.999, noNaN: true }) },
  { weight: 1, arbitrary: nasty },
);
const maybe = <T>(arbitrary: fc.Arbitrary<T>) => fc.option(arbitrary, { nil: undefined });

const life = fc.oneof(
  fc.record({
    distribution: fc.constant("weibull"),
    shape: fc.oneof(fc.double({ min: 0.1, max: 12, noNaN: true }), fc.constantFrom(1000, 0, 1e300)),
    scale: positive,
  }),
  fc.record({
    distribution: fc.constant("lognormal"),
    meanLog: fc.oneof(fc.double({ min: -25, max: 25, noNaN: true }), nasty),
    sdLog: fc.oneof(fc.double({ min: 0.001, max: 8, noNaN: true }), nasty),
  }),
);
const table = fc.array(fc.double({ min: 0, max: 1, noNaN: true }), { maxLength: 12 }).chain((raw) => {
  const sum = raw.reduce((a, b) => a + b, 0);
  return fc.constantFrom(raw, sum > 0 ? raw.map((p) => p / sum) : [1]);
});
const wholeDemand = fc.oneof(
  fc.record({ kind: fc.constant("poisson"), rate: number }),
  fc.record({ kind: fc.constant("negative-binomial"), mean: positive, variance: positive }),
  fc.record({
    kind: fc.constant("negative-binomial"),
    mean: positive,
    variance: fc.double({ min: 200, max: 9000, noNaN: true }),
  }),
  fc.record({ kind: fc.constant("table"), probabilities: table }),
);
const demand = fc.oneof(wholeDemand, fc.record({ kind: fc.constant("normal"), mean: number, sd: number }));

const readings = fc.oneof(
  fc.array(fc.record({ usage: number, value: number }), { maxLength: 6 }),
  fc
    .array(fc.record({ usage: number, value: number }), { maxLength: 6 })
    .map((all) => all.sort((a, b) => (a.usage ?? 0) - (b.usage ?? 0))),
  fc
    .tuple(fc.integer({ min: 1, max: 8 }), number, number)
    .map(([n, usage, value]) => Array.from({ length: n }, () => ({ usage, value }))),
);
const wear = fc.record(
  {
    asNew: number,
    limit: number,
    expectedLife: fc.record({ p10: positive, p90: positive }),
    quantiles: fc.array(chance, { maxLength: 3 }),
    pieces: fc.array(fc.record({ id: fc.constantFrom("a", "b", "c", ""), readings }), { maxLength: 3 }),
  },
  { requiredKeys: ["asNew", "limit", "pieces"] },
);

const observed = fc.oneof(
  fc.record({ kind: fc.constantFrom("failed", "running", "before"), at: number }),
  fc.record({ kind: fc.constantFrom("failed", "running"), at: number, enteredAt: number, count: positive }),
  fc.record({ kind: fc.constant("between"), from: number, to: number }),
);
const belief = fc.oneof(
  fc.record({ p10: positive, p90: positive }),
  fc.constantFrom({ p10: 10, p90: 100 }, { p10: 1, p90: 1.0000001 }, { p10: 1e-12, p90: 1e12 }),
);
const kitLine = fc.record(
  {
    id: fc.constantFrom("a", "b", "c", "d", "e"),
    unitCost: fc.oneof(
      { weight: 9, arbitrary: fc.integer({ min: 1, max: 400 }) },
      { weight: 1, arbitrary: nasty },
    ),
    demand: wholeDemand,
    packSize: fc.oneof(
      { weight: 9, arbitrary: fc.integer({ min: 1, max: 12 }) },
      { weight: 1, arbitrary: nasty },
    ),
    held: wholeNumber,
  },
  { requiredKeys: ["id", "unitCost", "demand"] },
);
const questions: Record<string, fc.Arbitrary<unknown>> = {
  "wear-fit": wear,
  "life-fit": fc.record(
    {
      distribution: fc.constantFrom("weibull", "lognormal"),
      observations: fc.array(observed, { maxLength: 8 }),
      prior: fc.record(
        { life: belief, lifeOf: fc.constantFrom("item", "median", "scale"), spread: belief },
        { requiredKeys: ["life"] },
      ),
    },
    { requiredKeys: ["distribution", "observations"] },
  ),
  "remaining-life": fc.record({ life, age: number, horizon: number, quantiles: maybe(fc.array(chance)) }),
  "replacement-interval": fc.record({ life, plannedCost: positive, failureCost: positive }),
  "gear-span": fc.oneof(
    fc.record(
      {
        moduleMm: positive,
        diametralPitch: positive,
        teeth: wholeNumber,
        pressureAngleDegrees: number,
        profileShift: number,
        teethSpanned: wholeNumber,
        newSpanMm: positive,
        measuredSpanMm: positive,
      },
      { requiredKeys: ["teeth"] },
    ),
    // Gears that can be: the usual number of teeth spanned, and a span near the one of a new gear.
    fc
      .record({
        moduleMm: fc.double({ min: 0.2, max: 3, noNaN: true }),
        teeth: fc.integer({ min: 12, max: 200 }),
        worn: maybe(fc.double({ min: -0.3, max: 1, noNaN: true })),
      })
      .map(({ moduleMm, teeth, worn }) => ({
        moduleMm,
        teeth,
        ...(worn === undefined
          ? {}
          : { measuredSpanMm: asNewSpanMm({ moduleMm, teeth }, teethToSpan(teeth)) - worn * moduleMm }),
      })),
  ),
  rollout: fc.record(
    {
      spurTeeth: wholeNumber,
      pinionTeeth: wholeNumber,
      internalRatio: positive,
      tyreDiameterMm: positive,
      wornTyreDiameterMm: positive,
    },
    { requiredKeys: ["spurTeeth", "pinionTeeth", "tyreDiameterMm"] },
  ),
  renewals: fc.record({ life, horizon: number, ages: fc.array(number, { maxLength: 5 }) }),
  "stock-levels": fc.record(
    {
      demand,
      leadTime: fc.record({ mean: number, sd: number }, { requiredKeys: ["mean"] }),
      reviewPeriod: number,
      target: fc.record({ kind: fc.constantFrom("cycle", "fill"), value: chance }),
      packSize: wholeNumber,
      minimumOrder: wholeNumber,
    },
    { requiredKeys: ["demand", "leadTime", "target"] },
  ),
  "order-quantity": fc.oneof(
    fc.record(
      {
        kind: fc.constant("economic"),
        demandRate: number,
        orderCost: number,
        holdingCost: positive,
        packSize: wholeNumber,
        minimumOrder: wholeNumber,
      },
      { requiredKeys: ["kind", "demandRate", "orderCost", "holdingCost"] },
    ),
    fc.record(
      { kind: fc.constant("season"), demand, underCost: positive, overCost: positive, packSize: wholeNumber },
      { requiredKeys: ["kind", "demand", "underCost", "overCost"] },
    ),
  ),
  "spares-kit": fc
    .tuple(
      fc.uniqueArray(kitLine, { maxLength: 4, selector: ({ id }) => id }),
      fc.oneof(
        fc.record({ budget: fc.oneof(wholeNumber, fc.integer({ min: 0, max: 5000 })) }),
        fc.record({ target: chance }),
        fc.record({ budget: wholeNumber, target: chance }),
        fc.record({ budget: wholeNumber, aim: fc.constantFrom("joint", "shortage") }),
      ),
    )
    .map(([lines, wanted]) => ({ lines, ...wanted })),
};

test.each(Object.keys(questions))(
  "%s answers hostile bodies with numbers, or a refusal that names the member to change",
  async (name) => {
    let answered = 0;
    await fc.assert(
      fc.asyncProperty(questions[name]!, async (body) => {
        if ((await expectSense(name, body)).status === 200) answered++;
      }),
      { seed: 20_261_201, numRuns: RUNS },
    );
    // A generator that is only ever refused would test nothing but the refusals.
    expect(answered).toBeGreaterThan(RUNS / 20);
  },
  60_000,
);

test("extremes that everybody tries are answered or refused in time", async () => {
  const one = { id: "a", readings: [{ usage: 10, value: 0.1 }] };
  const many = Array.from({ length: 10_000 }, (_, i) => ({ usage: 100, value: 0.5 + 0.01 * Math.sin(i) }));
  const weibull = { distribution: "weibull", shape: 2, scale: 50 };
  const cases: [name: string, body: object, status: number][] = [
    ["wear-fit", { asNew: 0, limit: 1, pieces: [] }, 422],
    ["wear-fit", { asNew: 0, limit: 1, pieces: [one] }, 200],
    ["wear-fit", { asNew: 0, limit: 0, pieces: [one] }, 422],
    [
      "wear-fit",
      {
        asNew: 0,
        limit: 1,
        pieces: Array.from({ length: 50 }, (_, k) => ({
          id: `p${k}`,
          readings: Array.from({ length: 20 }, (_, j) => ({ usage: 10 * j, value: 0.02 * j + 0.001 * k })),
        })),
      },
      200,
    ],
    // All equal, all past the limit, all on the wrong side of new, and all at once.
    [
      "wear-fit",
      {
        asNew: 0,
        limit: 1,
        pieces: [{ id: "a", readings: many.map(() => ({ usage: 5, value: 0 })).slice(0, 9) }],
      },
      200,
    ],
    [
      "wear-fit",
      {
        asNew: 0,
        limit: 1,
        pieces: [
          {
            id: "a",
            readings: [
              { usage: 5, value: 7 },
              { usage: 6, value: 8 },
            ],
          },
        ],
      },
      200,
    ],
    ["wear-fit", { asNew: 0, limit: 1, pieces: [{ id: "a", readings: [{ usage: 5, value: -7 }] }] }, 200],
    ["wear-fit", { asNew: 0, limit: 1, pieces: [{ id: "a", readings: [{ usage: 5, value: 1e300 }] }] }, 422],
    ["wear-fit", { asNew: 0, limit: 1e-300, pieces: [one] }, 422],
    ["wear-fit", { asNew: 0, limit: 1e-9, pieces: [one] }, 200],
    ["wear-fit", { asNew: 0, limit: 1, pieces: [{ id: "a", readings: many }] }, 200],
    ["life-fit", { distribution: "weibull", observations: [] }, 422],
    ["life-fit", { distribution: "weibull", observations: [{ kind: "running", at: 5, count: 1e9 }] }, 422],
    ["life-fit", { distribution: "weibull", observations: [{ kind: "failed", at: 5, count: 30 }] }, 422],
    [
      "life-fit",
      {
        distribution: "lognormal",
        observations: [
          { kind: "failed", at: 1e-12 },
          { kind: "failed", at: 1e12 },
        ],
      },
      200,
    ],
    [
      "life-fit",
      {
        distribution: "lognormal",
        observations: Array.from({ length: 5000 }, (_, i) => ({
          kind: i % 3 === 0 ? "failed" : "running",
          at: 1 + ((i * 7919) % 1000),
        })),
        prior: { life: { p10: 1, p90: 10 } },
      },
      200,
    ],
    ["renewals", { life: weibull, horizon: 1e12, ages: [0] }, 422],
    ["renewals", { life: weibull, horizon: 7000, ages: [0] }, 200],
    ["renewals", { life: weibull, horizon: 400, ages: Array.from({ length: 100 }, (_, i) => i) }, 200],
    ["renewals", { life: weibull, horizon: 0, ages: [1, 2] }, 200],
    ["renewals", { life: { ...weibull, shape: 0.1 }, horizon: 5, ages: [0] }, 200],
    ["renewals", { life: { ...weibull, shape: 1000 }, horizon: 5000, ages: [0] }, 422],
    [
      "stock-levels",
      { demand: { kind: "poisson", rate: 0 }, leadTime: { mean: 3 }, target: { kind: "fill", value: 0.9 } },
      200,
    ],
    [
      "stock-levels",
      {
        demand: { kind: "normal", mean: 0, sd: 0 },
        leadTime: { mean: 0 },
        target: { kind: "fill", value: 0.9 },
      },
      200,
    ],
    [
      "stock-levels",
      {
        demand: { kind: "poisson", rate: 200 },
        leadTime: { mean: 10, sd: 5 },
        packSize: 12,
        reviewPeriod: 1,
        target: { kind: "fill", value: 0.99 },
      },
      200,
    ],
    [
      "stock-levels",
      {
        demand: { kind: "negative-binomial", mean: 5, variance: 900 },
        leadTime: { mean: 4, sd: 4 },
        packSize: 5,
        minimumOrder: 48,
        target: { kind: "cycle", value: 0.99 },
      },
      200,
    ],
    [
      "spares-kit",
      { lines: [{ id: "a", unitCost: 5, demand: { kind: "poisson", rate: 3 } }], budget: 0 },
      200,
    ],
    [
      "spares-kit",
      { lines: [{ id: "a", unitCost: 5, demand: { kind: "poisson", rate: 0 } }], budget: 1e12 },
      200,
    ],
    [
      "spares-kit",
      { lines: [{ id: "a", unitCost: 1, demand: { kind: "poisson", rate: 2000 } }], target: 0.999 },
      200,
    ],
    [
      "spares-kit",
      {
        lines: Array.from({ length: 50 }, (_, i) => ({
          id: `l${i}`,
          unitCost: 1013 + 91 * i,
          demand: { kind: "poisson", rate: 12 },
        })),
        target: 0.99,
      },
      200,
    ],
    ["replacement-interval", { life: { ...weibull, shape: 1000 }, plannedCost: 1, failureCost: 1e12 }, 200],
    ["order-quantity", { kind: "economic", demandRate: 1e12, orderCost: 1e12, holdingCost: 1e-12 }, 422],
  ];
  for (const [name, body, status] of cases) {
    const answer = await expectSense(name, body);
    expect(
      answer.status,
      `${name} ${JSON.stringify(body).slice(0, 300)} ${JSON.stringify(answer.body).slice(0, 300)}`,
    ).toBe(status);
  }
}, 120_000);

test("a higher target never orders less, and more stock never lowers the chance", async () => {
  await fc.assert(
    fc.asyncProperty(
      fc.double({ min: 0.1, max: 20, noNaN: true }),
      fc.constantFrom("cycle", "fill"),
      fc.integer({ min: 1, max: 6 }),
      async (rate, kind, packSize) => {
        const levels = [];
        for (const value of [0.5, 0.8, 0.95, 0.99]) {
          const body = {
            demand: { kind: "poisson", rate },
            leadTime: { mean: 2, sd: 1 },
            target: { kind, value },
            packSize,
          };
          levels.push(await service.owner.must("POST", "/v1/calculators/stock-levels", body));
        }
        for (let i = 1; i < levels.length; i++) {
          expect(levels[i].reorderPoint).toBeGreaterThanOrEqual(levels[i - 1].reorderPoint);
          expect(levels[i].fillRate).toBeGreaterThanOrEqual(levels[i - 1].fillRate - 1e-12);
          expect(levels[i].expectedShort).toBeLessThanOrEqual(levels[i - 1].expectedShort + 1e-12);
        }
      },
    ),
    { seed: 7, numRuns: 15 },
  );
});

test("a kit never costs more than its budget, and a larger budget never serves worse", async () => {
  const line = fc.record({
    unitCost: fc.integer({ min: 1, max: 90 }),
    rate: fc.double({ min: 0, max: 4, noNaN: true }),
    packSize: fc.integer({ min: 1, max: 4 }),
  });
  await fc.assert(
    fc.asyncProperty(
      fc.array(line, { minLength: 1, maxLength: 4 }),
      fc.integer({ min: 0, max: 400 }),
      async (raw, budget) => {
        const lines = raw.map(({ unitCost, rate, packSize }, i) => ({
          id: `l${i}`,
          unitCost,
          packSize,
          demand: { kind: "poisson", rate },
        }));
        const kit = async (money: number) =>
          await service.owner.must("POST", "/v1/calculators/spares-kit", { lines, budget: money });
        const [less, more] = [await kit(budget), await kit(budget + 50)];
        expect(less.cost).toBeLessThanOrEqual(budget);
        expect(less.cost).toBe(
          less.quantities.reduce(
            (sum: number, one: any, i: number) => sum + one.packs * lines[i]!.unitCost,
            0,
          ),
        );
        expect(more.jointChance).toBeGreaterThanOrEqual(less.jointChance - 1e-12);
      },
    ),
    { seed: 8, numRuns: 25 },
  );
});
