import { afterAll, beforeAll, expect, it } from "vitest";
import { spurKind } from "../support/garage.ts";
import { startTestService, type TestService } from "../support/service.ts";

/** Two cars of two drivers with a pair of tied places each: what came off together counts, and what did not does not. */
let service: TestService;
let lineId: string;
const cars: { id: string; driverId: string }[] = [];
beforeAll(async () => {
  service = await startTestService("2026-12-01T09:00:00.000Z");
  const { must } = service.owner;
  const pair = { code: "T-PAIR", name: "Pair of the tests", changeRule: "pair", changedTogether: 2 };
  const kind = await must("POST", "/v1/kinds", { ...spurKind, ...pair });
  const line = await must("POST", "/v1/lines", {
    sku: "T-PR-1",
    name: "Pair",
    kindId: kind.id,
    priceMinorUnits: 900,
  });
  lineId = line.id;
  for (const name of ["Ada", "Ben"]) {
    const driver = await must("POST", "/v1/drivers", { name });
    cars.push(
      await must("POST", "/v1/cars", {
        ...{ driverId: driver.id, name: `${name}'s car` },
        positions: ["left", "right"].map((place) => ({
          ...{ name: place, kindId: kind.id, changedWith: "front" },
        })),
      }),
    );
  }
  await must("POST", "/v1/meetings", {
    ...{ name: "Club day", startsOn: "2026-12-06", surface: "asphalt", plannedRuns: 6, minutesPerRun: 5.5 },
  });
});
afterAll(async () => {
  expect(service.faults).toEqual([]);
  await service.close();
});

const fitted = new Map<string, string>();
/** Fits a new piece; what was there comes off. */
const putOn = async (car: number, position: string, at: string) => {
  const { must } = service.owner;
  const { id, driverId } = cars[car]!;
  const before = fitted.get(`${car} ${position}`);
  if (before !== undefined) await must("POST", `/v1/pieces/${before}/removal`, { at });
  const piece = await must("POST", "/v1/pieces", { driverId, lineId, mark: `${position} ${at}` });
  await must("POST", `/v1/cars/${id}/fittings`, { position, at, piece: { pieceId: piece.id } });
  fitted.set(`${car} ${position}`, piece.id);
};
const spares = async () => {
  const list = await service.owner.must("GET", "/v1/restock-list?through=2027-01-31");
  const all = [...list.suppliers.flatMap((one: any) => one.lines), ...list.enough];
  return all.find((one: any) => one.sku === "T-PR-1").spares;
};

it("part-worn pieces of two drivers, or of two pairs, are no pair; what came off together is", async () => {
  for (const car of [0, 1]) {
    await putOn(car, "left", "2026-10-01T08:00:00Z");
    await putOn(car, "right", "2026-10-01T08:05:00Z");
  }
  // One piece of each driver comes off: two loose pieces, and no pair.
  for (const car of [0, 1]) await putOn(car, "left", "2026-10-10T08:00:00Z");
  expect(await spares()).toBe(0);
  // The other piece of the first driver's first pair comes off a week later: the pair is whole again.
  await putOn(0, "right", "2026-10-17T08:00:00Z");
  expect(await spares()).toBe(2);
});
