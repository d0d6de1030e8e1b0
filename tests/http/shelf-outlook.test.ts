import { afterAll, beforeAll, describe, expect, it } from "vitest";
import { type ClubOfFour, startClubOfFour } from "../support/club-of-four.ts";
import { startTestService, type TestService } from "../support/service.ts";
import { nestingFaults, textOf } from "../support/well-formed.ts";

/** What a shop sees of the need to come: month by month, pooled over the drivers who share theirs. */
const through = "2027-04-30";
let service: TestService;
let club: ClubOfFour;
let shop: TestService["owner"];
beforeAll(async () => {
  service = await startTestService("2026-12-01T09:00:00.000Z");
  club = await startClubOfFour(service);
  shop = await service.as("shop");
  for (const i of [0, 1, 2]) await share(i, true);
});
afterAll(async () => {
  expect(service.faults).toEqual([]);
  await service.close();
});

const share = (i: number, sharesDemand: boolean) =>
  service.owner.must("PATCH", `/v1/drivers/${club.drivers[i].id}`, { sharesDemand });
const plan = () => shop.must("GET", `/v1/shelf-plan?through=${through}`);
const picture = (id: string, who = shop) => who.get(`/v1/lines/${id}/shelf-outlook.svg?through=${through}`);

describe("the months of the shelf plan", () => {
  it("go from today's through that of the last day, and their expected pieces add up to the need", async () => {
    const { lines } = await plan();
    expect(lines).toHaveLength(3);
    for (const { months, need } of lines) {
      expect(months.map(({ month }: any) => month)).toEqual([
        "2026-12",
        "2027-01",
        "2027-02",
        "2027-03",
        "2027-04",
      ]);
      expect(months.at(-1).lastDay).toBe(through);
      const sum = months.reduce((total: number, { expected }: any) => total + expected, 0);
      expect(sum).toBeCloseTo(need.expected, 6);
      for (const { pieces, expected } of months) {
        expect(pieces.p10 <= pieces.median && pieces.median <= pieces.p90).toBe(true);
        expect(expected).toBeLessThanOrEqual(need.expected);
      }
    }
  });

  it("count what a driver holds at home before the shelf is asked", async () => {
    const spur = (list: any) => list.lines.find(({ sku }: any) => sku === "S-1");
    const before = spur(await plan());
    // The first driver holds five already; the others get some, too.
    for (const home of club.homes.slice(1, 3))
      await service.owner.must("POST", "/v1/movements", {
        ...{ reason: "received", lineId: club.lines.spur.id, locationId: home.id },
        ...{ pieces: 9, at: "2026-11-20T10:00:00Z" },
      });
    const after = spur(await plan());
    for (const { pieces } of after.months) expect(pieces).toEqual({ p10: 0, median: 0, p90: 0 });
    expect(before.months.some(({ pieces }: any) => pieces.p90 > 0)).toBe(true);
  });

  it("have the peak in the month that needs most", async () => {
    for (const { months, peak, sentence } of (await plan()).lines) {
      if (peak === null) continue;
      const most = Math.max(...months.map(({ expected }: any) => expected));
      expect(months.find(({ month }: any) => month === peak.month).expected).toBe(most);
      expect(peak.day.slice(0, 7)).toBe(peak.month);
      expect(peak.expected).toBeLessThanOrEqual(most + 1e-9);
      expect(sentence).toContain(`most in ${peak.month}`);
    }
  });

  it("reach 36 months ahead and no further", async () => {
    const { status, body } = await shop.get("/v1/shelf-plan?through=2040-01-01");
    expect([status, body.type]).toEqual([422, "/problems/inconsistent"]);
  });
});

describe("GET /v1/lines/{id}/shelf-outlook.svg", () => {
  it("draws for the shop what the plan says, with the number of drivers behind it", async () => {
    const line = (await plan()).lines.find(({ sku }: any) => sku === "P-1");
    const { status, headers, body } = await picture(club.lines.pinion.id);
    expect([status, headers.get("content-type")]).toEqual([200, "image/svg+xml"]);
    expect(nestingFaults(body)).toEqual([]);
    expect(body).toContain("prefers-color-scheme:dark");
    expect(textOf(body, "title")).toBe("P-1: need from the shelf by month");
    const words = textOf(body, "desc");
    expect(words).toContain(line.sentence);
    expect(words).toContain("3 of the 3 drivers who share");
    const names = ["December 2026", "January 2027", "February 2027", "March 2027", "April 2027"];
    names.forEach((name, i) => {
      const { p10, p90, median } = line.months[i].pieces;
      const range = p90 === 0 ? "none" : p10 === p90 ? `${p10}` : `${p10} to ${p90}`;
      expect(words).toContain(`${name}: ${range}, median ${median}`);
    });
    const ids = [...club.drivers, ...club.cars].map(({ id }: any) => id);
    for (const id of [...ids, ...Object.values(club.pieces)]) expect(body).not.toContain(id);
    expect((await picture(club.lines.pinion.id, service.owner)).body).toBe(body);
  });

  it("is withheld where fewer than three drivers stand behind it, as in the plan", async () => {
    await share(2, false);
    expect((await plan()).withheld).toContain("P-1");
    const { status, body } = await picture(club.lines.pinion.id);
    expect([status, body.type]).toEqual([409, "/problems/withheld"]);
    await share(2, true);
    expect((await picture(club.lines.pinion.id)).status).toBe(200);
  });

  it("is not for drivers, nor of an unknown line or a day that is past; what the cars need stays hidden from the shop", async () => {
    const ada = await service.as("driver", club.drivers[0].id);
    expect((await picture(club.lines.pinion.id, ada)).status).toBe(403);
    expect((await picture("none")).status).toBe(404);
    const past = await shop.get(`/v1/lines/${club.lines.pinion.id}/shelf-outlook.svg?through=2026-11-30`);
    expect([past.status, past.body.type]).toEqual([409, "/problems/out_of_order"]);
    expect((await shop.get(`/v1/lines/${club.lines.pinion.id}/outlook.svg?through=${through}`)).status).toBe(
      403,
    );
  });
});
