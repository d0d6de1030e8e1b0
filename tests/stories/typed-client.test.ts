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
});
