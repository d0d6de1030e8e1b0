import { afterAll, beforeAll, describe, expect, it } from "vitest";
import { type Need, reachOf, roles } from "../../src/domain/access.ts";
import { operations } from "../../src/http/routes/index.ts";
import { endKey, listKeys } from "../../src/services/keep-club.ts";
import { startGarage } from "../support/garage.ts";
import { startTestService, type TestService } from "../support/service.ts";

/** A calendar feed is read by its unguessable address alone: calendars send no headers. */
const open = ["readCalendarFeed"];
const guarded = operations.filter(({ spec }) => !open.includes(spec.operationId));

describe("access", () => {
  let service: TestService;
  let garage: Awaited<ReturnType<typeof startGarage>>;
  let other: { id: string };
  let keys: Record<(typeof roles)[number], TestService["owner"]>;
  beforeAll(async () => {
    service = await startTestService();
    garage = await startGarage(service);
    other = await service.owner.must("POST", "/v1/drivers", { name: "Rafe Dunmorrow" });
    keys = {
      owner: service.owner,
      driver: await service.as("driver", garage.driver.id),
      shop: await service.as("shop"),
      reader: await service.as("reader"),
    };
  });
  afterAll(() => service.close());

  it("every operation but a calendar feed declares what it needs, and without a key answers 401 with a challenge", async () => {
    expect(operations.filter(({ spec }) => spec.need === null).map(({ spec }) => spec.operationId)).toEqual(
      open,
    );
    for (const { spec } of guarded) {
      const path = spec.path.replaceAll(/\{\w+\}/g, "none");
      const answer = await service.anyone.send(spec.method.toUpperCase(), path);
      expect([spec.operationId, answer.status, answer.body.type]).toEqual([
        spec.operationId,
        401,
        "/problems/no_key",
      ]);
      expect(answer.headers.get("www-authenticate")).toBe('Bearer realm="wear-and-spares"');
    }
  });

  it("an unknown key answers 401 with error invalid_token (RFC 6750, section 3.1)", async () => {
    const answer = await service.withKey("ws_unknown").get("/v1/club");
    expect(answer.status).toBe(401);
    expect(answer.headers.get("www-authenticate")).toContain('error="invalid_token"');
  });

  it("a role that does not reach what an operation needs is refused with 403 that names the need; any other is not", async () => {
    for (const { spec } of guarded)
      for (const role of roles) {
        const path = spec.path.replaceAll(/\{\w+\}/g, "none");
        const answer = await keys[role].send(spec.method.toUpperCase(), path);
        const refused = reachOf(role, spec.need as Need) === "none";
        expect([spec.operationId, role, answer.status === 403]).toEqual([spec.operationId, role, refused]);
        if (refused) expect(answer.body.detail).toContain(spec.need);
      }
  });

  it("a reader reads what the owner sees and writes nothing", () => {
    for (const { spec } of guarded) {
      const reach = reachOf("reader", spec.need as Need);
      expect([spec.operationId, reach]).toEqual([
        spec.operationId,
        spec.need!.endsWith(":read") ? "all" : "none",
      ]);
    }
  });

  it("a driver reads and writes only own cars, pieces, runs and answers", async () => {
    const { must } = service.owner;
    const theirs = await must("POST", "/v1/cars", {
      driverId: other.id,
      name: "Their car",
      positions: [{ name: "spur", kindId: garage.kind.id }],
    });
    const piece = await must("POST", "/v1/pieces", {
      driverId: other.id,
      lineId: garage.line.id,
      mark: "theirs",
    });
    const run = await must("POST", "/v1/runs", {
      carId: theirs.id,
      at: "2026-11-01T09:00:00Z",
      minutes: 5,
      surface: "asphalt",
    });
    const { driver } = keys;
    const at = "2026-11-02T09:00:00Z";
    const attempts = [
      driver.get(`/v1/cars/${theirs.id}`),
      driver.patch(`/v1/cars/${theirs.id}`, { name: "mine" }),
      driver.get(`/v1/cars/${theirs.id}/bench-sheet`),
      driver.post("/v1/cars", { driverId: other.id, name: "new" }),
      driver.get(`/v1/pieces/${piece.id}`),
      driver.get(`/v1/pieces/${piece.id}/forecast`),
      driver.get(`/v1/pieces/${piece.id}/inspections`),
      driver.post(`/v1/pieces/${piece.id}/inspections`, { at, grade: 1 }),
      driver.put(`/v1/pieces/${piece.id}/retirement`, { at, retiredFor: "worn" }),
      driver.post(`/v1/cars/${theirs.id}/fittings`, { position: "spur", at, piece: { pieceId: piece.id } }),
      driver.post(`/v1/cars/${garage.car.id}/fittings`, {
        position: "spur",
        at,
        piece: { pieceId: piece.id },
      }),
      driver.get(`/v1/runs/${run.id}`),
      driver.patch(`/v1/runs/${run.id}`, { minutes: 1 }),
      driver.delete(`/v1/runs/${run.id}`),
      driver.get(`/v1/runs?carId=${theirs.id}`),
      driver.get(`/v1/pieces?carId=${theirs.id}`),
      driver.post("/v1/runs", { carId: theirs.id, at, minutes: 5, surface: "asphalt" }),
      driver.get(`/v1/restock-list?through=2027-01-31&driverId=${other.id}`),
    ];
    for (const answer of await Promise.all(attempts))
      expect([answer.status, answer.body.type]).toEqual([403, "/problems/not_allowed"]);
    expect((await driver.get("/v1/runs")).body.items).toEqual([]);
    expect((await driver.get("/v1/cars")).body.items.map((car: any) => car.name)).toEqual(["First car"]);
    expect((await driver.get("/v1/pieces")).body.items).toEqual([]);
    expect((await service.owner.get(`/v1/runs/${run.id}`)).body.minutes).toBe(5);
  });

  it("does not let a driver read what is noted of another, nor ask for another's things", async () => {
    const other = await service.owner.must("POST", "/v1/drivers", {
      name: "Other",
      notes: "aggressive",
      sharesDemand: true,
    });
    const driver = await service.as("driver", garage.driver.id);
    for (const [caller, notes, sharesDemand] of [
      [service.owner, "aggressive", true],
      [await service.as("reader"), "aggressive", true],
      [driver, null, null],
      [await service.as("driver", other.id), "aggressive", true],
      [await service.as("shop"), null, null],
    ] as const) {
      const seen = { name: "Other", notes, sharesDemand };
      expect((await caller.get(`/v1/drivers/${other.id}`)).body).toMatchObject(seen);
      const { items } = (await caller.get("/v1/drivers")).body;
      expect(items.find(({ id }: any) => id === other.id)).toMatchObject(seen);
    }
  });

  it("refuses a driver's key that names another driver, and a shop's that names any, rather than answer an empty list", async () => {
    const { must } = service.owner;
    await must("POST", "/v1/locations", { name: "Their home", sort: "home", driverId: other.id });
    for (const path of [
      "/v1/cars?",
      "/v1/pieces?",
      "/v1/locations?",
      "/v1/stock-levels?",
      `/v1/stock-levels?lineId=${garage.line.id}&`,
      "/v1/restock-list?through=2027-01-31&",
      "/v1/season-cost?from=2026-10-01&through=2027-01-31&",
    ]) {
      const answer = await keys.driver.get(`${path}driverId=${other.id}`);
      expect([path, answer.status, answer.body.type]).toEqual([path, 403, "/problems/not_allowed"]);
      expect((await keys.driver.get(`${path}driverId=${garage.driver.id}`)).status).toBe(200);
      expect((await service.owner.get(`${path}driverId=${other.id}`)).status).toBe(200);
      const unknown = await service.owner.get(`${path}driverId=nobody`);
      expect([path, unknown.status, unknown.body.errors?.[0].pointer]).toEqual([path, 404, "#/driverId"]);
    }
    for (const path of ["/v1/locations", "/v1/stock-levels"])
      expect((await keys.shop.get(`${path}?driverId=${other.id}`)).body.detail).toMatch(/of a driver$/);
    const levels = (await keys.driver.get(`/v1/stock-levels?lineId=${garage.line.id}`)).body.items;
    expect(levels.map(({ locationName }: any) => locationName)).toEqual(["Home"]);
  });

  it("an id that a list is asked for and nothing has is answered 404 that names it, not an empty list", async () => {
    for (const [path, member] of [
      ["/v1/pieces", "lineId"],
      ["/v1/pieces", "carId"],
      ["/v1/runs", "carId"],
      ["/v1/runs", "meetingId"],
      ["/v1/reservations", "shopId"],
    ] as const) {
      const answer = await service.owner.get(`${path}?${member}=nothing`);
      expect([path, answer.status, answer.body.errors?.[0].pointer]).toEqual([path, 404, `#/${member}`]);
    }
  });

  it("a row of another club is as good as not there", async () => {
    const { db } = service;
    const at = "2026-12-01T00:00:00.000Z";
    await db
      .insertInto("clubs")
      .values({
        id: "elsewhere",
        name: "Elsewhere",
        currency: "AUD",
        timeZone: "UTC",
        createdAt: at,
        version: 1,
      })
      .execute();
    await db
      .insertInto("drivers")
      .values({
        id: "stranger",
        clubId: "elsewhere",
        name: "Stranger",
        notes: null,
        createdAt: at,
        version: 1,
      } as never)
      .execute();
    expect((await service.owner.get("/v1/drivers/stranger")).status).toBe(404);
    const names = (await service.owner.get("/v1/drivers")).body.items.map((driver: any) => driver.name);
    expect(names).not.toContain("Stranger");
    const answer = await service.owner.post("/v1/cars", { driverId: "stranger", name: "car" });
    expect([answer.status, answer.body.type]).toEqual([404, "/problems/not_found"]);
  });

  it("of a key ends with it: it is listed without its secret, and from then on unknown", async () => {
    const key = await service.keyFor("reader");
    const asReader = service.withKey(key);
    expect((await asReader.get("/v1/lines")).status).toBe(200);
    const listed = (await listKeys(service.db)).filter(
      ({ role, revokedAt }) => role === "reader" && !revokedAt,
    );
    expect(JSON.stringify(listed)).not.toContain(key);
    const { id } = listed.at(-1)!;
    await endKey(service.db, id, "2026-12-01T10:00:00.000Z");
    const refused = await asReader.get("/v1/lines");
    expect([refused.status, refused.body.type]).toEqual([401, "/problems/unknown_key"]);
    await expect(endKey(service.db, id, "2026-12-01T11:00:00.000Z")).rejects.toThrow(/No key with id/);
  });
});
