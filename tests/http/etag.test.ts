import { gunzipSync } from "node:zlib";
import { afterAll, beforeAll, describe, expect, test } from "vitest";
import { mayMake } from "../../src/http/conditional.ts";
import { openApiDocument } from "../../src/http/document.ts";
import { operations } from "../../src/http/routes/index.ts";
import { startGarage } from "../support/garage.ts";
import { startTestService, type TestService } from "../support/service.ts";

let service: TestService;
let garage: Awaited<ReturnType<typeof startGarage>>;
const tagOf = async (path: string) => (await service.owner.get(path)).headers.get("etag")!;
const patch = (path: string, body: unknown, headers: Record<string, string> = {}) =>
  service.owner.send("PATCH", path, body, headers);

beforeAll(async () => {
  service = await startTestService();
  garage = await startGarage(service);
});
afterAll(() => service.close());

describe("what a record is tagged with", () => {
  test("the ETag of a record is its version, strong, on reading, making and changing it", async () => {
    const made = await service.owner.post("/v1/suppliers", {
      name: "Tansy",
      leadTimeDays: 3,
      leadTimeSdDays: 1,
    });
    expect([made.status, made.headers.get("etag")]).toEqual([201, '"1"']);
    const path = made.headers.get("location")!;
    expect(path).toBe(`/v1/suppliers/${made.body.id}`);
    expect(await tagOf(path)).toBe('"1"');
    const changed = await patch(path, { leadTimeDays: 4 }, { "if-match": '"1"' });
    expect([changed.status, changed.headers.get("etag"), changed.body.version]).toEqual([200, '"2"', 2]);
    expect(await tagOf(path)).toBe('"2"');
  });

  test("every answer that shows a single record with a version carries an ETag", async () => {
    const untagged = operations.filter(({ spec }) => {
      const answered =
        spec.method === "get" ? (spec.answers[200]?.body as { shape?: object } | undefined) : undefined;
      return answered?.shape !== undefined && "version" in answered.shape && spec.record === undefined;
    });
    expect(untagged.map(({ spec }) => spec.operationId)).toEqual([]);
    const { car, line, kind, home, driver, model } = garage;
    const paths = [
      ...["club", `cars/${car.id}`, `lines/${line.id}`, `kinds/${kind.id}`, `locations/${home.id}`],
      ...[`drivers/${driver.id}`, `car-models/${model.id}`],
    ];
    for (const path of paths)
      expect([path, await tagOf(`/v1/${path}`)]).toEqual([path, expect.stringMatching(/^"1/)]);
  });

  test("a tag changes with everything that is shown, and its version does not", async () => {
    const path = `/v1/cars/${garage.car.id}`;
    const before = await tagOf(path);
    const piece = { lineId: garage.line.id, mark: "tagged", from: "none" };
    const fitted = { position: "spur", at: "2026-11-01T09:00:00Z", piece };
    await service.owner.must("POST", `${path}/fittings`, fitted);
    const after = await tagOf(path);
    expect(after).not.toBe(before);
    expect([before, after].map((tag) => tag.split(".")[0])).toEqual(['"1', '"1']);
    // The car itself was not changed, so that a change of it may still rest on what was read before.
    expect((await patch(path, { notes: "blue" }, { "if-match": before })).status).toBe(200);
    expect((await patch(path, { notes: "grey" }, { "if-match": before })).status).toBe(412);
  });
});

describe("If-None-Match", () => {
  test("what the client has already is not sent again: 304 with the tag, without a body", async () => {
    const path = `/v1/kinds/${garage.kind.id}`;
    const etag = await tagOf(path);
    for (const header of [etag, `W/${etag}`, `"0", ${etag}`, "*"]) {
      const answer = await service.owner.send("GET", path, undefined, { "if-none-match": header });
      expect([header, answer.status, answer.body, answer.headers.get("etag")]).toEqual([
        header,
        304,
        "",
        etag,
      ]);
    }
    const other = await service.owner.send("GET", path, undefined, { "if-none-match": '"99"' });
    expect([other.status, other.body.id]).toEqual([200, garage.kind.id]);
    const head = await service.owner.send("HEAD", path, undefined, { "if-none-match": etag });
    expect([head.status, head.headers.get("etag")]).toEqual([304, etag]);
  });
});

describe("If-Match", () => {
  test("of two changes that rest on the same version one is made and the other is refused", async () => {
    const path = `/v1/lines/${garage.line.id}`;
    const etag = await tagOf(path);
    const answers = await Promise.all(
      [950, 975].map((priceMinorUnits) => patch(path, { priceMinorUnits }, { "if-match": etag })),
    );
    expect(answers.map(({ status }) => status).sort()).toEqual([200, 412]);
    const [won] = answers.filter(({ status }) => status === 200);
    const [lost] = answers.filter(({ status }) => status === 412);
    expect(lost!.body).toMatchObject({ type: "/problems/stale_version", status: 412 });
    const now = (await service.owner.get(path)).body;
    expect([now.version, now.priceMinorUnits]).toEqual([2, won!.body.priceMinorUnits]);
  });

  test("twenty people who each read, change and try again when they were late lose no change", async () => {
    const { id } = await service.owner.must("POST", "/v1/venues", {
      name: "Tally",
      surface: "clay",
      notes: "0",
    });
    const path = `/v1/venues/${id}`;
    const countUp = async () => {
      for (let attempt = 0; attempt < 50; attempt++) {
        const read = await service.owner.get(path);
        const notes = String(Number(read.body.notes) + 1);
        const { status } = await patch(path, { notes }, { "if-match": read.headers.get("etag")! });
        if (status === 200) return;
        expect(status).toBe(412);
      }
    };
    await Promise.all(Array.from({ length: 20 }, countUp));
    expect((await service.owner.get(path)).body).toMatchObject({ notes: "20", version: 21 });
  });

  test("what several people edit is not changed blindly: 428, and nothing happens", async () => {
    const meeting = { name: "Round 1", startsOn: "2027-02-07", surface: "asphalt" };
    const { id } = await service.owner.must("POST", "/v1/meetings", meeting);
    const changes: [string, string, object | undefined][] = [
      ["PATCH", "/v1/club", { name: "Other" }],
      ["PATCH", `/v1/kinds/${garage.kind.id}`, { name: "Other" }],
      ["PATCH", `/v1/suppliers/${garage.supplier.id}`, { name: "Other" }],
      ["PATCH", `/v1/lines/${garage.packLine.id}`, { name: "Other" }],
      ["PATCH", `/v1/meetings/${id}`, { name: "Other" }],
      ["DELETE", `/v1/meetings/${id}`, undefined],
    ];
    for (const [method, path, body] of changes) {
      const before = (await service.owner.get(path)).body;
      const blind = await service.owner.send(method, path, body);
      expect([path, blind.status, blind.body.type]).toEqual([path, 428, "/problems/if_match_needed"]);
      const stale = await service.owner.send(method, path, body, { "if-match": '"99"' });
      expect([path, stale.status]).toEqual([path, 412]);
      expect((await service.owner.get(path)).body).toEqual(before);
    }
    const gone = await service.owner.send("DELETE", `/v1/meetings/${id}`, undefined, { "if-match": '"1"' });
    expect(gone.status).toBe(204);
  });

  test("the comparison is strong: a weak tag never matches; * matches whatever is there", async () => {
    const { id } = await service.owner.must("POST", "/v1/drivers", { name: "Mara Tindle" });
    const path = `/v1/drivers/${id}`;
    const status = async (tag: string) => (await patch(path, { notes: "x" }, { "if-match": tag })).status;
    expect(await status('W/"1"')).toBe(412);
    expect(await status('"1"')).toBe(200);
    expect(await status('"7", "2"')).toBe(200);
    expect(await status("*")).toBe(200);
    expect(await status("3")).toBe(400);
    expect(await status('"1", nonsense')).toBe(400);
  });

  test("an unknown record is 404 whatever the condition says, and another driver's is 403", async () => {
    const driver = await service.owner.must("POST", "/v1/drivers", { name: "Bo Larkspur" });
    const asBo = await service.as("driver", driver.id);
    for (const headers of [{}, { "if-match": '"1"' }, { "if-match": "*" }] as Record<string, string>[])
      expect((await patch("/v1/lines/unknown", { name: "x" }, headers)).status).toBe(404);
    for (const tag of ['"1"', '"99"']) {
      const answer = await asBo.send(
        "PATCH",
        `/v1/cars/${garage.car.id}`,
        { notes: "x" },
        { "if-match": tag },
      );
      expect([tag, answer.status]).toEqual([tag, 403]);
    }
  });

  test("a stale deletion and a stale retirement keep what is there", async () => {
    const run = { carId: garage.car.id, at: "2026-11-20T10:00:00Z", minutes: 5, surface: "asphalt" };
    const { id } = await service.owner.must("POST", "/v1/runs", run);
    await patch(`/v1/runs/${id}`, { minutes: 6 });
    const stale = await service.owner.send("DELETE", `/v1/runs/${id}`, undefined, { "if-match": '"1"' });
    expect([stale.status, (await service.owner.get(`/v1/runs/${id}`)).body.minutes]).toEqual([412, 6]);
    const piece = { driverId: garage.driver.id, lineId: garage.line.id, mark: "kept" };
    const kept = await service.owner.must("POST", "/v1/pieces", piece);
    const end = { at: "2026-11-20T10:00:00Z", retiredFor: "worn" };
    const path = `/v1/pieces/${kept.id}/retirement`;
    expect((await service.owner.send("PUT", path, end, { "if-match": '"2"' })).status).toBe(412);
    expect((await service.owner.get(`/v1/pieces/${kept.id}`)).body.state).toBe("spare");
    expect((await service.owner.send("PUT", path, end, { "if-match": '"1"' })).headers.get("etag")).toBe(
      '"2"',
    );
  });
});

describe("a compressed answer", () => {
  const gzip = { "accept-encoding": "gzip" };
  const fetched = async (path: string, headers: Record<string, string>, change?: object) =>
    service.app.request(path, {
      headers: { authorization: `Bearer ${await service.keyFor("owner")}`, ...headers },
      ...(change && { method: "PATCH", body: JSON.stringify(change) }),
    });

  /** A kind of the seeds that says much. */
  const large = async () => {
    const { items } = (await service.owner.get("/v1/kinds?limit=100")).body;
    const { id } = items.find((kind: object) => JSON.stringify(kind).length > 1100);
    return `/v1/kinds/${id}`;
  };

  test("has a strong tag of its own, that of the plain one marked, and says by what it varies", async () => {
    const path = await large();
    const plain = await fetched(path, {});
    const packed = await fetched(path, gzip);
    expect([plain.headers.get("content-encoding"), packed.headers.get("content-encoding")]).toEqual([
      null,
      "gzip",
    ]);
    expect(packed.headers.get("vary")).toContain("Accept-Encoding");
    expect(packed.headers.get("etag")).toBe(plain.headers.get("etag")!.replace(/"$/, '+gzip"'));
    expect(gunzipSync(Buffer.from(await packed.arrayBuffer())).toString()).toBe(await plain.text());
    // What is too small to gain from it stays as it is, under its own tag.
    const small = await fetched("/v1/club", gzip);
    expect([small.headers.get("content-encoding"), small.headers.get("etag")]).toEqual([
      null,
      expect.stringMatching(/^"\d+"$/),
    ]);
  });

  test("is known by either tag, and the 304 names the one that was sent", async () => {
    const path = await large();
    const plain = await tagOf(path);
    const packed = (await fetched(path, gzip)).headers.get("etag")!;
    for (const accepted of [gzip, {}])
      for (const tag of [plain, packed]) {
        const answer = await fetched(path, { ...accepted, "if-none-match": `"0", ${tag}` });
        expect([answer.status, answer.headers.get("etag"), answer.headers.get("vary")]).toEqual([
          304,
          tag,
          expect.stringContaining("Accept-Encoding"),
        ]);
      }
    for (const tag of ['"0+gzip"', packed.replace("+gzip", "+br")])
      expect((await fetched(path, { ...gzip, "if-none-match": tag })).status).toBe(200);
  });

  test("may be what a change rests on, once", async () => {
    const path = await large();
    const tag = (await fetched(path, gzip)).headers.get("etag")!;
    const weak = await patch(path, { name: "Seen" }, { "if-match": `W/${tag}` });
    expect(weak.status).toBe(412);
    const json = { "content-type": "application/json" };
    const first = await fetched(path, { ...json, ...gzip, "if-match": tag }, { name: "Seen" });
    expect([first.status, first.headers.get("etag")]).toEqual([200, expect.stringMatching(/\+gzip"$/)]);
    expect((await patch(path, { name: "Late" }, { "if-match": tag })).status).toBe(412);
  });
});

test("the description says that an entry and a match may be made only where none is yet", () => {
  const named = operations.filter(({ spec }) => mayMake(spec)).map(({ spec }) => spec.operationId);
  expect(named.sort()).toEqual(["confirmMatch", "enterCar"]);
  const { paths } = openApiDocument(operations, "0.0.0");
  for (const path of ["/v1/meetings/{id}/entries/{carId}", "/v1/shops/{id}/matches/{shopSku}"]) {
    const { put, get } = paths![path]!;
    const asked = JSON.stringify([put?.parameters, get?.parameters]);
    expect(asked.match(/"If-None-Match"/g)).toHaveLength(2);
    expect(Object.keys(get?.responses ?? {})).toContain("304");
  }
});
