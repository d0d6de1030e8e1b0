import { afterAll, beforeAll, describe, expect, it } from "vitest";
import { type ClubOfFour, startClubOfFour } from "../support/club-of-four.ts";
import { startTestService, type TestService } from "../support/service.ts";

/** Ten o'clock on 1 December in Brisbane, which is the first day of a month there and the last of one in UTC. */
const now = "2026-11-30T18:00:00.000Z";
const through = "2027-04-30";
const totalOf = (amounts: readonly (number | undefined)[]) =>
  amounts.reduce<number>((total, amount) => total + (amount ?? 0), 0);

describe("GET /v1/season-cost", () => {
  let service: TestService;
  let club: ClubOfFour;
  let gone: { id: string };
  const ask = (from: string, to: string, more = "") =>
    service.owner.must("GET", `/v1/season-cost?from=${from}&through=${to}${more}`);
  beforeAll(async () => {
    service = await startTestService(now);
    const { must } = service.owner;
    club = await startClubOfFour(service);
    await must("PATCH", "/v1/club", { timeZone: "Australia/Brisbane" });
    const line = (sku: string, more: object) =>
      must("POST", "/v1/lines", { sku, name: sku, kindId: club.lines.spur.kindId, packSize: 1, ...more });
    gone = await line("S-0", { priceMinorUnits: 330 });
    const foreign = await line("S-EU", { priceMinorUnits: 770, currency: "EUR" });
    const receive = (lineId: string, pieces: number, at: string) =>
      must("POST", "/v1/movements", {
        reason: "received",
        lineId,
        locationId: club.homes[1].id,
        pieces,
        at,
      });
    await receive(gone.id, 2, "2026-10-05T10:00:00Z");
    await receive(foreign.id, 1, "2026-10-06T10:00:00Z");
    // On 1 November in Brisbane, and on 1 December.
    await receive(club.lines.pinion.id, 1, "2026-10-31T14:30:00Z");
    await receive(club.lines.spur.id, 3, "2026-11-30T17:00:00Z");
  });
  afterAll(() => service.close());

  it("has months and lines that each add up to the total, spent and expected, however the days are cut", async () => {
    const driver = `&driverId=${club.drivers[1].id}`;
    for (const [from, to, more] of [
      ["2026-10-01", through, ""],
      ["2026-10-01", through, driver],
      ["2026-10-01", "2026-12-24", `&carId=${club.cars[0].id}`],
      ["2026-10-01", "2026-11-30", ""],
      ["2026-11-05", "2026-12-01", ""],
      ["2027-01-10", through, driver],
    ] as const) {
      const { months, lines, total } = await ask(from, to, more);
      const of = (parts: any[], member: (part: any) => number) => totalOf(parts.map(member));
      expect({
        from,
        to,
        monthsSpent: of(months, (month) => month.actualMinorUnits),
        linesSpent: of(lines, (line) => line.actualMinorUnits),
        monthsExpected: of(months, (month) => month.ahead?.expectedMinorUnits),
        linesExpected: of(lines, (line) => line.expectedMinorUnits),
      }).toEqual({
        from,
        to,
        monthsSpent: total.actualMinorUnits,
        linesSpent: total.actualMinorUnits,
        monthsExpected: total.expectedMinorUnits,
        linesExpected: total.expectedMinorUnits,
      });
    }
    expect((await ask("2026-10-01", through)).total.expectedMinorUnits).toBeGreaterThan(0);
  });

  it("names a line that is not in use any more for what was spent on it, and the SKU of another currency apart", async () => {
    const { lines, total, otherCurrency } = await ask("2026-10-01", "2026-11-30");
    expect(lines.find((line: any) => line.sku === "S-0")).toMatchObject({
      lineId: gone.id,
      kindCode: "T-SPUR",
      inUse: 0,
      expectedPieces: 0,
      actualMinorUnits: 660,
      expectedMinorUnits: 0,
    });
    // Two of S-0, one pinion, and the five spurs of the club at 9.00; not the spurs of 1 December.
    expect(total.actualMinorUnits).toBe(660 + 1150 + 4500);
    expect(otherCurrency).toEqual(["S-EU"]);
  });

  it("cuts months and the first day by the club's clock", async () => {
    const { months } = await ask("2026-10-01", "2026-12-31");
    expect(months.map((month: any) => [month.month, month.actualMinorUnits])).toEqual([
      ["2026-10", 660],
      ["2026-11", 1150 + 4500],
      ["2026-12", 2700],
    ]);
    expect(months.map((month: any) => month.ahead !== null)).toEqual([false, false, true]);
    expect((await ask("2026-11-01", "2026-11-01")).total.actualMinorUnits).toBe(1150);
    expect((await ask("2026-12-01", "2026-12-01")).total.actualMinorUnits).toBe(2700);
  });

  it("counts a line that has ended and the one that replaces it as one to be bought, with the stock of both once", async () => {
    const { must } = service.owner;
    const before = await ask("2026-10-01", through);
    const next = await must("POST", "/v1/lines", {
      sku: "P-2",
      name: "P-2",
      kindId: club.lines.pinion.kindId,
      priceMinorUnits: 1150,
    });
    await must("POST", `/v1/cars/${club.cars[3].id}/replacements`, {
      position: "pinion",
      at: "2026-11-29T08:00:00Z",
      retiredFor: "worn",
      piece: { lineId: next.id, mark: "pinion of the new line", from: "none" },
    });
    await must("PATCH", `/v1/lines/${club.lines.pinion.id}`, {
      endedOn: "2026-11-29",
      supersededById: next.id,
    });
    const { lines, total } = await ask("2026-10-01", through);
    const of = (sku: string) => lines.filter((line: any) => line.sku === sku);
    expect(of("P-2")).toHaveLength(1);
    expect(of("P-2")[0]).toMatchObject({ inUse: 4, actualMinorUnits: 0 });
    expect(of("P-1")).toEqual([expect.objectContaining({ inUse: 0, actualMinorUnits: 1150 })]);
    expect(totalOf(lines.map((line: any) => line.expectedMinorUnits))).toBe(total.expectedMinorUnits);
    expect(total.actualMinorUnits).toBe(before.total.actualMinorUnits);
  });

  it("says in its sentence what was spent as people write money, and nothing of a future that was not asked for", async () => {
    expect((await ask("2026-10-01", "2026-11-30")).sentence).toBe(
      "From 2026-10-01 through 2026-11-30 AUD 63.10 was spent.",
    );
    expect((await ask("2026-10-01", through)).sentence).toMatch(
      /^From 2026-10-01 on AUD 90\.10 was spent; through 2027-04-30 another AUD \d+\.\d\d to AUD \d+\.\d\d is likely \(expected AUD \d+\.\d\d\)\.$/,
    );
  });
});
