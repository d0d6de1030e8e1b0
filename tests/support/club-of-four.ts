import { spurKind } from "./garage.ts";
import type { TestService } from "./service.ts";

/** A pinion of the tests, changed with its spur; and a body, which stops no car and wears evenly with runs. */
const pinionKind = {
  ...spurKind,
  code: "T-PINION",
  name: "Pinion of the tests",
  changeRule: "with-mate",
  mateCode: "T-SPUR",
  usualLife: { p10: 300, p90: 700 },
  breakagePerRun: 0.0005,
};
const bodyKind = {
  ...spurKind,
  code: "T-BODY",
  name: "Body of the tests",
  carStopper: false,
  breakagePerRun: 0.01,
  shelfLifeDays: null,
};

/**
 * Four drivers with a car each (spur, pinion, body), a supplier, three lines, homes and a shelf, ten meetings ahead from
 * 6 December 2026 to 11 April 2027; every car has 40 runs behind it, and 5 spurs were received for the first driver's home.
 */
export async function startClubOfFour(service: TestService) {
  const { must } = service.owner;
  const [spur, pinion, body] = [
    await must("POST", "/v1/kinds", spurKind),
    await must("POST", "/v1/kinds", pinionKind),
    await must("POST", "/v1/kinds", bodyKind),
  ];
  const supplier = await must("POST", "/v1/suppliers", {
    name: "Gantry Wholesale",
    leadTimeDays: 6,
    leadTimeSdDays: 3,
    minimumOrderMinorUnits: 5000,
  });
  const line = (sku: string, kindId: string, more: object) =>
    must("POST", "/v1/lines", { sku, name: sku, kindId, supplierId: supplier.id, ...more });
  const lines = {
    spur: await line("S-1", spur.id, { priceMinorUnits: 900 }),
    pinion: await line("P-1", pinion.id, { priceMinorUnits: 1150 }),
    body: await line("B-1", body.id, { priceMinorUnits: 4000, packSize: 2 }),
  };
  const drivers = [];
  const cars = [];
  const homes = [];
  const pieces: Record<string, string> = {};
  for (const name of ["Ada", "Ben", "Cleo", "Dov"]) {
    const driver = await must("POST", "/v1/drivers", { name });
    const car = await must("POST", "/v1/cars", {
      driverId: driver.id,
      name: `${name}'s car`,
      positions: [
        { name: "spur", kindId: spur.id },
        { name: "pinion", kindId: pinion.id },
        { name: "body", kindId: body.id },
      ],
    });
    for (const [position, of] of Object.entries(lines)) {
      const piece = await must("POST", "/v1/pieces", { driverId: driver.id, lineId: of.id, mark: position });
      pieces[`${name} ${position}`] = piece.id;
      await must("POST", `/v1/cars/${car.id}/fittings`, {
        position,
        at: "2026-10-01T08:00:00Z",
        piece: { pieceId: piece.id },
      });
    }
    for (let i = 0; i < 40; i++)
      await must("POST", "/v1/runs", {
        carId: car.id,
        at: new Date(Date.parse("2026-10-02T09:00:00Z") + i * 3.6e6).toISOString(),
        minutes: 5.5,
        surface: "asphalt",
      });
    homes.push(
      await must("POST", "/v1/locations", { name: `${name} at home`, sort: "home", driverId: driver.id }),
    );
    drivers.push(driver);
    cars.push(car);
  }
  const shelf = await must("POST", "/v1/locations", { name: "Shelf", sort: "shelf" });
  const meetings = [];
  for (let i = 0; i < 10; i++)
    meetings.push(
      await must("POST", "/v1/meetings", {
        name: `Round ${i + 1}`,
        startsOn: new Date(Date.parse("2026-12-06") + i * 14 * 86_400_000).toISOString().slice(0, 10),
        surface: "asphalt",
        plannedRuns: 6,
        minutesPerRun: 5.5,
      }),
    );
  await must("POST", "/v1/movements", {
    reason: "received",
    lineId: lines.spur.id,
    locationId: homes[0].id,
    pieces: 5,
    at: "2026-11-20T10:00:00Z",
  });
  return { supplier, lines, drivers, cars, homes, shelf, meetings, pieces };
}
export type ClubOfFour = Awaited<ReturnType<typeof startClubOfFour>>;
