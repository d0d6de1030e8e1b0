import { afterAll, beforeAll, describe, expect, it } from "vitest";
import { buildApp } from "../../src/app.ts";
import { startGarage } from "../support/garage.ts";
import { startTestService, type TestService } from "../support/service.ts";

/** Two drivers use one line of spurs: one breaks a spur on every fourth run, the other runs forty and breaks none. */
describe("breakage by driver", () => {
  let service: TestService;
  let garage: Awaited<ReturnType<typeof startGarage>>;
  let rough: any;
  let pieceOf: Record<"calm" | "rough", string>;

  beforeAll(async () => {
    service = await startTestService("2026-12-01T09:00:00.000Z");
    garage = await startGarage(service);
    const { must } = service.owner;
    rough = await must("POST", "/v1/drivers", { name: "Mara Tindle" });
    const kindId = garage.kind.id;
    const car = await must("POST", "/v1/cars", {
      driverId: rough.id,
      name: "Other car",
      positions: [{ name: "spur", kindId }],
    });
    let hour = 0;
    const at = () => new Date(Date.parse("2026-11-01T08:00:00Z") + 3_600_000 * hour++).toISOString();
    const startPiece = async (driverId: string, carId: string, mark: string, runs: number) => {
      const piece = await must("POST", "/v1/pieces", { driverId, lineId: garage.line.id, mark });
      await must("POST", `/v1/cars/${carId}/fittings`, {
        position: "spur",
        at: at(),
        piece: { pieceId: piece.id },
      });
      for (let i = 0; i < runs; i++)
        await must("POST", "/v1/runs", { carId, at: at(), minutes: 5.5, surface: "asphalt" });
      return piece.id as string;
    };
    const calm = await startPiece(garage.driver.id, garage.car.id, "calm 1", 40);
    for (let i = 0; i < 5; i++) {
      const id = await startPiece(rough.id, car.id, `rough ${i}`, 4);
      await must("PUT", `/v1/pieces/${id}/retirement`, { at: at(), retiredFor: "broken" });
    }
    pieceOf = { calm, rough: await startPiece(rough.id, car.id, "rough 9", 1) };
  });
  afterAll(() => service.close());

  it("a forecast rests on the driver's own rate, and shows it as a range with what it was learned from", async () => {
    const { must } = service.owner;
    const calm = await must("GET", `/v1/pieces/${pieceOf.calm}/forecast`);
    const wild = await must("GET", `/v1/pieces/${pieceOf.rough}/forecast`);
    expect(calm.breakage).toMatchObject({ broken: 0, runs: 40 });
    expect(wild.breakage).toMatchObject({ broken: 5, runs: 21 });
    expect(wild.breakage.perRun.p10).toBeLessThan(wild.breakage.perRun.median);
    expect(wild.breakage.perRun.median).toBeGreaterThan(2 * calm.breakage.perRun.median);
    expect(wild.oneMoreRun.breaks).toBeGreaterThan(2 * calm.oneMoreRun.breaks);
  });

  it("a line's wear shows the rate over all drivers and each driver's own; a driver's key sees the own one alone", async () => {
    const path = `/v1/lines/${garage.line.id}/wear`;
    const { breakage } = await service.owner.must("GET", path);
    expect(breakage).toMatchObject({ broken: 5, runs: 61 });
    expect(breakage.range.p10).toBeLessThan(breakage.perRun);
    expect(breakage.range.p90).toBeGreaterThan(breakage.perRun);
    expect(breakage.drivers.map(({ driverId }: any) => driverId).sort()).toEqual(
      [garage.driver.id, rough.id].sort(),
    );
    const own = (await (await service.as("driver", rough.id)).must("GET", path)).breakage;
    expect(own.drivers).toEqual(breakage.drivers.filter(({ driverId }: any) => driverId === rough.id));
    expect(own.perRun).toBe(breakage.perRun);
  });
});

/** It used to be known only when a look or a fitting had the line fitted again: runs after the last look did not count. */
describe("the runs that breakages are set against", () => {
  let service: TestService;
  let garage: Awaited<ReturnType<typeof startGarage>>;
  let pieceId: string;
  let key: string;
  const run = (day: number, more: object = {}) => ({
    ...{ carId: garage.car.id, at: `2026-11-${day}T10:00:00Z`, minutes: 5.5, surface: "asphalt", ...more },
  });

  beforeAll(async () => {
    service = await startTestService("2026-12-01T09:00:00.000Z");
    garage = await startGarage(service);
    const { must } = service.owner;
    const { driver, line, car } = garage;
    pieceId = (await must("POST", "/v1/pieces", { driverId: driver.id, lineId: line.id, mark: "spur 1" })).id;
    const at = "2026-11-01T08:00:00Z";
    await must("POST", `/v1/cars/${car.id}/fittings`, { position: "spur", at, piece: { pieceId } });
    await must("POST", "/v1/runs", run(10));
    await must("POST", `/v1/pieces/${pieceId}/inspections`, { at: "2026-11-10T19:00:00Z", grade: 1 });
    key = await service.keyFor("owner");
  });
  afterAll(async () => {
    expect(service.faults).toEqual([]);
    await service.close();
  });

  const runs = async () => {
    const path = `/v1/pieces/${pieceId}/forecast`;
    const answer = await service.owner.must("GET", path);
    // A service that has just started knows nothing from before.
    const app = buildApp({ db: service.db, clock: () => new Date(service.clock.now) });
    const headers = { authorization: `Bearer ${key}` };
    const fresh = (await (await app.request(path, { headers })).json()) as any;
    expect(answer.breakage).toEqual(fresh.breakage);
    expect(answer.oneMoreRun.breaks).toBe(fresh.oneMoreRun.breaks);
    return [answer.breakage.runs, answer.restsOn.runs];
  };

  it("are all that were logged, those after the last look as well: one by one, of a meeting, imported", async () => {
    const { must, send } = service.owner;
    expect(await runs()).toEqual([1, 1]);
    const { evidence } = await lineRow();
    const { id } = await must("POST", "/v1/runs", run(11));
    expect(await runs()).toEqual([2, 2]);
    const csv = { "content-type": "text/csv" };
    const table = `carId,at,minutes,surface\n${[12, 13, 14].map((d) => `${garage.car.id},2026-11-${d}T10:00:00Z,5,asphalt`).join("\n")}\n`;
    expect((await send("POST", "/v1/imports/runs?dryRun=true", table, csv)).status).toBe(200);
    expect(await runs()).toEqual([2, 2]);
    expect((await send("POST", "/v1/imports/runs", table, csv)).status).toBe(200);
    expect(await runs()).toEqual([5, 5]);
    await must("DELETE", `/v1/runs/${id}`);
    expect(await runs()).toEqual([4, 4]);
    expect((await lineRow()).evidence).toBe(evidence);
  });

  it("follow a run that is put on another car, and one that names a pack", async () => {
    const { must } = service.owner;
    const { driver, packLine } = garage;
    const other = await must("POST", "/v1/cars", { driverId: driver.id, name: "Second car" });
    const before = await runs();
    const { id } = await must("POST", "/v1/runs", run(15, { carId: other.id }));
    expect(await runs()).toEqual(before);
    await must("PATCH", `/v1/runs/${id}`, { carId: garage.car.id });
    expect(await runs()).toEqual(before.map((n) => n + 1));
    const pack = await must("POST", "/v1/pieces", { driverId: driver.id, lineId: packLine.id, mark: "pack" });
    const packRuns = async () => (await must("GET", `/v1/pieces/${pack.id}/forecast`)).breakage.runs;
    expect(await packRuns()).toBe(0);
    await must("POST", "/v1/runs", run(16, { carId: other.id, packId: pack.id }));
    expect(await packRuns()).toBe(1);
  });

  const lineRow = () =>
    service.db.selectFrom("lines").selectAll().where("id", "=", garage.line.id).executeTakeFirstOrThrow();
});
