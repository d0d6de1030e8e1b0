import { afterAll, beforeAll, describe, expect, it } from "vitest";
import { buildApp } from "../../src/app.ts";
import { keptNeeds } from "../../src/services/kept-needs.ts";
import type { WearLineFit } from "../../src/stats/index.ts";
import { type ClubOfFour, startClubOfFour } from "../support/club-of-four.ts";
import { startTestService, type TestService } from "../support/service.ts";

describe("needs that are kept", () => {
  it("are worked out again where a table, the text or the fit is another, and only there", () => {
    let worked = 0;
    const fit = {} as WearLineFit;
    const [a, b] = [{}, {}];
    const ask = (of: WearLineFit, from: object[], said: string) =>
      keptNeeds(of, from, said, () => [[++worked]])[0]![0];
    expect([ask(fit, [a], "x"), ask(fit, [a], "x"), worked]).toEqual([1, 1, 1]);
    expect([ask(fit, [b], "x"), ask(fit, [a, b], "x"), ask(fit, [a], "y")]).toEqual([2, 3, 4]);
    expect(ask({} as WearLineFit, [a], "x")).toBe(5);
    expect([ask(fit, [b], "x"), ask(fit, [a], "x")]).toEqual([2, 1]);
  });

  it("are few for each fit: the one not asked for longest goes", () => {
    const fit = {} as WearLineFit;
    let worked = 0;
    const ask = (said: number) => keptNeeds(fit, [], `${said}`, () => [[++worked]])[0]![0];
    for (let i = 1; i <= 8; i++) ask(i);
    expect(ask(1)).toBe(1);
    ask(9);
    expect([ask(1), ask(3), ask(2)]).toEqual([1, 3, 10]);
  });
});

describe("a restock list that rests on kept needs", () => {
  let service: TestService;
  let club: ClubOfFour;
  beforeAll(async () => {
    service = await startTestService("2026-12-01T09:00:00.000Z");
    club = await startClubOfFour(service);
  });
  afterAll(() => service.close());
  const where = "/v1/restock-list?through=2027-04-30&reviewPeriodDays=14";

  it("is that of a service that has just started, after each change of what it follows from", async () => {
    const { must } = service.owner;
    const key = await service.keyFor("owner");
    const fresh = async () => {
      const app = buildApp({ db: service.db, clock: () => new Date(service.clock.now) });
      return (await app.request(where, { headers: { authorization: `Bearer ${key}` } })).json();
    };
    const [car] = club.cars;
    const changes: (() => Promise<unknown>)[] = [
      () => must("PUT", `/v1/meetings/${club.meetings[0]!.id}/entries/${car!.id}`, { attends: false }),
      () => must("PATCH", `/v1/meetings/${club.meetings[1]!.id}`, { plannedRuns: 12 }),
      async () => (service.clock.now = "2026-12-20T09:00:00.000Z"),
      () => must("PATCH", `/v1/lines/${club.lines.body.id}`, { packSize: 1 }),
    ];
    let before = await must("GET", where);
    for (const change of changes) {
      await change();
      const after = await must("GET", where);
      expect(after).not.toEqual(before);
      expect(await must("GET", where)).toEqual(after);
      expect(after).toEqual(await fresh());
      before = after;
    }
  });

  it("follows a run at once, and its deletion", async () => {
    const { must } = service.owner;
    const before = await must("GET", where);
    const run = { carId: club.cars[1]!.id, at: "2026-11-30T10:00:00Z", minutes: 200, surface: "asphalt" };
    const { id } = await must("POST", "/v1/runs", run);
    const after = await must("GET", where);
    const needOf = (list: any, sku: string) =>
      [...list.suppliers.flatMap((one: any) => one.lines), ...list.enough].find((one: any) => one.sku === sku)
        .need.expected;
    expect(needOf(after, "S-1")).toBeGreaterThan(needOf(before, "S-1"));
    expect(needOf(after, "P-1")).toBeGreaterThan(needOf(before, "P-1"));
    await must("DELETE", `/v1/runs/${id}`);
    expect(await must("GET", where)).toEqual(before);
  });

  it("follows what broke for another driver, and a driver's list his own breakages", async () => {
    const { must } = service.owner;
    const needOf = async (driverId: string) => {
      const list = await must("GET", `${where}&driverId=${driverId}`);
      const all = [...list.suppliers.flatMap((one: any) => one.lines), ...list.enough];
      return all.find((one: any) => one.sku === "S-1").need.expected as number;
    };
    const [ada, ben] = club.cars.map((car: any) => car.driverId as string);
    const before = await must("GET", where);
    const [adaBefore, benBefore] = [await needOf(ada!), await needOf(ben!)];
    let hour = 0;
    const at = () => new Date(Date.parse("2026-11-20T08:00:00Z") + 3_600_000 * hour++).toISOString();
    for (let i = 0; i < 3; i++) {
      const piece = await must("POST", "/v1/pieces", {
        driverId: ben,
        lineId: club.lines.spur.id,
        mark: `broke ${i}`,
      });
      await must("PUT", `/v1/pieces/${piece.id}/retirement`, { at: at(), retiredFor: "broken" });
    }
    const after = await must("GET", where);
    expect(after).not.toEqual(before);
    const [adaMore, benMore] = [(await needOf(ada!)) - adaBefore, (await needOf(ben!)) - benBefore];
    expect(benMore).toBeGreaterThan(0.1);
    expect(benMore).toBeGreaterThan(1.3 * adaMore);
  });
});
