import { afterAll, beforeAll, expect, it } from "vitest";
import { type ClubOfFour, startClubOfFour } from "../support/club-of-four.ts";
import { startTestService, type TestService } from "../support/service.ts";

let service: TestService;
let club: ClubOfFour;
beforeAll(async () => {
  service = await startTestService("2026-12-01T09:00:00.000Z");
  club = await startClubOfFour(service);
  for (const { id } of club.drivers)
    await service.owner.must("PATCH", `/v1/drivers/${id}`, { sharesDemand: true });
});
afterAll(() => service.close());

it("pieces worn at the start give the shelf its peak at the first meeting: the pre-season peak is included", async () => {
  const shop = await service.as("shop");
  const body = async () =>
    (await shop.must("GET", "/v1/shelf-plan?through=2027-04-30")).lines.find(({ sku }: any) => sku === "P-1");
  const before = await body();
  for (const [i, { id: carId }] of club.cars.entries())
    for (const day of [10, 11, 12])
      await service.owner.must("POST", "/v1/runs", {
        ...{ carId, at: `2026-11-${day}T1${i}:00:00Z` },
        ...{ minutes: 240, surface: "asphalt" },
      });
  const { peak, months } = await body();
  const [first] = club.meetings;
  expect(peak).toMatchObject({ month: "2026-12", day: first!.startsOn });
  // One for each car that shares, less those that may be good still.
  expect(peak.expected).toBeGreaterThan(2.5);
  expect(months[0].expected).toBeGreaterThan(2 * before.months[0].expected);
  for (const later of months.slice(1)) expect(later.expected).toBeLessThan(months[0].expected);
});
