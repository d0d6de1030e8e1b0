import { gzipSync } from "node:zlib";
import { afterAll, afterEach, beforeAll, describe, expect, test } from "vitest";
import { putList } from "../support/put-list.ts";
import { startTestService, type TestService } from "../support/service.ts";

/** A bad list gets a clear answer, and the last good one counts on. */
let service: TestService;
let key: string;
let shop: string;
const good = "sku,name,inventoryLevel,price\nA-1,Spur,4,9.00\nB-2,Bush,0,3.50\n";
const put = (body: string | Uint8Array | ReadableStream<Uint8Array>, query = "", headers = {}) =>
  putList(service, key, shop, body, { query, headers });
const listed = async () => (await service.owner.get(`/v1/shops/${shop}/stock-list`)).body.items;
let before: unknown;

beforeAll(async () => {
  service = await startTestService();
  key = await service.keyFor("shop");
  shop = (await service.owner.must("POST", "/v1/shops", { name: "Gantry Models" })).id;
  expect((await put(good)).status).toBe(200);
  before = await listed();
});
afterEach(async () => {
  expect(await listed()).toEqual(before);
  expect(service.faults).toEqual([]);
});
afterAll(() => service.close());

/** Sends it and gives the one reason back. */
async function refusal(body: string | Uint8Array, headers = {}): Promise<string> {
  const answer = await put(body, "", headers);
  expect([answer.status, answer.body.type]).toEqual([422, "/problems/import_refused"]);
  const { lastFailure } = (await service.owner.get(`/v1/shops/${shop}`)).body;
  expect(answer.body.detail).toContain(lastFailure.reason.slice(0, 200));
  return answer.body.detail;
}

describe("a list that cannot be read as a whole is refused:", () => {
  test("one of another encoding, with the byte and what to do", async () => {
    const latin = Buffer.from("sku,name,inventoryLevel\nA-1,Büchse,4\n", "latin1");
    expect(await refusal(latin)).toMatch(
      /read as utf-8, but .* not text of that encoding: save it so, or set the shop's encoding/,
    );
    const wide = Buffer.from("\ufeffsku,name\nA-1,Spur\n", "utf16le");
    expect(await refusal(wide)).toContain("begins with the mark of utf-16le");
  });
  test("UTF-8 that is said to be windows-1252, where any byte is some letter", async () => {
    const answer = await refusal("sku,name\nA-1,Büchse\n", {
      "content-type": "text/csv; charset=windows-1252",
    });
    expect(answer).toContain("read as windows-1252, but it looks like utf-8");
  });
  test("one with semicolons where the shop's has commas", async () => {
    expect(await refusal("sku;name;inventoryLevel\nA-1;Spur;4\n")).toContain(
      'seem to be separated by ";", and this shop\'s list by ","; set the shop\'s separator',
    );
  });
  test("one whose header names no article number, with the columns that it has", async () => {
    expect(await refusal("Artikel,Bestand\nA-1,4\n")).toMatch(
      /no column "sku".*"Artikel", "Bestand".*columns/,
    );
  });
  test("an empty one, and one with a header alone", async () => {
    expect(await refusal("")).toContain("empty");
    expect(await refusal("sku,name\n")).toContain("would empty the shelf");
  });
  test("one that was cut off: inside a quoted cell, inside a row, inside JSON, or short of what was announced", async () => {
    expect(await refusal('sku,name\nA-1,"Sp')).toContain("was it cut off");
    expect(await refusal("sku,name,inventoryLevel\nA-1,Spur,4\nB-2,Bu")).toContain(
      "has 2 cells, but the header has 3",
    );
    const json = { "content-type": "application/json" };
    expect(await refusal('[{"sku":"A-1","inventoryLevel":3},{"sku":"B', json)).toContain("was it cut off");
    expect(await refusal(good.slice(0, 40), { "content-length": "71" })).toContain(
      "71 bytes were announced and 40 came",
    );
    expect(await refusal(gzipSync(good).subarray(0, 40), { "content-encoding": "gzip" })).toContain(
      "was it cut off",
    );
  });
  test("one that breaks off on the way", async () => {
    let sent = false;
    const broken = new ReadableStream<Uint8Array>({
      pull(controller) {
        if (sent) controller.error(new Error("the line is dead"));
        else controller.enqueue(Buffer.from(good));
        sent = true;
      },
    });
    const answer = await put(broken);
    expect([answer.status, answer.body.detail]).toEqual([422, expect.stringContaining("broke off after")]);
  });
  test("one of more than 32 MiB, and one that becomes so when it is decompressed, which is not done to its end", async () => {
    const bomb = gzipSync(Buffer.alloc(200 * 2 ** 20, "a"));
    expect(bomb.length).toBeLessThan(2 ** 18);
    const answer = await put(bomb, "", { "content-encoding": "gzip" });
    expect([answer.status, answer.body.detail]).toEqual([
      413,
      expect.stringContaining("32 MiB, counted after decompression"),
    ]);
    expect((await put(good, "", { "content-length": String(2 ** 30) })).status).toBe(413);
  });
  test("one of a type or coding that is not read", async () => {
    expect((await put(good, "", { "content-type": "application/vnd.ms-excel" })).status).toBe(415);
    expect((await put(good, "", { "content-encoding": "zip" })).status).toBe(415);
    expect((await put(good, "", { "content-type": "text/csv; charset=utf-99" })).status).toBe(415);
  });
});

describe("a row is rejected with its row, column and what to change:", () => {
  const rows: [what: string, header: string, row: string, column: string, says: RegExp][] = [
    ["a decimal comma", "sku,price", 'A-1,"9,50"', "price", /decimal comma.*set the shop's decimal.*9\.50/],
    ["a currency sign", "sku,price", "A-1,$9.50", "price", /no currency sign/],
    ["a thousands sign", "sku,price", 'A-1,"1,234.50"', "price", /no thousands sign/],
    ["a tenth of a cent", "sku,price", "A-1,9.505", "price", /more decimals than AUD has/],
    ["a negative price", "sku,price", "A-1,-9.50", "price", /must not be negative/],
    [
      "negative stock",
      "sku,inventoryLevel",
      "A-1,-3",
      "inventoryLevel",
      /is -3: a shelf cannot hold less than nothing/,
    ],
    ["half a piece", "sku,inventoryLevel", "A-1,2.5", "inventoryLevel", /whole number/],
    [
      "another currency",
      "sku,price,priceCurrency",
      "A-1,9.50,EUR",
      "priceCurrency",
      /is "EUR", but this shop sells in AUD/,
    ],
    // 6291041500213 is the example of GS1 ("How to calculate a check digit manually").
    [
      "a wrong check digit",
      "sku,gtin",
      "A-1,6291041500214",
      "gtin",
      /last digit of the GTIN is 4, but the digits before it ask for 3/,
    ],
    ["a GTIN that a spreadsheet rounded", "sku,gtin", "A-1,6.29104E+12", "gtin", /format the column as text/],
    ["a GTIN with a digit missing", "sku,gtin", "A-1,629104150021", "gtin", /ask for/],
    [
      "a formula",
      "sku,name",
      `A-1,"=HYPERLINK(""http://x.example"",""spur"")"`,
      "name",
      /begins with "=", which a spreadsheet runs as a formula/,
    ],
    ["a formula behind an apostrophe", "sku,name", "'@SUM(A1),Spur", "sku", /runs as a formula/],
    ["no article number", "sku,name", ",Spur", "sku", /must be given/],
    ["an unknown availability", "sku,availability", "A-1,plenty", "availability", /must be one of BackOrder/],
    ["a lead time in words", "sku,deliveryLeadTime", "A-1,soon", "deliveryLeadTime", /days such as 5 or 3-7/],
  ];
  test.each(rows)("%s", async (_, header, row, column, says) => {
    const answer = await put(`${header}\n${row}\n`);
    expect(answer.status).toBe(422);
    expect(answer.body.errors).toEqual([
      { pointer: `#/rows/0/${column}`, detail: expect.stringMatching(says) },
    ]);
    expect(answer.body.errors[0].detail).toContain(`row 1, ${column}`);
  });

  test("an article number that is there twice, however far apart, names both rows", async () => {
    const far = Array.from({ length: 12_000 }, (_, i) => `S-${i},1`).join("\n");
    const answer = await put(`sku,inventoryLevel\nA-1,1\nA-1,2\n${far}\nA-1,3\n`);
    expect(answer.body.errors).toEqual([
      { pointer: "#/rows/1/sku", detail: expect.stringContaining("is there twice: row 1") },
      { pointer: "#/rows/12002/sku", detail: expect.stringContaining("is there twice: row 1") },
    ]);
  });

  test("of many, all are counted and listed, up to ten thousand faults", async () => {
    const bad = (count: number) => Array.from({ length: count }, (_, i) => `S-${i},-1`).join("\n");
    const some = await put(`sku,inventoryLevel\n${bad(250)}\n`);
    expect(some.body.errors).toHaveLength(250);
    expect(some.body.detail).toContain("250 rows of 250 are wrong; the first: row 1, inventoryLevel");
    const many = await put(`sku,inventoryLevel\n${bad(10_001)}\n`);
    expect(many.body.errors).toHaveLength(10_000);
    expect(many.body.detail).toContain("10001 rows of 10001 are wrong, of which the first 10000 are listed");
  });

  test("of which several things are wrong, all are said at once, and the row is counted once", async () => {
    const answer = await put(
      "sku,gtin,inventoryLevel,price,priceCurrency\nA-1,6291041500214,-2,cheap,EUR\nA-2,,1,2.00,AUD\n",
    );
    expect(answer.body.detail).toContain("1 row of 2 is wrong; the first: row 1, gtin");
    expect(answer.body.errors.map(({ pointer }: any) => pointer)).toEqual(
      ["gtin", "inventoryLevel", "price", "priceCurrency"].map((column) => `#/rows/0/${column}`),
    );
  });
});

test("200,000 rows are taken, and the shop's key is answered meanwhile", async () => {
  const other = (await service.owner.must("POST", "/v1/shops", { name: "Large" })).id;
  const text = `sku,inventoryLevel\n${Array.from({ length: 200_000 }, (_, i) => `L-${i},${i % 9}`).join("\n")}\n`;
  const large = putList(service, key, other, text);
  expect((await service.owner.get("/v1/club")).status).toBe(200);
  expect(
    await Promise.race([large.then(() => "list"), service.owner.get("/v1/shops").then(() => "shops")]),
  ).toBe("shops");
  expect((await large).body).toMatchObject({ outcome: "kept", rows: 200_000, added: 200_000 });
});
