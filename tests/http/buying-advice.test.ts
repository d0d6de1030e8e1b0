import { parse } from "csv-parse/sync";
import { afterAll, beforeAll, describe, expect, it } from "vitest";
import { startGarage } from "../support/garage.ts";
import { startTestService, type TestService } from "../support/service.ts";
import { textOf } from "../support/well-formed.ts";

const caution = "Unplug the pack before fingers go near the gears.";
const through = "2027-06-30";

/** A driver with two spurs on the car, sold in packs of two and multiples of ten packs; a club's shelf that is no shop. */
describe("answers about what to buy and carry", () => {
  let service: TestService;
  let garage: Awaited<ReturnType<typeof startGarage>>;
  let driver: TestService["owner"];
  let shelf: string;
  const entriesOf = (list: any) => [...list.suppliers.flatMap((one: any) => one.lines), ...list.enough];
  const list = async (query = `through=${through}`, by = driver) =>
    by.must("GET", `/v1/restock-list?${query}`);
  const spur = async (query?: string, by = driver) =>
    entriesOf(await list(query, by)).find((one: any) => one.sku === "T-SP-1");
  const pitPath = (ending = "") => `/v1/cars/${garage.car.id}/pit-list${ending}`;
  const textOfPage = async (path: string) => textOf((await driver.get(path)).body, "main");

  beforeAll(async () => {
    service = await startTestService();
    garage = await startGarage(service);
    driver = await service.as("driver", garage.driver.id);
    const { must } = service.owner;
    await must("PATCH", `/v1/lines/${garage.line.id}`, { packSize: 2, orderMultiplePacks: 10 });
    for (const [position, priorUsage] of [
      ["spur", 700],
      ["second spur", 0],
    ] as const) {
      const { id: pieceId } = await must("POST", "/v1/pieces", {
        ...{ driverId: garage.driver.id, lineId: garage.line.id, mark: position, priorUsage },
      });
      await must("POST", `/v1/cars/${garage.car.id}/fittings`, {
        ...{ position, at: "2026-11-01T08:00:00Z", piece: { pieceId } },
      });
    }
    shelf = (await must("POST", "/v1/locations", { name: "Club cupboard", sort: "shelf" })).id;
  });
  afterAll(() => service.close());

  it("say that no meeting is ahead where the calendar is empty, and that no wear to come is counted then", async () => {
    const answer = await list();
    expect(answer.calendarEndsOn).toBeNull();
    expect(answer.sentence).toContain(
      "no meeting is ahead in the calendar, so that no wear to come is counted",
    );
    for (const startsOn of ["2027-02-07", "2027-03-07", "2027-04-04"])
      await service.owner.must("POST", "/v1/meetings", {
        ...{ name: `Round of ${startsOn}`, startsOn, surface: "asphalt", plannedRuns: 30 },
      });
  });

  it("name the day on which the calendar ends, say so where the day asked for lies beyond it, and refuse years beyond", async () => {
    for (const path of [
      `/v1/restock-list?through=${through}`,
      `/v1/restock-plan?through=${through}&budgetMinorUnits=20000`,
      `/v1/lines/${garage.line.id}/outlook?through=${through}`,
    ]) {
      const answer = await driver.must("GET", path);
      expect(answer.calendarEndsOn).toBe("2027-04-04");
      expect(answer.sentence).toContain("the calendar ends on 2027-04-04");
      const within = await driver.must("GET", path.replace(through, "2027-04-04"));
      expect(within.sentence).not.toContain("the calendar ends");
      const refused = await driver.get(path.replace(through, "2099-01-01"));
      expect([refused.status, refused.body.errors?.[0]?.pointer]).toEqual([422, "#/through"]);
      expect(refused.body.detail).toContain("at most 36");
    }
    service.clock.now = "2027-04-05T09:00:00.000Z";
    expect((await list()).calendarEndsOn).toBeNull();
    service.clock.now = "2026-12-01T09:00:00.000Z";
  });

  it("say that the supplier's multiple makes the order larger, and that a counter's packs are fewer", async () => {
    const entry = await spur();
    expect(entry).toMatchObject({ orderMultiplePacks: 10, packSize: 2, packs: 10, pieces: 20 });
    expect(entry.leastPacks).toBeLessThan(10);
    expect(entry.leastPacks).toBeGreaterThan(0);
    const enough = `${entry.leastPacks} pack${entry.leastPacks === 1 ? "" : "s"} would be enough`;
    expect(entry.sentence).toContain(
      `The supplier sells it in multiples of 10 packs: ${enough}, and at a counter no more need be bought.`,
    );
    const ofClub = await spur(undefined, service.owner);
    expect(ofClub.sentence).toContain(`${enough}.`);
    expect(ofClub.sentence).not.toContain("counter");
    const { buy } = await driver.must(
      "GET",
      `/v1/restock-plan?through=${through}&budgetMinorUnits=20000&parts=all`,
    );
    expect(buy[0]).toMatchObject({ packs: 10, orderMultiplePacks: 10 });
    expect(buy[0].sentence).toContain("multiples of 10 packs");
  });

  it("tell what lies on the club's shelf, which is not the driver's, and that no more must come from elsewhere", async () => {
    const before = await spur();
    expect(before).toMatchObject({ onShelf: 0, fromShelves: 0 });
    expect(before.fromElsewhere).toBe(before.leastPacks * before.packSize);
    await service.owner.must("POST", "/v1/movements", {
      ...{
        reason: "received",
        lineId: garage.line.id,
        locationId: shelf,
        pieces: 40,
        at: "2026-11-20T10:00:00Z",
      },
    });
    const { carry } = await driver.must("GET", pitPath());
    for (const entry of [await spur(), await spur(`through=${through}&carId=${garage.car.id}`), carry[0]]) {
      expect(entry).toMatchObject({ onShelf: 40, fromElsewhere: 0 });
      expect(entry.sentence).toContain("The club's shelf has 40.");
      expect(entry.sentence).not.toContain("elsewhere");
    }
    expect(await spur()).toMatchObject({ onHand: 0, packs: before.packs });
    expect(await spur(undefined, service.owner)).toMatchObject({ onHand: 40, onShelf: 0, packs: 0 });
  });

  it("carry the cautions of the kinds, in each entry, in the file, and once each under the page's tables", async () => {
    const pit = await driver.must("GET", pitPath());
    const plan = await driver.must(
      "GET",
      `/v1/restock-plan?through=${through}&budgetMinorUnits=20000&parts=all`,
    );
    expect(pit.change.length).toBeGreaterThan(0);
    for (const entry of [...entriesOf(await list()), ...pit.carry, ...pit.change, ...plan.buy])
      expect(entry.cautions).toEqual([caution]);
    for (const path of [pitPath, (ending: string) => `/v1/restock-list${ending}?through=${through}`]) {
      const rows = parse((await driver.get(path(".csv"))).body, { columns: true }) as any[];
      expect(rows.map((row) => row.cautions)).toEqual(rows.map(() => caution));
      const page = await textOfPage(path(".html"));
      expect(page.split(caution)).toHaveLength(2);
      expect(page.indexOf(caution)).toBeGreaterThan(page.indexOf("T-SP-1"));
    }
  });

  it("write money as people do, and say of a chance that it stays where nothing is gained", async () => {
    const ask = (budget: number) =>
      driver.must("GET", `/v1/restock-plan?through=${through}&budgetMinorUnits=${budget}`);
    expect((await ask(20_000)).sentence).toMatch(/^For AUD \d+\.00 of AUD 200\.00 the chance of no lost run/);
    const nothing = await ask(100);
    expect(nothing.sentence).toMatch(
      /^For AUD 0\.00 of AUD 1\.00 .* stays at \d+ %; the next AUD \d+\.\d\d, for /,
    );
    expect(JSON.stringify(nothing)).not.toContain("minor units");
  });

  it("on the page of the pit list show for a change only what a change has", async () => {
    const page: string = (await driver.get(pitPath(".html"))).body;
    const [change, carry] = page.split("<table").slice(1) as [string, string];
    expect(change).toContain("Change before leaving");
    expect(change).not.toContain("–");
    expect(change).not.toContain("Cost");
    expect(carry).toContain("Cost");
  });
});
