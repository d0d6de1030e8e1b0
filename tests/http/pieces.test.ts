import { afterAll, beforeAll, expect, it } from "vitest";
import { startGarage } from "../support/garage.ts";
import { startTestService, type TestService } from "../support/service.ts";

let service: TestService;
let garage: Awaited<ReturnType<typeof startGarage>>;
beforeAll(async () => {
  service = await startTestService("2026-12-01T09:00:00.000Z");
  garage = await startGarage(service);
});
afterAll(async () => {
  expect(service.faults).toEqual([]);
  await service.close();
});

it("a piece says on which car and at which position it is now, as in the list, and null for both when it is off", async () => {
  const { must } = service.owner;
  const { driver, line, car } = garage;
  const { id } = await must("POST", "/v1/pieces", { driverId: driver.id, lineId: line.id, mark: "spur 1" });
  const where = async () => {
    const { carId, positionId, state } = await must("GET", `/v1/pieces/${id}`);
    const [listed] = (await must("GET", "/v1/pieces")).items;
    expect({ carId, positionId, state }).toEqual({
      carId: listed.carId,
      positionId: listed.positionId,
      state: listed.state,
    });
    return [carId, positionId, state];
  };
  expect(await where()).toEqual([null, null, "spare"]);
  const putOn = (position: string, at: string) =>
    must("POST", `/v1/cars/${car.id}/fittings`, { position, at, piece: { pieceId: id } });
  await putOn("spur", "2026-11-10T10:00:00Z");
  expect(await where()).toEqual([car.id, car.positions[0].id, "fitted"]);
  await must("POST", `/v1/pieces/${id}/removal`, { at: "2026-11-11T10:00:00Z" });
  expect(await where()).toEqual([null, null, "spare"]);
  await putOn("second spur", "2026-11-12T10:00:00Z");
  expect(await where()).toEqual([car.id, car.positions[1].id, "fitted"]);
  await must("PUT", `/v1/pieces/${id}/retirement`, { at: "2026-11-13T10:00:00Z", retiredFor: "worn" });
  expect(await where()).toEqual([null, null, "retired"]);
});
