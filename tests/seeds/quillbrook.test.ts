import { describe, expect, it } from "vitest";
import { shippedKinds } from "../../seeds/index.ts";
import { quillbrook } from "../../seeds/quillbrook.ts";
import { surfaces } from "../../src/domain/kind.ts";

const kinds = new Map(shippedKinds.map((kind) => [kind.code, kind]));
const lines = new Map(quillbrook.lines.map((line) => [line.sku, line]));
const keysOf = (things: { key: string }[]) => new Set(things.map((thing) => thing.key));
const day = /^\d{4}-\d{2}-\d{2}$/;

describe("the invented club", () => {
  it("has 12 drivers, 16 cars, 4 models, 5 venues, 3 suppliers and two seasons of 28 meetings", () => {
    const { drivers, cars, carModels, venues, suppliers, meetings } = quillbrook;
    expect([drivers, cars, carModels, venues, suppliers].map((list) => list.length)).toEqual([
      12, 16, 4, 5, 3,
    ]);
    for (const year of ["2026", "2027"])
      expect(meetings.filter((meeting) => meeting.startsOn.startsWith(year))).toHaveLength(28);
  });

  it("gives every key, SKU, and car of a driver once", () => {
    const { drivers, carModels, venues, suppliers, locations, cars, meetings } = quillbrook;
    for (const list of [drivers, carModels, venues, suppliers, locations, cars, meetings])
      expect(keysOf(list).size).toBe(list.length);
    expect(lines.size).toBe(quillbrook.lines.length);
    expect(new Set(cars.map((car) => `${car.driver} ${car.name}`)).size).toBe(cars.length);
  });

  it("refers only to things that exist", () => {
    const { drivers, carModels, venues, suppliers, locations, cars, meetings } = quillbrook;
    for (const line of quillbrook.lines) {
      expect(kinds.has(line.kind), line.sku).toBe(true);
      expect(keysOf(suppliers).has(line.supplier), line.sku).toBe(true);
      expect(
        line.fits.every((model) => keysOf(carModels).has(model)),
        line.sku,
      ).toBe(true);
      if (line.supersededBy !== null) expect(lines.has(line.supersededBy), line.sku).toBe(true);
    }
    for (const car of cars) {
      expect(keysOf(drivers).has(car.driver), car.key).toBe(true);
      expect(keysOf(carModels).has(car.model), car.key).toBe(true);
    }
    for (const meeting of meetings) expect(keysOf(venues).has(meeting.venue), meeting.key).toBe(true);
    for (const driver of drivers)
      expect(locations.filter((place) => place.driver === driver.key).map((place) => place.sort)).toEqual([
        "home",
        "pit-box",
      ]);
    expect(keysOf(locations).has(quillbrook.shop.location)).toBe(true);
  });

  it("has 20 to 32 positions on a car, each with a name of its own and a line that is of its kind and fits", () => {
    for (const car of quillbrook.cars) {
      expect(car.positions.length, car.key).toBeGreaterThanOrEqual(20);
      expect(car.positions.length, car.key).toBeLessThanOrEqual(32);
      expect(new Set(car.positions.map((position) => position.name)).size).toBe(car.positions.length);
      for (const position of car.positions) {
        const line = lines.get(position.line)!;
        expect(line.kind, `${car.key} ${position.name}`).toBe(position.kind);
        expect(line.fits, `${car.key} ${position.name}`).toContain(car.model);
        expect(kinds.get(position.kind)!.usedBy).toBe("fitting");
      }
    }
  });

  it("groups as many positions under one word as its kind changes together", () => {
    for (const car of quillbrook.cars)
      for (const word of new Set(car.positions.map((position) => position.changedWith))) {
        if (word === null) continue;
        const group = car.positions.filter((position) => position.changedWith === word);
        expect(new Set(group.map((position) => position.kind)).size, `${car.key} ${word}`).toBe(1);
        expect(group.length, `${car.key} ${word}`).toBe(kinds.get(group[0]!.kind)!.changedTogether);
      }
  });

  it("fits only lines of the pitch and tooth count that the car is geared for", () => {
    for (const car of quillbrook.cars) {
      const pinion = lines.get(car.positions.find((position) => position.name === "pinion")!.line)!;
      const spur = lines.get(car.positions.find((position) => position.name === "spur")!.line)!;
      expect(pinion.name).toContain(`${car.pinionTeeth}T`);
      expect(spur.name).toContain(`${car.spurTeeth}T`);
      const pitch = /48 DP|module 0\.6/;
      expect(pitch.exec(pinion.name)![0]).toBe(pitch.exec(spur.name)![0]);
    }
  });

  it("gives a pinion the base tangent length of its tooth count (span over k teeth, from memory)", () => {
    const angle = Math.PI / 9;
    for (const line of quillbrook.lines.filter((one) => one.kind.startsWith("PIN"))) {
      const teeth = Number(/(\d+)T/.exec(line.name)![1]);
      const spanned = Number(/over (\d)/.exec(line.notes!)![1]);
      const module = line.name.includes("48 DP") ? 25.4 / 48 : 0.6;
      const span = module * Math.cos(angle) * (Math.PI * (spanned - 0.5) + teeth * (Math.tan(angle) - angle));
      expect(line.asNew, line.sku).toBeCloseTo(span, 3);
    }
    expect(lines.get("QB-PN-A21")!.asNew).toBe(4.061);
  });

  it("has whole cents, whole packs, a price above cost, and real days", () => {
    for (const line of quillbrook.lines) {
      for (const whole of [line.priceMinorUnits, line.costMinorUnits, line.packSize, line.orderMultiplePacks])
        expect(Number.isInteger(whole), line.sku).toBe(true);
      expect(line.priceMinorUnits, line.sku).toBeGreaterThan(line.costMinorUnits);
      if (line.endedOn !== null) expect(line.endedOn).toMatch(day);
    }
    for (const meeting of quillbrook.meetings) {
      expect(meeting.startsOn).toMatch(day);
      expect(surfaces).toContain(meeting.surface);
      expect(quillbrook.venues.find((venue) => venue.key === meeting.venue)!.surface).toBe(meeting.surface);
    }
  });

  it("brings the kinds that matter into the cars", () => {
    const used = new Set(quillbrook.cars.flatMap((car) => car.positions.map((position) => position.kind)));
    for (const code of [
      "TYR-RT TYR-RBR TYR-RBF SPR-48 SPR-06 PIN-AL PIN-ST BLT CVD ODR BSH-PL BRG-W BRG-L MOT-RPM BRU",
      "DMP-OIL DMP-SEAL DMP-SHF DIF-OIL ARM-F ARM-R HUB HPN CUP SRV SAV BOD BMP PST TRP",
    ].flatMap((row) => row.split(" ")))
      expect(used.has(code), code).toBe(true);
  });

  it("ends one line and names what follows it", () => {
    const ended = quillbrook.lines.filter((line) => line.endedOn !== null);
    expect(ended.map((line) => [line.sku, line.supersededBy])).toEqual([["QB-SP-670", "QB-SP-671"]]);
    expect(ended[0]!.endedOn! > quillbrook.asOf).toBe(true);
  });
});
