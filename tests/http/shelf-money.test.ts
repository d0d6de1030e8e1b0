import { afterAll, beforeAll, describe, expect, it } from "vitest";
import { type ClubOfFour, startClubOfFour } from "../support/club-of-four.ts";
import { startTestService, type TestService } from "../support/service.ts";

let service: TestService;
let club: ClubOfFour;
let shop: TestService["owner"];
const through = "2027-04-30";
beforeAll(async () => {
  service = await startTestService("2026-12-01T09:00:00.000Z");
  club = await startClubOfFour(service);
  shop = await service.as("shop");
  for (const { id } of club.drivers)
    await service.owner.must("PATCH", `/v1/drivers/${id}`, { sharesDemand: true });
});
afterAll(async () => {
  expect(service.faults).toEqual([]);
  await service.close();
});

const plan = () => shop.must("GET", `/v1/shelf-plan?through=${through}`);
const budget = (minorUnits: number) =>
  shop.must("GET", `/v1/shelf-budget?through=${through}&budgetMinorUnits=${minorUnits}`);
const cost = () => shop.must("GET", `/v1/shelf-cost?through=${through}`);

describe("the money of the shelf", () => {
  it("the plan has the chance that nothing shown runs out: the product over its lines", async () => {
    const { lines, chanceWithout, chanceWith, chanceWithAtMost, sentence } = await plan();
    const product = (name: string) => lines.reduce((all: number, line: any) => all * line[name], 1);
    expect(chanceWithout).toBeCloseTo(product("chanceWithout"), 12);
    expect(chanceWith).toBeCloseTo(product("chanceWith"), 12);
    expect(chanceWith).toBeGreaterThan(chanceWithout);
    expect(chanceWithAtMost).toBe(Math.min(...lines.map((line: any) => line.chanceWith)));
    expect(sentence).toContain("the chance that none of them runs out through 2027-04-30 rises from");
  });

  it("a budget is never exceeded, gains with money, and begins at the chance of the plan", async () => {
    const [{ chanceWithout }, nothing, some, much] = [
      await plan(),
      await budget(0),
      await budget(20_000),
      await budget(900_000),
    ];
    expect(nothing).toMatchObject({ spentMinorUnits: 0, buy: [] });
    expect(nothing.chanceWith).toBeCloseTo(chanceWithout, 12);
    expect(some.spentMinorUnits).toBeLessThanOrEqual(20_000);
    expect(some.chanceWith).toBeGreaterThan(nothing.chanceWith);
    expect(much.chanceWith).toBeGreaterThan(0.99);
    const spent = some.buy.reduce((sum: number, one: any) => sum + one.costMinorUnits, 0);
    expect(spent).toBe(some.spentMinorUnits);
    const curve = some.curve.map(({ chance }: any) => chance);
    expect(curve).toEqual(curve.toSorted((a: number, b: number) => a - b));
  });

  it("the cost of months and of lines each add up to the total, and stock on the shelf lowers it", async () => {
    const { months, lines, total } = await cost();
    const sum = (rows: any[]) => rows.reduce((all, row) => all + row.expectedMinorUnits, 0);
    expect([sum(months), sum(lines)]).toEqual([total.expectedMinorUnits, total.expectedMinorUnits]);
    expect(months.map(({ month }: any) => month)).toEqual([
      "2026-12",
      "2027-01",
      "2027-02",
      "2027-03",
      "2027-04",
    ]);
    expect(total.rangeMinorUnits.p10).toBeLessThan(total.rangeMinorUnits.p90);
    const shelf = await service.owner.must("POST", "/v1/locations", { name: "Second shelf", sort: "shelf" });
    await service.owner.must("POST", "/v1/movements", {
      ...{ reason: "received", lineId: club.lines.body.id, locationId: shelf.id, pieces: 6 },
      at: "2026-11-30T08:00:00Z",
    });
    expect((await cost()).total.expectedMinorUnits).toBeLessThan(total.expectedMinorUnits);
  });

  it("rests on three drivers or more: with two, every line is withheld and nothing is said of it", async () => {
    for (const { id } of club.drivers.slice(2))
      await service.owner.must("PATCH", `/v1/drivers/${id}`, { sharesDemand: false });
    const [money, spent, joint] = [await cost(), await budget(50_000), await plan()];
    expect(money).toMatchObject({ lines: [], total: { expectedMinorUnits: 0 } });
    expect(money.withheld.toSorted()).toEqual(["B-1", "P-1", "S-1"]);
    expect(spent).toMatchObject({ lines: 0, buy: [], curve: [{ chance: 1 }] });
    expect(spent.sentence).toContain("3 lines with fewer than 3 drivers behind them are left out.");
    expect([joint.chanceWithout, joint.chanceWith]).toEqual([1, 1]);
  });

  it("is for the shop and the owner, and not further ahead than a calendar goes", async () => {
    const driver = await service.as("driver", club.drivers[0]!.id);
    for (const path of [
      `shelf-cost?through=${through}`,
      `shelf-budget?through=${through}&budgetMinorUnits=1`,
    ])
      expect((await driver.get(`/v1/${path}`)).status).toBe(403);
    const far = await shop.get("/v1/shelf-cost?through=2040-01-01");
    expect([far.status, far.body.errors[0].pointer]).toEqual([422, "#/through"]);
    expect((await shop.get("/v1/shelf-cost?through=2020-01-01")).status).toBe(409);
    expect((await shop.get(`/v1/shelf-budget?through=${through}`)).status).toBe(422);
  });
});
