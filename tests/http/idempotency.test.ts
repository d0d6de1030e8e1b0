import { sql } from "kysely";
import { afterEach, beforeEach, describe, expect, test } from "vitest";
import { operations } from "../../src/http/routes/index.ts";
import { takesIdempotencyKey } from "../../src/http/retries.ts";
import { startGarage } from "../support/garage.ts";
import { startTestService, type TestService } from "../support/service.ts";

let service: TestService;
beforeEach(async () => {
  service = await startTestService();
});
afterEach(() => service.close());

const una = { name: "Una Wickerley" };
const post = (path: string, body: unknown, key?: string, as = service.owner) =>
  as.send("POST", path, body, key === undefined ? {} : { "idempotency-key": key });
const countOf = async (path: string) => (await service.owner.get(path)).body.items.length;

describe("a repeat with the same Idempotency-Key", () => {
  test("gets the first answer again, byte for byte and with its headers, and nothing is done twice", async () => {
    const first = await post("/v1/drivers", una, '"key-1"');
    const again = await post("/v1/drivers", una, '"key-1"');
    expect([first.status, again.status]).toEqual([201, 201]);
    expect(again.body).toEqual(first.body);
    for (const name of ["etag", "location", "content-type"])
      expect([name, again.headers.get(name)]).toEqual([name, first.headers.get(name)]);
    expect(again.headers.get("location")).toBe(`/v1/drivers/${first.body.id}`);
    expect(await countOf("/v1/drivers")).toBe(1);
  });

  test("is harmless after a lost answer: stock moves once, whatever happened to the connection", async () => {
    const { line, home } = await startGarage(service);
    const movement = { reason: "received", lineId: line.id, locationId: home.id, pieces: 2 };
    const body = { ...movement, at: "2026-11-28T20:15:00Z" };
    const owner = service.withKey(await service.keyFor("owner"));
    // Nobody waits for the first answer; the repeats may find the first request still running.
    void post("/v1/movements", body, '"lost"', owner);
    const statuses = [];
    for (let attempt = 0; attempt < 4; attempt++)
      statuses.push((await post("/v1/movements", body, '"lost"', owner)).status);
    expect(statuses.at(-1)).toBe(201);
    const levels = (await service.owner.get(`/v1/stock-levels?locationId=${home.id}`)).body.items;
    expect(levels[0].pieces).toBe(2);
  });

  test("is known by what it says, not by its spaces or the order of its members", async () => {
    const first = await post("/v1/drivers", '{"name":"Una Wickerley","notes":null}', '"k"');
    const again = await post("/v1/drivers", '{ "notes": null, "name": "Una Wickerley" }', "k");
    expect([again.status, again.body]).toEqual([201, first.body]);
  });

  test("gets a refusal again too, even where it would be allowed by now", async () => {
    const { line, home } = await startGarage(service);
    const sold = {
      reason: "sold",
      lineId: line.id,
      locationId: home.id,
      pieces: 1,
      at: "2026-11-28T20:15:00Z",
    };
    const short = await post("/v1/movements", sold, '"sale"');
    expect([short.status, short.body.type]).toEqual([409, "/problems/stock_short"]);
    await service.owner.must("POST", "/v1/movements", { ...sold, reason: "received" });
    const again = await post("/v1/movements", sold, '"sale"');
    expect([again.status, again.body]).toEqual([409, short.body]);
    expect((await post("/v1/movements", sold, '"another sale"')).status).toBe(201);
  });

  test("is done anew where the first was not understood, or ended in a fault of ours", async () => {
    expect((await post("/v1/drivers", { nmae: "Una" }, '"k"')).status).toBe(422);
    expect((await post("/v1/drivers", una, '"k"')).status).toBe(201);
    await sql`create trigger broken before insert on venues begin select raise(abort, 'disk on fire'); end`.execute(
      service.db,
    );
    const venue = { name: "Ferris Lane", surface: "asphalt" };
    expect((await post("/v1/venues", venue, '"v"')).status).toBe(500);
    await sql`drop trigger broken`.execute(service.db);
    expect((await post("/v1/venues", venue, '"v"')).status).toBe(201);
  });
});

describe("an Idempotency-Key", () => {
  test("that was sent with another request is refused with 422, and nothing is done", async () => {
    await post("/v1/drivers", una, '"k"');
    const other = await post("/v1/drivers", { name: "Mara Tindle" }, '"k"');
    expect([other.status, other.body.type]).toEqual([422, "/problems/key_reused"]);
    expect(await countOf("/v1/drivers")).toBe(1);
  });

  test("belongs to the holder of a key and to one path", async () => {
    const other = service.withKey(await service.keyFor("owner"));
    await post("/v1/drivers", una, '"k"');
    expect((await post("/v1/drivers", { name: "Mara Tindle" }, '"k"', other)).status).toBe(201);
    expect((await post("/v1/venues", { name: "Ferris Lane", surface: "clay" }, '"k"')).status).toBe(201);
  });

  test("of a request that is still running is answered 409, to be tried again", async () => {
    const answers = await Promise.all([1, 2, 3, 4].map(() => post("/v1/drivers", una, '"k"')));
    const statuses = answers.map(({ status }) => status);
    expect(new Set(statuses)).toEqual(new Set([201, 409]));
    expect(statuses.filter((status) => status === 201)).toHaveLength(1);
    const late = answers.find(({ status }) => status === 409)!;
    expect([late.body.type, late.headers.get("retry-after")]).toEqual(["/problems/request_running", "1"]);
    expect((await post("/v1/drivers", una, '"k"')).body).toEqual(
      answers.find(({ status }) => status === 201)!.body,
    );
    expect(await countOf("/v1/drivers")).toBe(1);
  });

  test("is forgotten after a day, and what was kept for it is swept", async () => {
    const venue = { name: "Ferris Lane", surface: "clay" };
    await post("/v1/venues", venue, '"k"');
    service.clock.now = "2026-12-02T08:59:59.000Z";
    expect((await post("/v1/venues", venue, '"k"')).status).toBe(201);
    service.clock.now = "2026-12-02T09:00:01.000Z";
    // The name is taken by now: the request was really made again.
    expect((await post("/v1/venues", venue, '"k"')).status).toBe(409);
    const rows = await service.db.selectFrom("keptAnswers").select("answeredAt").execute();
    expect(rows).toEqual([{ answeredAt: service.clock.now }]);
  });

  test("that is no string is refused with 400", async () => {
    for (const key of ['""', '"a', "a b", `"${"x".repeat(256)}"`, "ü"])
      expect([key, (await post("/v1/drivers", una, key)).status]).toEqual([key, 400]);
  });

  test("is kept with what it did, or not at all", async () => {
    await sql`create trigger broken before insert on keptAnswers begin select raise(abort, 'disk on fire'); end`.execute(
      service.db,
    );
    expect((await post("/v1/drivers", una, '"k"')).status).toBe(500);
    expect(await countOf("/v1/drivers")).toBe(0);
  });

  test("is taken by every POST that writes, unless it streams its body or says that doing it twice does no harm", () => {
    const posts = operations
      .map(({ spec }) => spec)
      .filter(({ method, need }) => method === "post" && need?.endsWith(":write"));
    const without = posts.filter((spec) => !takesIdempotencyKey(spec));
    expect(without.every((spec) => spec.streamedBody !== undefined || "harmlessTwice" in spec)).toBe(true);
    expect(posts.length - without.length).toBeGreaterThan(15);
  });
});
