import { parse } from "csv-parse/sync";
import { afterAll, beforeAll, describe, expect, it } from "vitest";
import { startGarage } from "../support/garage.ts";
import { startTestService, type TestService } from "../support/service.ts";
import { nestingFaults, textOf } from "../support/well-formed.ts";

let service: TestService;
let garage: Awaited<ReturnType<typeof startGarage>>;
let orderId: string;
/** A name that a spreadsheet would run, a page would obey, and CSV would break at. */
const mark = '=cmd|"x"!A1, <script>alert(1)</script>';

beforeAll(async () => {
  service = await startTestService();
  garage = await startGarage(service);
  const { must } = service.owner;
  const pieceId = (
    await must("POST", "/v1/pieces", {
      driverId: garage.driver.id,
      lineId: garage.line.id,
      mark,
      asNew: 15.49,
    })
  ).id;
  const fitting = { position: "spur", at: "2026-11-01T08:00:00Z", piece: { pieceId } };
  await must("POST", `/v1/cars/${garage.car.id}/fittings`, fitting);
  for (const day of ["08", "15", "22"]) {
    const run = { carId: garage.car.id, at: `2026-11-${day}T10:00:00Z`, minutes: 150, surface: "asphalt" };
    await must("POST", "/v1/runs", run);
  }
  for (const startsOn of ["2027-02-07", "2027-03-07", "2027-04-04"])
    await must("POST", "/v1/meetings", {
      name: `Round of ${startsOn}`,
      startsOn,
      surface: "asphalt",
      plannedRuns: 60,
    });
  const order = {
    supplierId: garage.supplier.id,
    locationId: garage.home.id,
    placedAt: "2026-11-30T08:00:00Z",
  };
  orderId = (
    await must("POST", "/v1/orders", {
      ...order,
      lines: [{ lineId: garage.packLine.id, packs: 2, priceMinorUnits: 7950 }],
    })
  ).id;
});
afterAll(() => service.close());

const asked = () => ({
  restock: "/v1/restock-list%?through=2027-04-30",
  bench: `/v1/cars/${garage.car.id}/bench-sheet%?minutes=10`,
  pit: `/v1/cars/${garage.car.id}/pit-list%`,
  order: `/v1/orders/${orderId}/purchase-order%`,
});
const as = (path: string, ending: string) => path.replace("%", ending);
const rowsOf = async (path: string): Promise<Record<string, string>[]> => {
  const { body, headers } = await service.owner.get(as(path, ".csv"));
  expect(headers.get("content-type")).toBe("text/csv; charset=utf-8; header=present");
  expect(body.endsWith("\r\n")).toBe(true);
  return parse(body, { columns: true });
};

describe("files for spreadsheets", () => {
  it("of the restock list hold every line of the answer with the same numbers, in major units", async () => {
    const { body } = await service.owner.get(as(asked().restock, ""));
    const rows = await rowsOf(asked().restock);
    const entries = [...body.suppliers.flatMap(({ lines }: { lines: object[] }) => lines), ...body.enough];
    expect(rows).toHaveLength(entries.length);
    expect(body.suppliers.length).toBeGreaterThan(0);
    for (const [i, entry] of entries.entries()) {
      expect(rows[i]).toMatchObject({
        ...{ sku: entry.sku, packs: String(entry.packs), cost: (entry.costMinorUnits / 100).toFixed(2) },
        ...{ needP10: String(entry.need.p10), needP90: String(entry.need.p90), why: entry.sentence },
        ...{ orderBy: entry.orderBy ?? "", late: String(entry.late), chanceWith: String(entry.chanceWith) },
      });
    }
  });

  it("of the bench sheet hold its numbers and cautions, and a formula in a mark is defused", async () => {
    const { body } = await service.owner.get(as(asked().bench, ""));
    const rows = await rowsOf(asked().bench);
    expect(rows).toHaveLength(body.entries.length);
    const [entry] = body.entries;
    expect(rows[0]).toMatchObject({
      ...{ position: "spur", mark: `'${mark}`, advice: entry.advice, lasts: String(entry.lasts) },
      ...{ wearMedian: String(entry.wear.median), cautions: entry.cautions.join(" "), why: entry.why },
    });
  });

  it("of the pit list hold what to change and what to carry", async () => {
    const { body } = await service.owner.get(as(asked().pit, ""));
    const rows = await rowsOf(asked().pit);
    expect(rows.map((row) => row["do"])).toEqual([
      ...body.change.map(() => "change before leaving"),
      ...body.carry.map(() => "carry"),
    ]);
    expect(rows.map((row) => row["why"])).toEqual(
      [...body.change, ...body.carry].map(({ sentence }) => sentence),
    );
    expect(rows.length).toBeGreaterThan(0);
  });

  it("of an order hold its packs at the price agreed", async () => {
    expect(await rowsOf(asked().order)).toEqual([
      expect.objectContaining({
        sku: "T-LP-1",
        packs: "2",
        price: "79.50",
        cost: "159.00",
        currency: "AUD",
        outstandingPieces: "2",
      }),
    ]);
  });
});

describe("pages to print", () => {
  it("are whole, have a title and headings with a scope, and can load and run nothing", async () => {
    for (const path of Object.values(asked())) {
      const { status, body, headers } = await service.owner.get(as(path, ".html"));
      expect([path, status, headers.get("content-type")]).toEqual([path, 200, "text/html; charset=utf-8"]);
      expect(body).toMatch(/^<!doctype html>\n<html lang="en">/);
      expect([path, nestingFaults(body, ["meta"])]).toEqual([path, []]);
      expect(textOf(body, "title")).toBe(textOf(body, "h1"));
      expect(body).toContain('<th scope="col"');
      expect(body).toContain('<th scope="row"');
      expect(body).toContain("@media print");
      expect(body).not.toContain("<script");
      expect(body).not.toMatch(/NaN|undefined|\[object|src=|href=/);
      expect(headers.get("content-security-policy")).toMatch(
        /^default-src 'none'; style-src 'unsafe-inline'/,
      );
    }
  });

  it("of the bench sheet show the mark as it was written, and every caution", async () => {
    const { body: bench } = await service.owner.get(as(asked().bench, ""));
    const { body } = await service.owner.get(as(asked().bench, ".html"));
    expect(textOf(body, "tbody")).toContain(mark);
    expect(bench.cautions.length).toBeGreaterThan(0);
    for (const caution of bench.cautions) expect(textOf(body, "ul")).toContain(caution);
  });

  it("of the restock list name supplier, total and order-by day", async () => {
    const { body } = await service.owner.get(as(asked().restock, ".html"));
    const caption = textOf(body, "caption");
    expect(caption).toMatch(/^Gantry WholesaleOrder by \d+\u00a0\w+\u00a02027\. \d+\.00 AUD in all\.$/);
  });

  it("say so where there is nothing to buy", async () => {
    const other = await service.owner.must("POST", "/v1/drivers", { name: "Bo Larkspur" });
    const { body } = await service.owner.get(`/v1/restock-list.html?through=2027-04-30&driverId=${other.id}`);
    expect(body).toContain("Nothing has to be ordered.");
  });

  it("are refused like the answers beside them: unknown ids, another driver's key, a bad query", async () => {
    const stranger = await service.as(
      "driver",
      (await service.owner.must("POST", "/v1/drivers", { name: "Ada Moss" })).id,
    );
    expect((await stranger.get(as(asked().bench, ".html"))).status).toBe(403);
    expect((await stranger.get(as(asked().order, ".csv"))).status).toBe(403);
    expect((await service.owner.get("/v1/orders/nothing/purchase-order.csv")).status).toBe(404);
    expect((await service.owner.get("/v1/restock-list.csv")).status).toBe(422);
    expect((await service.anyone.get("/v1/restock-list.csv?through=2027-04-30")).status).toBe(401);
  });
});
