import { gzipSync } from "node:zlib";
import { afterAll, afterEach, beforeAll, beforeEach, describe, expect, test } from "vitest";
import { isPublicAddress } from "../../src/services/fetch-safely.ts";
import { pullDueLists } from "../../src/services/pull-stock-list.ts";
import { LineModels } from "../../src/services/line-models.ts";
import { serviceItself } from "../../src/services/work.ts";
import { startListServer } from "../support/list-server.ts";
import { startTestService, type TestService } from "../support/service.ts";

const pulls = { allowPrivate: true, timeMs: 1000, maxBytes: 2 ** 20 };
const noon = "2026-12-01T12:00:00.000Z";
const good = "sku,inventoryLevel,price\nA-1,4,9.00\nB-2,0,3.50\n";
let service: TestService;
let server: Awaited<ReturnType<typeof startListServer>>;
let shop: string;
let made = 0;

const pull = (query = "") => service.owner.send("POST", `/v1/shops/${shop}/pulls${query}`);
const state = async () => (await service.owner.get(`/v1/shops/${shop}`)).body;
const rows = async () =>
  (await service.owner.get(`/v1/shops/${shop}/stock-list`)).body.items.map((row: any) => [
    row.sku,
    row.onHand,
  ]);
const sendGood = () =>
  server.answers((request, response) => {
    response.setHeader("etag", '"one"');
    response.setHeader("content-type", "text/csv");
    if (request.headers["if-none-match"] === '"one"') response.writeHead(304).end();
    else response.end(good);
  });

beforeAll(async () => {
  service = await startTestService(noon, { pulls });
  server = await startListServer();
});
beforeEach(async () => {
  service.clock.now = noon;
  const body = { name: `Shop ${++made}`, pullUrl: server.url, pullEveryMinutes: 60 };
  shop = (await service.owner.must("POST", "/v1/shops", body)).id;
});
afterEach(() => expect(service.faults).toEqual([]));
afterAll(async () => {
  await server.close();
  await service.close();
});

describe("a list that is fetched", () => {
  test("is kept, and an unchanged one is not sent again: its age is new all the same", async () => {
    sendGood();
    expect((await pull()).body).toMatchObject({ outcome: "kept", rows: 2, added: 2 });
    service.clock.now = "2026-12-01T18:00:00.000Z";
    expect((await state()).list.ageHours).toBe(6);
    expect((await pull()).body).toMatchObject({ outcome: "unchanged", rows: 2, rowsRead: 0 });
    expect(server.asked.map(({ headers }) => headers["if-none-match"])).toEqual([undefined, '"one"']);
    expect(await state()).toMatchObject({ list: { ageHours: 0 }, nextPullAt: "2026-12-01T19:00:00.000Z" });
  });

  test("is fetched as a whole after another was pushed, though the server would say that nothing has changed", async () => {
    sendGood();
    await pull();
    const csv = { "content-type": "text/csv" };
    const pushed = await service.owner.send(
      "PUT",
      `/v1/shops/${shop}/stock-list`,
      "sku,inventoryLevel\nC-3,1\n",
      csv,
    );
    expect(pushed.body).toMatchObject({ outcome: "kept", rows: 1 });
    expect((await pull()).body).toMatchObject({ outcome: "kept", rows: 2, added: 2, gone: 1 });
    expect(await rows()).toEqual([
      ["A-1", 4],
      ["B-2", 0],
    ]);
    expect((await pull()).body.outcome).toBe("unchanged");
  });

  test("in an encoding that nobody knows is refused with what to say instead; the last good list counts on", async () => {
    sendGood();
    await pull();
    server.answers((_, response) => response.setHeader("content-type", "text/csv; charset=x-foo").end(good));
    const answer = await pull();
    expect(answer.status).toBe(502);
    expect(answer.body.detail).toMatch(
      /written in "x-foo", which is no encoding known here; let it say utf-8/,
    );
    expect(await rows()).toHaveLength(2);
  });

  test("is asked for by its date where the server has no ETag", async () => {
    const at = "Tue, 01 Dec 2026 10:00:00 GMT";
    server.answers((request, response) => {
      if (request.headers["if-modified-since"] === at) response.writeHead(304).end();
      else response.setHeader("last-modified", at).setHeader("content-type", "text/csv").end(good);
    });
    expect([(await pull()).body.outcome, (await pull()).body.outcome]).toEqual(["kept", "unchanged"]);
  });

  test("is read anew after the shop's settings changed, though the server would say that nothing has", async () => {
    sendGood();
    await pull();
    await service.owner.must("PATCH", `/v1/shops/${shop}`, { columns: { price: "retail" } });
    expect((await pull()).body).toMatchObject({ outcome: "kept", changed: 2 });
  });

  test("may be compressed, JSON-LD, or plain text whose address ends in .csv; what it is else is not guessed", async () => {
    server.answers((_, response) => {
      response.setHeader("content-type", "text/plain").setHeader("content-encoding", "gzip");
      response.end(gzipSync(good));
    });
    expect((await pull()).body.rows).toBe(2);
    server.answers((_, response) => {
      response.setHeader("content-type", "application/ld+json; charset=utf-8");
      response.end('[{"@type":"Product","sku":"C-3","offers":{"@type":"Offer","price":"2.00"}}]');
    });
    expect((await pull()).body).toMatchObject({ outcome: "kept", rows: 1 });
    server.answers((_, response) => void response.setHeader("content-type", "text/html").end("<p>Sorry</p>"));
    expect((await pull()).body.detail).toMatch(/sends text\/html; a list is text\/csv/);
  });

  test("as a dry run changes nothing, not even what is asked next time", async () => {
    sendGood();
    const before = await state();
    expect((await pull("?dryRun=true")).body).toMatchObject({ outcome: "dry-run", added: 2 });
    expect(await state()).toEqual(before);
  });

  test("follows redirects, at most five, and checks each", async () => {
    server.answers((request, response) => {
      const left = Number(new URL(request.url!, server.url).searchParams.get("left") ?? 0);
      if (left > 0) response.writeHead(302, { location: `/list.csv?left=${left - 1}` }).end();
      else response.setHeader("content-type", "text/csv").end(good);
    });
    const from = (left: number) =>
      service.owner.must("PATCH", `/v1/shops/${shop}`, { pullUrl: `${server.url}?left=${left}` });
    await from(5);
    expect((await pull()).body.outcome).toBe("kept");
    await from(6);
    expect((await pull()).body.detail).toContain("redirects more than 5 times");
  });
});

describe("a fetch that fails keeps the last good list, shows its age and says why:", () => {
  const failures: [what: string, says: RegExp, answer: Parameters<typeof server.answers>[0]][] = [
    ["a server that hangs", /did not send the list within 1 seconds/, () => {}],
    [
      "a server that hangs in the middle",
      /did not send the list within 1 seconds/,
      (_, response) => void response.setHeader("content-type", "text/csv").write("sku,inventoryLevel\nA-1"),
    ],
    [
      "one that announces a gigabyte",
      /more than 1 MiB/,
      (_, response) =>
        void response.writeHead(200, { "content-type": "text/csv", "content-length": 2 ** 30 }).write("a"),
    ],
    [
      "one that sends on and on",
      /more than 1 MiB/,
      (_, response) => {
        response.writeHead(200, { "content-type": "text/csv" });
        const more = () =>
          void response.write("A-1,4\n".repeat(10_000), () => response.destroyed || setImmediate(more));
        more();
      },
    ],
    [
      "a compressed bomb",
      /more than 1 MiB \(counted after decompression\)/,
      (_, response) =>
        void response
          .writeHead(200, { "content-type": "text/csv", "content-encoding": "gzip" })
          .end(gzipSync(Buffer.alloc(100 * 2 ** 20))),
    ],
    [
      "one that breaks off",
      /could not be fetched/,
      (_, response) => {
        response.writeHead(200, { "content-type": "text/csv", "content-length": 1000 }).write("sku\n");
        setImmediate(() => response.destroy());
      },
    ],
    [
      "one that is out of order",
      /answers 500 and not 200/,
      (_, response) => void response.writeHead(500).end(),
    ],
    [
      "one that redirects to a file",
      /file:\/\/ is not fetched/,
      (_, response) => void response.writeHead(302, { location: "file:///etc/passwd" }).end(),
    ],
    [
      "a list that cannot be read",
      /no column "sku"/,
      (_, response) => void response.setHeader("content-type", "text/csv").end("a,b\n1,2\n"),
    ],
  ];
  test.each(failures)("%s", async (_, says, answer) => {
    sendGood();
    await pull();
    service.clock.now = "2026-12-01T14:00:00.000Z";
    server.answers(answer);
    const failed = await pull();
    expect([failed.status, failed.body.detail]).toEqual([
      failed.status === 422 ? 422 : 502,
      expect.stringMatching(says),
    ]);
    expect(await rows()).toEqual([
      ["A-1", 4],
      ["B-2", 0],
    ]);
    expect(await state()).toMatchObject({
      list: { ageHours: 2 },
      lastFailure: { at: "2026-12-01T14:00:00.000Z", failures: 1, reason: expect.stringMatching(says) },
    });
    // The next time is put off, and the ETag of the good list is still the one that is known.
    expect((await state()).nextPullAt).toBe("2026-12-01T16:00:00.000Z");
    sendGood();
    expect((await pull()).body.outcome).toBe("unchanged");
    expect((await state()).lastFailure).toBeNull();
  });

  test("a name that is not known, and a port where nobody listens", async () => {
    for (const pullUrl of ["http://no-such-shop.invalid/list.csv", "http://127.0.0.1:1/list.csv"]) {
      await service.owner.must("PATCH", `/v1/shops/${shop}`, { pullUrl });
      const failed = await pull();
      expect([failed.status, failed.body.type]).toEqual([502, "/problems/pull_failed"]);
    }
  });

  test("later and later, at most a day", async () => {
    server.answers((_, response) => void response.writeHead(503).end());
    const pauses: number[] = [];
    for (let i = 0; i < 6; i++) {
      await pull();
      pauses.push((Date.parse((await state()).nextPullAt) - Date.parse(noon)) / 3_600_000);
    }
    expect(pauses).toEqual([2, 4, 8, 16, 24, 24]);
  });
});

describe("addresses of one's own network", () => {
  test("are refused unless the service is set up otherwise: as numbers in any spelling, as names, and after a redirect", async () => {
    const careful = await startTestService(noon);
    try {
      const { id } = await careful.owner.must("POST", "/v1/shops", { name: "Gantry Models" });
      server.answers((_, response) => void response.setHeader("content-type", "text/csv").end(good));
      const hosts = [
        "127.0.0.1",
        "localhost",
        "2130706433",
        "0x7f.1",
        "[::1]",
        "[::ffff:127.0.0.1]",
        "0.0.0.0",
      ];
      for (const host of hosts) {
        await careful.owner.must("PATCH", `/v1/shops/${id}`, {
          pullUrl: `http://${host}:${server.port}/list.csv`,
        });
        const refused = await careful.owner.send("POST", `/v1/shops/${id}/pulls`);
        expect([host, refused.status, refused.body.detail]).toEqual([
          host,
          502,
          expect.stringMatching(/no address of the public internet; .*PULL_ALLOW_PRIVATE/),
        ]);
      }
      expect(server.asked).toEqual([]);
    } finally {
      await careful.close();
    }
  });

  test("are asked where they are named, but not another one that the first redirects to", async () => {
    const careful = await startTestService(noon, { pulls: { ...pulls, allowPrivate: ["127.0.0.1"] } });
    try {
      const body = { name: "Gantry Models", pullUrl: server.url };
      const { id } = await careful.owner.must("POST", "/v1/shops", body);
      sendGood();
      const fetched = () => careful.owner.send("POST", `/v1/shops/${id}/pulls`);
      expect((await fetched()).body.outcome).toBe("kept");
      for (const target of [
        "http://127.0.0.2:9/list.csv",
        "http://169.254.169.254/latest",
        "http://[::1]/",
      ]) {
        server.answers((_, response) => void response.writeHead(302, { location: target }).end());
        const refused = await fetched();
        expect([refused.status, refused.body.detail]).toEqual([
          502,
          expect.stringContaining("no address of the public"),
        ]);
      }
      expect((await careful.owner.get(`/v1/shops/${id}`)).body.list.rows).toBe(2);
    } finally {
      await careful.close();
    }
  });

  test.each([
    ...["10.1.2.3", "172.16.0.1", "192.168.1.1", "127.8.8.8", "169.254.169.254", "100.64.0.1", "0.1.2.3"],
    ...["224.0.0.1", "255.255.255.255", "::1", "::", "::ffff:10.0.0.1", "fe80::1", "fc00::1", "fd12::1"],
    ...["ff02::1", "64:ff9b::a00:1", "2002:a00:1::", "2001:db8::1", "not an address"],
  ])("%s is none of the public internet", (address) => {
    expect(isPublicAddress(address)).toBe(false);
  });
  test.each(["11.0.0.1", "172.32.0.1", "192.0.3.1", "2a00::1", "2600::1"])("%s is one", (address) => {
    expect(isPublicAddress(address)).toBe(true);
  });
});

test("lists that are due are fetched one after another, and a bad one does not stop the others", async () => {
  const { db, clock } = service;
  const other = await service.owner.must("POST", "/v1/shops", {
    name: "Other",
    pullUrl: server.url,
    pullEveryMinutes: 60,
  });
  await service.owner.must("PATCH", `/v1/shops/${shop}`, { pullUrl: "http://127.0.0.1:1/list.csv" });
  sendGood();
  const base = { db, now: () => clock.now, newId: () => `id-${++made}`, models: new LineModels(), pulls };
  const faults: Error[] = [];
  const look = () =>
    pullDueLists(
      (clubId) => ({ ...base, ...serviceItself(clubId) }),
      (fault) => faults.push(fault),
    );
  expect(await look()).toBeGreaterThanOrEqual(2);
  const shown = async (id: string) => (await service.owner.get(`/v1/shops/${id}`)).body;
  expect((await shown(other.id)).list.rows).toBe(2);
  expect((await shown(shop)).lastFailure.failures).toBe(1);
  expect(await look()).toBe(0);
  clock.now = "2026-12-01T13:00:00.000Z";
  expect(await look()).toBeGreaterThanOrEqual(1);
  expect(faults).toEqual([]);
});
