import { afterAll, beforeAll, describe, expect, it } from "vitest";
import { type ClubOfFour, startClubOfFour } from "../support/club-of-four.ts";
import { startTestService, type TestService } from "../support/service.ts";

const through = "2027-04-30";

describe("answers about stock", () => {
  let service: TestService;
  let club: ClubOfFour;
  let ada: TestService["owner"];
  let shop: TestService["owner"];
  beforeAll(async () => {
    service = await startTestService("2026-12-01T09:00:00.000Z");
    club = await startClubOfFour(service);
    ada = await service.as("driver", club.drivers[0].id);
    shop = await service.as("shop");
  });
  afterAll(() => service.close());
  const get = (path: string) => service.owner.must("GET", path);

  describe("GET /v1/restock-list", () => {
    it("gives each line its levels and each list its joint chance, bounded by that of its weakest line", async () => {
      const list = await get(`/v1/restock-list?through=${through}&target=0.9&reviewPeriodDays=14`);
      const entries = [...list.suppliers.flatMap((one: any) => one.lines), ...list.enough];
      expect(entries).toHaveLength(3);
      for (const entry of entries) {
        expect(entry.orderUpTo).toBeGreaterThanOrEqual(entry.reorderPoint);
        expect(entry.chanceWith).toBeGreaterThanOrEqual(0.9 - 1e-9);
        expect(entry.sentence).toMatch(/\d/);
      }
      const product = entries.reduce((chance: number, entry: any) => chance * entry.chanceWith, 1);
      expect(list.chanceWith).toBeCloseTo(product, 9);
      expect(list.chanceWithAtMost).toBe(Math.min(...entries.map((entry: any) => entry.chanceWith)));
      expect(list.sentence).toContain("4 cars");
      expect(await get(`/v1/restock-list?through=${through}&target=0.9&reviewPeriodDays=14`)).toEqual(list);
    });

    it("for a target of the whole list buys more than line by line, reaches it, and has no pack to spare", async () => {
      const ask = async (covers: string) => {
        const list = await get(`/v1/restock-list?through=${through}&target=0.9&targetCovers=${covers}`);
        return { list, entries: [...list.suppliers.flatMap((one: any) => one.lines), ...list.enough] };
      };
      const [byLine, whole] = [await ask("line"), await ask("list")];
      expect(byLine.list.chanceWith).toBeLessThan(0.9);
      expect(whole.list.targetCovers).toBe("list");
      expect(whole.list.chanceWith).toBeGreaterThanOrEqual(0.9 - 1e-9);
      expect(whole.list.totals[0].minorUnits).toBeGreaterThan(byLine.list.totals[0].minorUnits);
      for (const entry of whole.entries) {
        expect(entry.chanceWith).toBeGreaterThanOrEqual(0.9 - 1e-9);
        expect(entry.stockWanted).toBeLessThanOrEqual(
          entry.onHand + entry.onOrder + entry.spares + entry.pieces,
        );
        expect(entry.orderUpTo).toBeGreaterThanOrEqual(entry.reorderPoint);
        expect(entry.orderBy === null).toBe(entry.packs === 0);
      }
      // However sure the packs make it, a line is not to be ordered months before it is needed for that.
      const dayOf = (list: any, sku: string) =>
        list.entries.find((one: any) => one.sku === sku && one.packs > 0)?.orderBy;
      const both = whole.entries.filter(({ sku }: any) => dayOf(byLine, sku) && dayOf(whole, sku));
      expect(both.length).toBeGreaterThan(0);
      for (const { sku, leadTime } of both) {
        const earlier = Date.parse(dayOf(byLine, sku)) - Date.parse(dayOf(whole, sku));
        expect(earlier).toBeLessThanOrEqual((45 + 4 * leadTime.sdDays) * 86_400_000);
      }
      const refused = await service.owner.get(
        `/v1/restock-list?through=${through}&targetCovers=list&targetKind=fill`,
      );
      expect(refused.status).toBe(422);
      expect(refused.body.detail).toContain("targetKind=cycle");
    });

    it("asked for a share served instead of a chance buys less of a line of which many are needed", async () => {
      const wanted = async (kind: string) => {
        const list = await get(`/v1/restock-list?through=${through}&target=0.9&targetKind=${kind}`);
        return [...list.suppliers.flatMap((one: any) => one.lines), ...list.enough].find(
          (one: any) => one.sku === "S-1",
        ).stockWanted;
      };
      expect(await wanted("fill")).toBeLessThanOrEqual(await wanted("cycle"));
    });

    it("of another driver's car is refused, and of an unknown one too", async () => {
      const of = (carId: string) => `/v1/restock-list?through=${through}&carId=${carId}`;
      expect((await ada.get(of(club.cars[0].id))).body.cars).toBe(1);
      expect((await ada.get(of(club.cars[1].id))).status).toBe(403);
      expect((await service.owner.get(of("none"))).status).toBe(404);
    });

    it("says what to take as well where an order is below the supplier's minimum", async () => {
      const path = `/v1/restock-list?through=2026-12-31&target=0.9`;
      const [first] = (await get(path)).suppliers;
      const total = first.totals[0].minorUnits;
      expect(first.belowMinimumByMinorUnits).toBe(Math.max(0, 5000 - total));
      await service.owner.must("PATCH", `/v1/suppliers/${club.supplier.id}`, {
        minimumOrderMinorUnits: total + 1,
      });
      const [supplier] = (await get(path)).suppliers;
      expect(supplier.belowMinimumByMinorUnits).toBe(1);
      const more = supplier.toReachMinimum.reduce((sum: number, one: any) => sum + one.costMinorUnits, 0);
      expect(more).toBeGreaterThanOrEqual(1);
      await service.owner.must("PATCH", `/v1/suppliers/${club.supplier.id}`, {
        minimumOrderMinorUnits: 900_000,
      });
      expect((await get(path)).suppliers[0].toReachMinimum).toBeNull();
      await service.owner.must("PATCH", `/v1/suppliers/${club.supplier.id}`, {
        minimumOrderMinorUnits: 5000,
      });
    });

    it("a longer review orders up to no less", async () => {
      const upTo = async (days: number) =>
        (await get(`/v1/lines/${club.lines.spur.id}/reorder-point?reviewPeriodDays=${days}`)).orderUpTo;
      expect(await upTo(60)).toBeGreaterThanOrEqual(await upTo(0));
    });

    it("a pinion is needed more often than alone, because spurs are changed", async () => {
      const need = async () =>
        (await get(`/v1/lines/${club.lines.pinion.id}/outlook?through=${through}`)).months.at(-1).through
          .expected;
      const paired = await need();
      const kinds = await get("/v1/kinds?limit=500");
      const pinion = kinds.items.find((kind: any) => kind.code === "T-PINION");
      await service.owner.must("PATCH", `/v1/kinds/${pinion.id}`, { changeRule: "alone", mateCode: null });
      const alone = await need();
      await service.owner.must("PATCH", `/v1/kinds/${pinion.id}`, {
        changeRule: "with-mate",
        mateCode: "T-SPUR",
      });
      expect(paired).toBeGreaterThan(alone);
    });
  });

  describe("stock that ages", () => {
    it("does not count once it is past its shelf life", async () => {
      const entry = async () => {
        const list = await get(`/v1/restock-list?through=${through}&driverId=${club.drivers[0].id}`);
        return [...list.suppliers.flatMap((one: any) => one.lines), ...list.enough].find(
          (one: any) => one.sku === "S-1",
        );
      };
      const fresh = await entry();
      expect(fresh).toMatchObject({ onHand: 5, ageing: 0 });
      await service.owner.must("PATCH", `/v1/lines/${club.lines.spur.id}`, { shelfLifeDays: 30 });
      const aged = await entry();
      expect(aged.ageing).toBeGreaterThan(3);
      expect(aged.chanceWithout).toBeLessThan(fresh.chanceWithout);
      expect(aged.packs).toBeGreaterThanOrEqual(fresh.packs);
      await service.owner.must("PATCH", `/v1/lines/${club.lines.spur.id}`, { shelfLifeDays: null });
    });
  });

  describe("part-worn pieces", () => {
    it("count as spares while they are good for half a life, and not when they are worn", async () => {
      const driverId = club.drivers[1].id;
      const spares = async () => {
        const list = await get(`/v1/restock-list?through=${through}&driverId=${driverId}`);
        return [...list.suppliers.flatMap((one: any) => one.lines), ...list.enough].find(
          (one: any) => one.sku === "S-1",
        ).spares;
      };
      expect(await spares()).toBe(0);
      const add = (mark: string, priorUsage: number | null) =>
        service.owner.must("POST", "/v1/pieces", {
          driverId,
          lineId: club.lines.spur.id,
          mark,
          priorUsage,
          priorUsageSd: priorUsage === null ? null : 50,
        });
      await add("fresh", null);
      await add("tired", 650);
      expect(await spares()).toBe(1);
    });
  });

  describe("GET /v1/restock-plan", () => {
    it("says how many lines of parts that do not stop a car are left out, where they are", async () => {
      const plan = (parts: string) =>
        get(`/v1/restock-plan?through=${through}&budgetMinorUnits=20000&parts=${parts}`);
      const [stoppers, all] = [await plan("car-stoppers"), await plan("all")];
      const left = all.lines - stoppers.lines;
      expect(left).toBeGreaterThan(0);
      expect(stoppers.sentence).toMatch(
        new RegExp(
          ` ${left} lines? of parts that do not stop a car when they are worn out (?:is|are) left out`,
        ),
      );
      expect(all.sentence).not.toContain("left out");
    });

    it("spends no more than the budget, and its chance never falls with more money", async () => {
      let before = 0;
      for (const budget of [0, 899, 900, 5000, 12_000, 60_000]) {
        const plan = await get(`/v1/restock-plan?through=${through}&budgetMinorUnits=${budget}&parts=all`);
        expect(plan.spentMinorUnits).toBeLessThanOrEqual(budget);
        expect(plan.buy.reduce((sum: number, one: any) => sum + one.costMinorUnits, 0)).toBe(
          plan.spentMinorUnits,
        );
        expect(plan.chanceWith).toBeGreaterThanOrEqual(before);
        expect(plan.chanceAtMost).toBeGreaterThanOrEqual(plan.chanceWith - 1e-12);
        before = plan.chanceWith;
      }
      expect(before).toBeGreaterThan(0.95);
    });

    it("shows the whole curve, with the price of each point gained, and what the next money buys", async () => {
      const plan = await get(`/v1/restock-plan?through=${through}&budgetMinorUnits=1000`);
      expect(plan.curve[0]).toMatchObject({ spentMinorUnits: 0, step: null });
      const chances = plan.curve.map((point: any) => point.chance);
      expect(chances).toEqual([...chances].sort((a, b) => a - b));
      expect(plan.next.costMinorUnits).toBeGreaterThan(0);
      expect(plan.next.chance).toBeGreaterThan(plan.chanceWith);
      expect(plan.sentence).toContain("of AUD 10.00 the chance of no lost run");
      // Bodies stop no car.
      expect(JSON.stringify(plan)).not.toContain('"B-1"');
    });
  });

  describe("GET /v1/cars/{id}/pit-list", () => {
    it("carries one of every car-stopper and makes the day safer", async () => {
      const list = await get(`/v1/cars/${club.cars[0].id}/pit-list?target=0.98`);
      expect(list.meeting.name).toBe("Round 1");
      const of = (sku: string) => list.carry.find((one: any) => one.sku === sku);
      expect(of("S-1").pieces).toBeGreaterThanOrEqual(1);
      expect(of("P-1").pieces).toBeGreaterThanOrEqual(1);
      expect(of("S-1")).toMatchObject({ atHome: 5, missing: 0, carStopper: true });
      expect(of("P-1")).toMatchObject({ atHome: 0, missing: 1, costMinorUnits: 1150 });
      expect(list.chanceDayEnds.carried).toBeLessThan(list.chanceDayEnds.asItIs);
      expect(list.met).toBe(list.chanceDayEnds.carried <= 0.02 + 1e-12);
      expect(list.totals).toEqual([{ currency: "AUD", minorUnits: 1150 }]);
    });

    it("a later meeting counts the wear of those before it", async () => {
      const next = await get(`/v1/cars/${club.cars[1].id}/pit-list`);
      const later = await get(`/v1/cars/${club.cars[1].id}/pit-list?meetingId=${club.meetings[5].id}`);
      expect(later.meetingsBefore).toBe(5);
      expect(later.chanceDayEnds.asItIs).toBeGreaterThan(next.chanceDayEnds.asItIs);
    });

    it("names what to change before leaving, and the day is safer for it", async () => {
      await service.owner.must("POST", `/v1/pieces/${club.pieces["Dov spur"]}/inspections`, {
        at: "2026-11-30T19:00:00Z",
        readings: [
          { value: 15.39, unit: "mm" },
          { value: 15.392, unit: "mm" },
        ],
      });
      const list = await get(`/v1/cars/${club.cars[3].id}/pit-list`);
      expect(list.change.map((one: any) => one.position)).toContain("spur");
      expect(list.chanceDayEnds.changed).toBeLessThan(list.chanceDayEnds.asItIs);
    });

    it("an unknown meeting is refused, and so is another driver's car", async () => {
      const unknown = await service.owner.get(`/v1/cars/${club.cars[0].id}/pit-list?meetingId=none`);
      expect([unknown.status, unknown.body.errors[0].pointer]).toEqual([404, "#/meetingId"]);
      expect((await ada.get(`/v1/cars/${club.cars[1].id}/pit-list`)).status).toBe(403);
      expect((await ada.get(`/v1/cars/${club.cars[0].id}/pit-list`)).status).toBe(200);
    });
  });

  describe("GET /v1/pieces/{id}/change-early", () => {
    const early = (query = "") => get(`/v1/pieces/${club.pieces["Ada spur"]}/change-early${query}`);
    it("the more a lost run costs, the earlier", async () => {
      const [cheap, dear] = [
        await early("?plannedCostMinorUnits=900&lostRunCostMinorUnits=5000"),
        await early("?plannedCostMinorUnits=900&lostRunCostMinorUnits=50000"),
      ];
      expect(dear.worthwhile).toBe(true);
      expect(dear.changeAtUsage).toBeLessThan(cheap.changeAtUsage ?? Infinity);
      expect(dear.within.from).toBeLessThan(dear.changeAtUsage);
      expect(dear.saving).toBeGreaterThan(0.01);
      expect(dear.costPerHundredMinorUnits).toBeLessThan(dear.costPerHundredRunToEndMinorUnits);
    });

    it("is not worth it where no run is lost, and says what it assumes", async () => {
      const free = await early("?lostRunCostMinorUnits=0");
      expect(free).toMatchObject({ worthwhile: false, changeAtUsage: null, changeNow: false });
      expect(free.sentence).toContain("not worth it");
      expect(await early()).toMatchObject({
        plannedCostMinorUnits: 1400,
        labourMinorUnits: 500,
        lostRunCostMinorUnits: 2500,
        assumed: { plannedCost: true, labour: true, lostRunCost: true },
      });
      expect(await get(`/v1/pieces/${club.pieces["Ada body"]}/change-early`)).toMatchObject({
        plannedCostMinorUnits: 2500,
        lostRunCostMinorUnits: 500,
        worthwhile: false,
      });
    });

    it("labour counts: the more a change takes, the less often it is worth it; a cost given whole has it in it", async () => {
      const [quick, slow] = [
        await early("?labourMinorUnits=0&lostRunCostMinorUnits=9000"),
        await early("?labourMinorUnits=4000&lostRunCostMinorUnits=9000"),
      ];
      expect([quick.plannedCostMinorUnits, slow.plannedCostMinorUnits]).toEqual([900, 4900]);
      expect(quick.changeAtUsage).toBeLessThan(slow.changeAtUsage ?? Infinity);
      expect(quick.assumed).toEqual({ plannedCost: true, labour: false, lostRunCost: false });
      expect(await early("?plannedCostMinorUnits=900&labourMinorUnits=4000")).toMatchObject({
        ...{ plannedCostMinorUnits: 900, labourMinorUnits: null },
      });
    });

    it("another driver's piece is out of reach", async () => {
      expect((await ada.get(`/v1/pieces/${club.pieces["Ben spur"]}/change-early`)).status).toBe(403);
    });
  });

  describe("GET /v1/season-cost", () => {
    it("has what was spent beside what is likely, by month and by line, adding up", async () => {
      const cost = await get(`/v1/season-cost?from=2026-11-01&through=${through}`);
      expect(cost.months.map((one: any) => one.month)).toEqual([
        "2026-11",
        "2026-12",
        "2027-01",
        "2027-02",
        "2027-03",
        "2027-04",
      ]);
      expect(cost.months[0]).toMatchObject({ actualMinorUnits: 4500, ahead: null });
      expect(cost.total.actualMinorUnits).toBe(4500);
      const ahead = cost.months.filter((one: any) => one.ahead !== null);
      const sum = ahead.reduce((total: number, one: any) => total + one.ahead.expectedMinorUnits, 0);
      expect(Math.abs(sum - cost.total.expectedMinorUnits)).toBeLessThanOrEqual(ahead.length);
      const byLine = cost.lines.reduce((total: number, one: any) => total + one.expectedMinorUnits, 0);
      expect(Math.abs(byLine - cost.total.expectedMinorUnits)).toBeLessThanOrEqual(cost.lines.length);
      const { p10, median, p90 } = cost.total.rangeMinorUnits;
      expect(p10 <= median && median <= p90).toBe(true);
      expect(await get(`/v1/season-cost?from=2026-11-01&through=${through}`)).toEqual(cost);
    });

    it("of one driver is theirs alone, and the others' is refused to them", async () => {
      const own = await ada.must("GET", `/v1/season-cost?from=2026-11-01&through=${through}`);
      expect(own.cars).toBe(1);
      const others = await ada.get(
        `/v1/season-cost?from=2026-11-01&through=${through}&driverId=${club.drivers[1].id}`,
      );
      expect(others.status).toBe(403);
    });

    it("refuses an end before its beginning", async () => {
      expect((await service.owner.get("/v1/season-cost?from=2027-02-01&through=2027-01-01")).status).toBe(
        409,
      );
    });
  });

  describe("GET /v1/lines/{id}/outlook", () => {
    it("gives the need of each month and through it, which never falls", async () => {
      const outlook = await get(`/v1/lines/${club.lines.spur.id}/outlook?through=${through}`);
      expect(outlook.months).toHaveLength(5);
      const last = outlook.months.at(-1).through;
      const sum = outlook.months.reduce((total: number, one: any) => total + one.expected, 0);
      expect(sum).toBeCloseTo(last.expected, 6);
      const through90 = outlook.months.map((one: any) => one.through.pieces.p90);
      expect(through90).toEqual([...through90].sort((a, b) => a - b));
      expect(outlook.calendarEndsOn).toBe("2027-04-11");
    });
  });

  describe("GET /v1/shelf-plan", () => {
    const plan = (who: TestService["owner"] = shop) => who.must("GET", `/v1/shelf-plan?through=${through}`);
    const share = (i: number, sharesDemand: boolean) =>
      service.owner.must("PATCH", `/v1/drivers/${club.drivers[i].id}`, { sharesDemand });

    it("shows nothing while fewer than three drivers share", async () => {
      expect((await plan()).lines).toEqual([]);
      await share(0, true);
      await share(1, true);
      const two = await plan();
      expect(two).toMatchObject({ driversSharing: 2, drivers: 4, lines: [] });
      expect(two.withheld).toEqual(expect.arrayContaining(["S-1", "P-1", "B-1"]));
    });

    it("pools the need of those who share, beyond what they hold themselves; the owner sees the same", async () => {
      await share(2, true);
      const three = await plan();
      const of = (list: any, sku: string) => list.lines.find((one: any) => one.sku === sku);
      expect(of(three, "S-1").drivers).toBe(3);
      expect(of(three, "S-1").orderUpTo).toBeGreaterThanOrEqual(of(three, "S-1").reorderPoint);
      const owner = await plan(service.owner);
      expect(owner.lines).toEqual(three.lines);
      await share(3, true);
      const four = await plan();
      expect(of(four, "P-1").need.expected).toBeGreaterThan(of(three, "P-1").need.expected);
      const club4 = await get(`/v1/lines/${club.lines.spur.id}/outlook?through=${through}`);
      expect(of(four, "S-1").need.expected).toBeLessThan(club4.months.at(-1).through.expected);
    });

    it("names no driver, car or piece", async () => {
      const text = JSON.stringify(await plan());
      for (const id of [...club.drivers, ...club.cars].map((one: any) => one.id))
        expect(text).not.toContain(id);
      for (const id of Object.values(club.pieces)) expect(text).not.toContain(id);
    });

    it("is refused to a driver, who alone says whether their own demand is shared", async () => {
      expect((await ada.get(`/v1/shelf-plan?through=${through}`)).status).toBe(403);
      const own = `/v1/drivers/${club.drivers[0].id}`;
      expect((await ada.must("PATCH", own, { sharesDemand: false })).sharesDemand).toBe(false);
      expect((await plan()).driversSharing).toBe(3);
      expect((await ada.patch(own, { name: "Another" })).status).toBe(403);
      expect((await ada.patch(`/v1/drivers/${club.drivers[1].id}`, { sharesDemand: false })).status).toBe(
        403,
      );
      expect((await shop.patch(own, { sharesDemand: true })).status).toBe(403);
      expect((await ada.must("PATCH", own, { notes: "two cars" })).notes).toBe("two cars");
    });
  });
});
