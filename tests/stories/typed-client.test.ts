import { afterEach, beforeEach, describe, expect, it } from "vitest";
import { makeClient } from "../../openapi/client/index.ts";
import { startTestService, type TestService } from "../support/service.ts";

/** The main job, done by a program that knows the service by its published description only. */
let service: TestService;
const clientFor = (key: string) =>
  makeClient({
    baseUrl: "http://club.test",
    key,
    fetch: async (request) => service.app.request(request),
  });

beforeEach(async () => {
  service = await startTestService();
});
afterEach(() => service.close());

/** The data of an answer, or the problem as an error: a program that expects success reads no further. */
function given<T>({ data, error }: { data?: T; error?: unknown }): NonNullable<T> {
  if (data === undefined || data === null) throw new Error(JSON.stringify(error));
  return data;
}

describe("a program with the typed client", () => {
  it("reads and changes the club", async () => {
    const client = clientFor(await service.keyFor("owner"));
    const read = await client.GET("/v1/club");
    expect(given(read).name).toBe("Our club");
    const header = { "If-Match": read.response.headers.get("etag")! };
    const changed = given(await client.PATCH("/v1/club", { params: { header }, body: { currency: "NZD" } }));
    expect(changed).toMatchObject({ name: "Our club", currency: "NZD", version: 2 });
  });

  it("adds drivers and follows the pages of their list to its end", async () => {
    const client = clientFor(await service.keyFor("owner"));
    const names = ["Una Wickerley", "Mara Tindle", "Bo Larkspur"];
    for (const name of names) given(await client.POST("/v1/drivers", { body: { name } }));
    const listed: string[] = [];
    let after: string | undefined;
    for (let page = 0; page < 5; page++) {
      const query = { limit: 2, ...(after === undefined ? {} : { after }) };
      const { items, next } = given(await client.GET("/v1/drivers", { params: { query } }));
      listed.push(...items.map(({ name }) => name));
      if (next === null) break;
      after = next;
    }
    expect(listed).toEqual(names);
  });

  it("is told by a typed problem what it may not do", async () => {
    const client = clientFor(await service.keyFor("reader"));
    const { error, response } = await client.POST("/v1/drivers", { body: { name: "Una Wickerley" } });
    expect(response.status).toBe(403);
    expect(error?.type).toBe("/problems/not_allowed");
  });

  it("has a misspelt member refused by the compiler, before the service refuses it", async () => {
    const client = clientFor(await service.keyFor("owner"));
    // @ts-expect-error: the description knows no member "nmae"
    const { response } = await client.POST("/v1/drivers", { body: { nmae: "Una Wickerley" } });
    expect(response.status).toBe(422);
  });

  it("logs a day of one part and gets back what is left of it, and the bench sheet of its car", async () => {
    const client = clientFor(await service.keyFor("owner"));
    const driver = given(await client.POST("/v1/drivers", { body: { name: "Una Wickerley" } }));
    const kinds = given(await client.GET("/v1/kinds", { params: { query: { limit: 500 } } }));
    const kind = kinds.items.find(
      ({ measure, clock }) => measure?.direction === "falls" && clock === "minutes",
    )!;
    const { asNew, unit } = kind.measure!;
    const line = given(
      await client.POST("/v1/lines", {
        body: { sku: "QB-1", name: "Part of the story", kindId: kind.id, priceMinorUnits: 900 },
      }),
    );
    const car = given(
      await client.POST("/v1/cars", {
        body: { driverId: driver.id, name: "Thornbill", positions: [{ name: "there", kindId: kind.id }] },
      }),
    );
    const piece = given(
      await client.POST("/v1/pieces", { body: { driverId: driver.id, lineId: line.id, mark: "one" } }),
    );
    const onCar = { params: { path: { id: car.id } } };
    const onPiece = { params: { path: { id: piece.id } } };
    given(
      await client.POST("/v1/cars/{id}/fittings", {
        ...onCar,
        body: { position: "there", at: "2026-11-01T08:00:00Z", piece: { pieceId: piece.id } },
      }),
    );
    const believed = given(await client.GET("/v1/pieces/{id}/forecast", onPiece));
    expect(believed.restsOn.basis).toBe("belief");

    for (const hour of ["09", "10", "11", "12"])
      given(
        await client.POST("/v1/runs", {
          body: { carId: car.id, at: `2026-11-08T${hour}:00:00Z`, minutes: 5.5, surface: "asphalt" },
        }),
      );
    given(
      await client.POST("/v1/pieces/{id}/inspections", {
        ...onPiece,
        body: { at: "2026-11-08T19:00:00Z", readings: [{ value: asNew, unit }] },
      }),
    );
    const forecast = given(await client.GET("/v1/pieces/{id}/forecast", onPiece));
    expect(forecast.usage).toBe(22);
    expect(forecast.restsOn.basis).toBe("own-readings");
    const { p10, median, p90 } = forecast.remaining.usage;
    expect([p10, median, p90]).toEqual([p10, median, p90].toSorted((a, b) => a! - b!));
    const sheet = given(await client.GET("/v1/cars/{id}/bench-sheet", onCar));
    expect(sheet.entries.map(({ mark }) => mark)).toEqual(["one"]);
  });

  it("fits a part straight out of the stock, and the level falls", async () => {
    const client = clientFor(await service.keyFor("owner"));
    const driver = given(await client.POST("/v1/drivers", { body: { name: "Una Wickerley" } }));
    const kind = given(await client.GET("/v1/kinds", { params: { query: { limit: 1 } } })).items[0]!;
    const line = given(
      await client.POST("/v1/lines", {
        body: { sku: "QB-1", name: "Part of the story", kindId: kind.id, priceMinorUnits: 900 },
      }),
    );
    const home = given(
      await client.POST("/v1/locations", { body: { name: "Home", sort: "home", driverId: driver.id } }),
    );
    given(
      await client.POST("/v1/movements", {
        body: {
          locationId: home.id,
          lineId: line.id,
          pieces: 3,
          reason: "received",
          at: "2026-11-29T08:00:00Z",
        },
      }),
    );
    const car = given(
      await client.POST("/v1/cars", {
        body: { driverId: driver.id, name: "Thornbill", positions: [{ name: "there", kindId: kind.id }] },
      }),
    );
    given(
      await client.POST("/v1/cars/{id}/fittings", {
        params: { path: { id: car.id } },
        body: {
          position: "there",
          at: "2026-11-30T08:00:00Z",
          piece: { lineId: line.id, mark: "one", from: home.id },
        },
      }),
    );
    const levels = given(await client.GET("/v1/stock-levels"));
    expect(levels.items.map(({ lineId, locationId, pieces }) => [lineId, locationId, pieces])).toEqual([
      [line.id, home.id, 2],
    ]);
  });

  it("reads from the restock list what to order, orders it, and has it on hand when it came", async () => {
    const client = clientFor(await service.keyFor("owner"));
    const driver = given(await client.POST("/v1/drivers", { body: { name: "Una Wickerley" } }));
    const kinds = given(await client.GET("/v1/kinds", { params: { query: { limit: 500 } } }));
    const kind = kinds.items.find(({ code }) => code === "TYR-RT")!;
    const supplier = given(
      await client.POST("/v1/suppliers", {
        body: { name: "Gantry Wholesale", leadTimeDays: 6, leadTimeSdDays: 2, minimumOrderMinorUnits: 0 },
      }),
    );
    const line = given(
      await client.POST("/v1/lines", {
        body: { sku: "QB-1", name: "Tyres", kindId: kind.id, supplierId: supplier.id, priceMinorUnits: 900 },
      }),
    );
    const home = given(
      await client.POST("/v1/locations", { body: { name: "Home", sort: "home", driverId: driver.id } }),
    );
    const car = given(
      await client.POST("/v1/cars", {
        body: { driverId: driver.id, name: "Thornbill", positions: [{ name: "tyre", kindId: kind.id }] },
      }),
    );
    given(
      await client.POST("/v1/cars/{id}/fittings", {
        params: { path: { id: car.id } },
        body: {
          position: "tyre",
          at: "2026-11-01T08:00:00Z",
          piece: { lineId: line.id, mark: "1-FL", from: "none" },
        },
      }),
    );
    for (const startsOn of ["2027-02-07", "2027-03-07", "2027-04-04", "2027-05-02", "2027-06-06"]) {
      const body = { name: `Round of ${startsOn}`, startsOn, surface: "asphalt" as const, plannedRuns: 12 };
      const meeting = given(await client.POST("/v1/meetings", { body }));
      given(
        await client.PUT("/v1/meetings/{id}/entries/{carId}", {
          params: { path: { id: meeting.id, carId: car.id } },
          body: { attends: true },
        }),
      );
    }
    const query = { through: "2027-06-30", driverId: driver.id };
    const list = given(await client.GET("/v1/restock-list", { params: { query } }));
    const wanted = list.suppliers.find(({ supplierId }) => supplierId === supplier.id)!.lines[0]!;
    // 60 runs of 5.5 minutes on tyres that last 145 to 200 minutes: the one fitted wears out, and so may the next.
    expect(wanted.packs).toBeGreaterThanOrEqual(1);

    const order = given(
      await client.POST("/v1/orders", {
        body: {
          supplierId: supplier.id,
          locationId: home.id,
          placedAt: "2026-12-01T08:00:00Z",
          lines: [{ lineId: line.id, packs: wanted.packs }],
        },
      }),
    );
    const { pieces } = wanted;
    service.clock.now = "2026-12-08T09:00:00.000Z";
    given(
      await client.POST("/v1/orders/{id}/receipts", {
        params: { path: { id: order.id } },
        body: { at: "2026-12-08T08:00:00Z", lines: [{ lineId: line.id, pieces }] },
      }),
    );
    const levels = given(await client.GET("/v1/stock-levels"));
    expect(levels.items.map((level) => [level.lineId, level.pieces])).toEqual([[line.id, pieces]]);
    const again = given(await client.GET("/v1/restock-list", { params: { query } }));
    expect(again.suppliers.flatMap(({ lines }) => lines)).toEqual([]);
    expect(again.enough.map(({ lineId }) => lineId)).toEqual([line.id]);
  });

  it("connects a shop's stock list, has a person confirm a match, and finds the shelf in the restock list", async () => {
    const owner = clientFor(await service.keyFor("owner"));
    const shopkeeper = clientFor(await service.keyFor("shop"));
    const driver = given(await owner.POST("/v1/drivers", { body: { name: "Una Wickerley" } }));
    const kinds = given(await owner.GET("/v1/kinds", { params: { query: { limit: 500 } } }));
    const kind = kinds.items.find(({ code }) => code === "TYR-RT")!;
    const line = given(
      await owner.POST("/v1/lines", {
        body: { sku: "QB-1", name: "Control slick, touring", kindId: kind.id, priceMinorUnits: 900 },
      }),
    );
    const car = given(
      await owner.POST("/v1/cars", {
        body: { driverId: driver.id, name: "Thornbill", positions: [{ name: "tyre", kindId: kind.id }] },
      }),
    );
    const onCar = { params: { path: { id: car.id } } };
    const fitting = {
      position: "tyre",
      at: "2026-11-01T08:00:00Z",
      piece: { lineId: line.id, mark: "1-FL", from: "none" },
    };
    given(await owner.POST("/v1/cars/{id}/fittings", { ...onCar, body: fitting }));
    const meeting = { name: "Round 1", startsOn: "2027-02-07", surface: "asphalt" as const, plannedRuns: 60 };
    given(await owner.POST("/v1/meetings", { body: meeting }));

    const shop = given(
      await shopkeeper.POST("/v1/shops", {
        body: {
          name: "Corner Hobbies",
          separator: ";",
          decimal: ",",
          columns: { sku: "Article", name: "Text", inventoryLevel: "Stock", price: "Retail" },
        },
      }),
    );
    const publish = async (list: string, dryRun: boolean) =>
      shopkeeper.PUT("/v1/shops/{id}/stock-list", {
        params: { path: { id: shop.id }, query: { dryRun } },
        body: list,
        bodySerializer: (text) => text,
        headers: { "content-type": "text/csv" },
      });
    const list = "Article;Text;Stock;Retail\n7001;Control slick touring;6;8,50\n";
    const wrong = await publish(`${list}7002;Belt;-1;4,00\n`, false);
    expect([wrong.response.status, wrong.error?.type]).toEqual([422, "/problems/import_refused"]);
    const tried = given(await publish(list, true));
    expect([tried.outcome, tried.added, tried.unmatched]).toEqual(["dry-run", 1, 1]);
    const kept = given(await publish(list, false));
    expect([kept.outcome, kept.rows, kept.matched]).toEqual(["kept", 1, 0]);

    const inShop = { params: { path: { id: shop.id } } };
    const [unknown] = given(await shopkeeper.GET("/v1/shops/{id}/unmatched", inShop)).items;
    expect(unknown!.likely[0]!.lineId).toBe(line.id);
    const match = await shopkeeper.PUT("/v1/shops/{id}/matches/{shopSku}", {
      params: { path: { id: shop.id, shopSku: unknown!.sku } },
      body: { lineId: unknown!.likely[0]!.lineId },
    });
    expect(given(match).matchedBy).toBe("confirmed");

    const query = { through: "2027-03-31" };
    const restock = given(await owner.GET("/v1/restock-list", { params: { query } }));
    const wanted = [...restock.suppliers.flatMap(({ lines }) => lines), ...restock.enough].find(
      ({ lineId }) => lineId === line.id,
    )!;
    const shelves = wanted.shelves.map(({ shopName, pieces, priceMinorUnits }) => [
      shopName,
      pieces,
      priceMinorUnits,
    ]);
    expect(shelves).toEqual([["Corner Hobbies", 6, 850]]);
    expect(wanted.packs).toBeGreaterThanOrEqual(1);
    expect(wanted.fromShelves + wanted.fromElsewhere).toBe(wanted.pieces);
  });

  it("fetches pictures, files, pages and the calendar as text, as the description says", async () => {
    const client = clientFor(await service.keyFor("owner"));
    const asText = { parseAs: "text" as const };
    const through = "2027-03-31";
    const plan = await client.GET("/v1/restock-plan.svg", {
      ...asText,
      params: { query: { through, budgetMinorUnits: 5000 } },
    });
    expect(given(plan)).toMatch(/^<svg /);
    const file = await client.GET("/v1/restock-list.csv", { ...asText, params: { query: { through } } });
    expect(given(file)).toMatch(/^supplier,name,sku,/);
    const page = await client.GET("/v1/restock-list.html", { ...asText, params: { query: { through } } });
    expect(given(page)).toMatch(/^<!doctype html>/);
    expect(given(await client.GET("/v1/calendar.ics", asText))).toMatch(/^BEGIN:VCALENDAR/);
    const feed = given(await client.POST("/v1/calendar-feeds", { body: { name: "Racing" } }));
    const token = new URL(feed.url).pathname.split("/")[2]!;
    const calendar = await client.GET("/feeds/{token}/calendar.ics", {
      ...asText,
      params: { path: { token } },
    });
    expect(given(calendar)).toContain("NAME:Racing");
  });
});
