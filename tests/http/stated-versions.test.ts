import { afterAll, beforeAll, describe, expect, it } from "vitest";
import { startGarage } from "../support/garage.ts";
import { putList } from "../support/put-list.ts";
import { startTestService, type TestService } from "../support/service.ts";

/** What is stated by a PUT under a path of its own counts its changes, and of two who change it at once one is told. */
let service: TestService;
let garage: Awaited<ReturnType<typeof startGarage>>;
let entry: string;
let match: string;
beforeAll(async () => {
  service = await startTestService("2026-12-01T09:00:00.000Z");
  garage = await startGarage(service);
  const { must } = service.owner;
  const given = { name: "Round 1", startsOn: "2027-02-07", surface: "asphalt", plannedRuns: 6 };
  const meeting = await must("POST", "/v1/meetings", given);
  entry = `/v1/meetings/${meeting.id}/entries/${garage.car.id}`;
  const shop = await must("POST", "/v1/shops", { name: "Counter" });
  await putList(service, await service.keyFor("shop"), shop.id, "sku,inventoryLevel\nGM-1,4\n");
  match = `/v1/shops/${shop.id}/matches/GM-1`;
});
afterAll(async () => {
  expect(service.faults).toEqual([]);
  await service.close();
});

const cases = [
  ["an entry", () => entry, { attends: true, plannedRuns: 4 }, { attends: false, plannedRuns: null }],
  ["a match", () => match, () => ({ lineId: garage.line.id }), { lineId: null }],
] as const;
describe.each(cases)("the version of %s", (_, path, first, second) => {
  const send = (body: object | (() => object), headers: Record<string, string> = {}) =>
    service.owner.send("PUT", path(), typeof body === "function" ? body() : body, headers);
  const read = () => service.owner.get(path());

  it("is null, without a tag, while nothing was said, and If-Match is refused with 412 then", async () => {
    const { status, body, headers } = await read();
    expect([status, body.version, headers.get("etag")]).toEqual([200, null, null]);
    expect((await send(first, { "if-match": '"1"' })).status).toBe(412);
    expect((await send(first, { "if-match": "*" })).status).toBe(412);
    expect((await read()).body).toEqual(body);
  });

  it("is 1 once it was said first; who says it with If-None-Match: * after that is told", async () => {
    const made = await send(first, { "if-none-match": "*" });
    expect([made.status, made.body.version, made.headers.get("etag")]).toEqual([200, 1, '"1"']);
    const late = await send(second, { "if-none-match": "*" });
    expect([late.status, late.body.type]).toEqual([412, "/problems/stale_version"]);
    expect((await read()).body).toEqual(made.body);
  });

  it("goes up with each change, and a change that rests on an older one is refused with 412", async () => {
    const tag = (await read()).headers.get("etag")!;
    const changed = await send(second, { "if-match": tag });
    expect([changed.status, changed.body.version]).toEqual([200, 2]);
    const stale = await send(first, { "if-match": tag });
    expect([stale.status, stale.body.type]).toEqual([412, "/problems/stale_version"]);
    expect((await read()).body).toEqual(changed.body);
    expect((await send(first, { "if-match": '"2"' })).body.version).toBe(3);
  });

  it("need not be named: the later word counts", async () => {
    const { status, body } = await send(second);
    expect([status, body.version]).toEqual([200, 4]);
  });
});

it("another driver's entry is refused with 403, whatever version is named", async () => {
  const other = await service.owner.must("POST", "/v1/drivers", { name: "Bo Larkspur" });
  const stranger = await service.as("driver", other.id);
  const given = { attends: true, plannedRuns: 2 };
  expect((await stranger.get(entry)).status).toBe(403);
  expect((await stranger.send("PUT", entry, given, { "if-match": '"77"' })).status).toBe(403);
});
