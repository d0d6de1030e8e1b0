import { afterAll, beforeAll, expect, it } from "vitest";
import { spurKind, startGarage } from "../support/garage.ts";
import { startTestService, type TestService } from "../support/service.ts";

/** Ties between positions either change what is forecast, or are refused where they are made. */
let service: TestService;
let garage: Awaited<ReturnType<typeof startGarage>>;
let arm: any;
let pinion: any;
beforeAll(async () => {
  service = await startTestService("2026-12-01T09:00:00.000Z");
  garage = await startGarage(service);
  const { must } = service.owner;
  arm = await must("POST", "/v1/kinds", { ...spurKind, code: "T-ARM", name: "Arm of the tests" });
  pinion = await must("POST", "/v1/kinds", {
    ...{ ...spurKind, code: "T-PINION", name: "Pinion of the tests" },
    ...{ changeRule: "with-mate", mateCode: "T-SPUR" },
  });
});
afterAll(async () => {
  expect(service.faults).toEqual([]);
  await service.close();
});

const car = (positions: object[]) =>
  service.owner.send("POST", "/v1/cars", { driverId: garage.driver.id, name: "Tied car", positions });

it("a tie of two parts that are changed alone is refused on a new car, and the answer says what to do at the kinds", async () => {
  const { status, body } = await car([
    { name: "hub", kindId: garage.kind.id, changedWith: "corner" },
    { name: "arm", kindId: arm.id, changedWith: "corner" },
  ]);
  expect([status, body.type]).toEqual([422, "/problems/inconsistent"]);
  expect(body.errors[0].pointer).toBe("#/positions/1/changedWith");
  expect(body.errors[0].detail).toContain('to "with-mate" and its mateCode');
  const cars = await service.owner.must("GET", "/v1/cars");
  expect(JSON.stringify(cars)).not.toContain("Tied car");
});

it("a tie to a leading part is kept, and one more part changed alone is refused there", async () => {
  const { status, body } = await car([
    { name: "spur", kindId: garage.kind.id, changedWith: "gears" },
    { name: "pinion", kindId: pinion.id, changedWith: "gears" },
  ]);
  expect(status).toBe(201);
  const add = (name: string, kindId: string, changedWith: string | null) =>
    service.owner.send("POST", `/v1/cars/${body.id}/positions`, { name, kindId, changedWith });
  const refused = await add("arm", arm.id, "gears");
  expect([refused.status, refused.body.errors[0].pointer]).toEqual([422, "#/changedWith"]);
  const twice = await add("second spur", garage.kind.id, "gears");
  expect(twice.body.errors[0].detail).toContain('T-SPUR to "pair" or "set"');
  expect((await add("arm", arm.id, null)).status).toBe(201);
});
