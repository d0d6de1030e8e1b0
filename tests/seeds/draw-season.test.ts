import { describe, expect, it } from "vitest";
import { drawSeason, type Season } from "../../seeds/draw-season.ts";
import type { SeasonEvent } from "../../seeds/events.ts";
import { shippedKinds } from "../../seeds/index.ts";
import { quillbrook } from "../../seeds/quillbrook.ts";

const draw = (seed: number) => drawSeason({ scenario: quillbrook, kinds: shippedKinds, seed });
const seasons = [1, 2, 3].map(draw);
const [season] = seasons as [Season];
const ofType = <T extends SeasonEvent["type"]>(type: T, { events }: Season = season) =>
  events.filter((event): event is Extract<SeasonEvent, { type: T }> => event.type === type);

const kinds = new Map(shippedKinds.map((kind) => [kind.code, kind]));
const lines = new Map(quillbrook.lines.map((line) => [line.sku, line]));
const cars = new Map(quillbrook.cars.map((car) => [car.key, car]));
const meetings = new Map(quillbrook.meetings.map((meeting) => [meeting.key, meeting]));
const discipline = (car: string) =>
  quillbrook.carModels.find(({ key }) => key === cars.get(car)!.model)!.discipline;
const nameOf = ({ driver, piece }: { driver: string; piece: string }) => `${driver} ${piece}`;
const daysBetween = (from: string, to: string) => (Date.parse(to) - Date.parse(from)) / 86_400_000;
const mean = (numbers: readonly number[]) => numbers.reduce((sum, x) => sum + x, 0) / numbers.length;

describe("a drawn season", () => {
  it("is the same for the same seed and another for another", () => {
    expect(draw(1)).toEqual(season);
    expect(draw(4).events).not.toEqual(season.events);
  });

  it("is in the order of time, in UTC with milliseconds, before the day it is looked at", () => {
    for (const { events } of seasons) {
      const times = events.map(({ at }) => at);
      expect(times).toEqual([...times].sort());
      for (const at of times) expect(new Date(at).toISOString()).toBe(at);
      expect(times.at(-1)! < quillbrook.asOf).toBe(true);
    }
  });

  it("draws only the cars asked for", () => {
    const part = drawSeason({ scenario: quillbrook, kinds: shippedKinds, seed: 1, cars: ["C01", "C11"] });
    expect(new Set(ofType("run", part).map(({ car }) => car))).toEqual(new Set(["C01", "C11"]));
    expect(new Set(ofType("piece", part).map(({ driver }) => driver))).toEqual(new Set(["D01", "D07"]));
  });
});

describe("pieces", () => {
  it("are in one position at a time, and a position holds one", () => {
    for (const one of seasons) {
      const where = new Map<string, string>();
      const known = new Set<string>();
      const retired = new Set<string>();
      for (const event of one.events) {
        if (event.type === "piece") {
          expect(known.has(nameOf(event)), nameOf(event)).toBe(false);
          known.add(nameOf(event));
        }
        if (event.type === "retire") retired.add(nameOf(event));
        if (event.type === "fit") {
          expect(known.has(nameOf(event)), nameOf(event)).toBe(true);
          expect(retired.has(nameOf(event)), nameOf(event)).toBe(false);
          expect([...where.values()], nameOf(event)).not.toContain(nameOf(event));
          expect(where.has(`${event.car} ${event.position}`), `${event.car} ${event.position}`).toBe(false);
          where.set(`${event.car} ${event.position}`, nameOf(event));
        }
        if (event.type === "remove") {
          expect(where.get(`${event.car} ${event.position}`)).toBe(nameOf(event));
          where.delete(`${event.car} ${event.position}`);
          if (event.retiredFor !== null) retired.add(nameOf(event));
        }
      }
      expect(where.size).toBeGreaterThan(500);
    }
  });

  it("are of a line that is of the position's kind and fits the car", () => {
    const lineOf = new Map(ofType("piece").map((event) => [nameOf(event), event.line]));
    for (const event of ofType("fit")) {
      const position = cars.get(event.car)!.positions.find(({ name }) => name === event.position)!;
      const line = lines.get(lineOf.get(nameOf(event))!)!;
      expect(line.kind).toBe(position.kind);
      expect(line.fits).toContain(cars.get(event.car)!.model);
      expect(cars.get(event.car)!.driver).toBe(event.driver);
    }
  });

  it("are read on the day of fitting when they are new", () => {
    const looks = new Set(ofType("inspection").map((event) => `${nameOf(event)} ${event.at.slice(0, 10)}`));
    for (const event of ofType("fit"))
      if (event.from !== null) expect(looks).toContain(`${nameOf(event)} ${event.at.slice(0, 10)}`);
  });

  it("bring along a guess of their earlier use that is right within its standard deviation, mostly", () => {
    const errors: number[] = [];
    for (const one of seasons) {
      const fitting = new Map(ofType("fit", one).map((event) => [nameOf(event), event]));
      const runs = ofType("run", one);
      const truth = new Map(one.truth.pieces.map((piece) => [nameOf(piece), piece]));
      for (const event of ofType("piece", one)) {
        const { kind, usage, retiredFor } = truth.get(nameOf(event))!;
        if (event.priorUsage === null || kinds.get(kind)!.clock !== "runs" || retiredFor !== null) continue;
        const { car, at } = fitting.get(nameOf(event))!;
        const before = usage - runs.filter((run) => run.car === car && run.at >= at).length;
        errors.push((event.priorUsage - before) / event.priorUsageSd!);
      }
    }
    expect(errors.length).toBeGreaterThan(100);
    expect(Math.sqrt(mean(errors.map((error) => error ** 2)))).toBeGreaterThan(0.4);
    expect(Math.sqrt(mean(errors.map((error) => error ** 2)))).toBeLessThan(1.2);
  });

  it("wear at their true rate: what turns by the run without regard to the surface, to 2 %", () => {
    const steady = seasons
      .flatMap(({ truth }) => truth.pieces)
      .filter(({ kind, usage }) => /^(SAV|ARM-F|ARM-R|HUB|BMP)$/.test(kind) && usage > 5);
    const used = steady.reduce((sum, { usage, ratePerClock }) => sum + usage * ratePerClock, 0);
    expect(steady.length).toBeGreaterThan(150);
    expect(steady.reduce((sum, { wear }) => sum + wear, 0) / used).toBeCloseTo(1, 1.7);
  });
});

/** Car-years of the two disciplines, over the seasons drawn here. */
const carYears = { touring: 10 * seasons.length, buggy: 6 * seasons.length };

/** New pieces of some kinds that a car took in a season, the ones it began with not counted. */
function takenPerCar(code: RegExp, of: keyof typeof carYears): number {
  let taken = 0;
  for (const one of seasons) {
    const begun = new Map(ofType("piece", one).map((event) => [nameOf(event), event.at]));
    for (const piece of one.truth.pieces)
      if (code.test(piece.kind) && discipline(piece.car) === of)
        taken += Number((begun.get(nameOf(piece)) ?? "") >= "2026-02-01");
  }
  return taken / carYears[of];
}

const runsPerCar = (of: keyof typeof carYears) =>
  seasons.flatMap((one) => ofType("run", one)).filter(({ car }) => discipline(car) === of).length /
  carYears[of];

describe("what a car uses in a season (the club's own figures, invented for the demo; wide tolerance)", () => {
  it("touring: about 82 runs, 17.7 tyres, 1.8 motors or brush pairs, 1.5 shells, 0.8 front arms", () => {
    expect(runsPerCar("touring")).toBeGreaterThan(70);
    expect(runsPerCar("touring")).toBeLessThan(95);
    expect(takenPerCar(/^TYR-RT$/, "touring")).toBeGreaterThan(12);
    expect(takenPerCar(/^TYR-RT$/, "touring")).toBeLessThan(23);
    expect(takenPerCar(/^MOT-RPM$/, "touring")).toBeGreaterThan(0.8);
    expect(takenPerCar(/^MOT-RPM$/, "touring")).toBeLessThan(2.5);
    expect(takenPerCar(/^BOD$/, "touring")).toBeGreaterThan(0.8);
    expect(takenPerCar(/^BOD$/, "touring")).toBeLessThan(2.4);
    expect(takenPerCar(/^ARM-F$/, "touring")).toBeGreaterThan(0.3);
    expect(takenPerCar(/^ARM-F$/, "touring")).toBeLessThan(1.6);
  });

  it("touring: about 0.5 vented and 0.2 closed spurs, 0.8 aluminium pinions, 12 damper fills, 1.4 packs", () => {
    expect(takenPerCar(/^SPR-48$/, "touring")).toBeGreaterThan(0.2);
    expect(takenPerCar(/^SPR-48$/, "touring")).toBeLessThan(1.1);
    expect(takenPerCar(/^SPR-06$/, "touring")).toBeLessThan(0.6);
    expect(takenPerCar(/^PIN-AL$/, "touring")).toBeGreaterThan(0.4);
    expect(takenPerCar(/^PIN-AL$/, "touring")).toBeLessThan(1.6);
    expect(takenPerCar(/^DMP-OIL$/, "touring")).toBeGreaterThan(8);
    expect(takenPerCar(/^DMP-OIL$/, "touring")).toBeLessThan(20);
    expect(takenPerCar(/^LIP-CAP$/, "touring")).toBeGreaterThan(0.4);
    expect(takenPerCar(/^LIP-CAP$/, "touring")).toBeLessThan(2.2);
  });

  it("buggy: about 58 runs, 5.1 rear and 3.9 front tyres, 0.7 vented spurs, half of 8 wheel bearings", () => {
    expect(runsPerCar("buggy")).toBeGreaterThan(48);
    expect(runsPerCar("buggy")).toBeLessThan(68);
    expect(takenPerCar(/^TYR-RBR$/, "buggy")).toBeGreaterThan(3);
    expect(takenPerCar(/^TYR-RBR$/, "buggy")).toBeLessThan(7.5);
    expect(takenPerCar(/^TYR-RBF$/, "buggy")).toBeGreaterThan(2.4);
    expect(takenPerCar(/^TYR-RBF$/, "buggy")).toBeLessThan(6);
    expect(takenPerCar(/^SPR-48$/, "buggy")).toBeGreaterThan(0.3);
    expect(takenPerCar(/^SPR-48$/, "buggy")).toBeLessThan(1.8);
    expect(takenPerCar(/^BRG-W$/, "buggy")).toBeGreaterThan(2.5);
    expect(takenPerCar(/^BRG-W$/, "buggy")).toBeLessThan(7);
  });

  it("pieces end worn, broken, or as a precaution, and most end worn", () => {
    const ends = seasons.flatMap(({ truth }) => truth.pieces.map(({ retiredFor }) => retiredFor));
    const count = (reason: string) => ends.filter((end) => end === reason).length / seasons.length;
    expect(count("worn")).toBeGreaterThan(350);
    expect(count("broken")).toBeGreaterThan(50);
    expect(count("precaution")).toBeGreaterThan(50);
    expect(count("worn")).toBeGreaterThan(count("broken"));
  });
});

describe("readings", () => {
  it("are within five standard deviations and half a step of the truth, unless a slip", () => {
    for (const { truth } of seasons)
      for (const { piece, value, trueValue, sd, resolution, blunder } of truth.readings)
        if (!blunder)
          expect(Math.abs(value - trueValue), piece).toBeLessThanOrEqual(5 * sd + resolution / 2 + 1e-9);
  });

  it("scatter by the repeatability of the instrument: standardised errors have standard deviation 1", () => {
    // Play is read as 0 where the error would make it negative, so only falling measures are looked at.
    const errors = seasons
      .flatMap(({ truth }) => truth.readings)
      .filter(({ blunder, resolution, sd }) => !blunder && resolution < sd)
      .map(({ value, trueValue, sd }) => (value - trueValue) / sd);
    expect(errors.length).toBeGreaterThan(3000);
    expect(Math.abs(mean(errors))).toBeLessThan(0.08);
    expect(Math.sqrt(mean(errors.map((error) => error ** 2)))).toBeGreaterThan(0.9);
    expect(Math.sqrt(mean(errors.map((error) => error ** 2)))).toBeLessThan(1.12);
  });

  it("are slips in about 1 % of cases, and most slips by many standard deviations were confirmed", () => {
    for (const one of seasons) {
      const slips = one.truth.readings.filter(({ blunder }) => blunder);
      expect(slips.length / one.truth.readings.length).toBeGreaterThan(0.004);
      expect(slips.length / one.truth.readings.length).toBeLessThan(0.025);
      const confirmed = new Set(
        ofType("inspection", one)
          .filter((event) => event.confirmed)
          .map((event) => `${nameOf(event)} ${event.at}`),
      );
      const gross = slips.filter(({ value, trueValue, sd }) => Math.abs(value - trueValue) > 20 * sd);
      const questioned = gross.filter((slip) => confirmed.has(`${nameOf(slip)} ${slip.at}`));
      expect(gross.length).toBeGreaterThan(0);
      expect(questioned.length / gross.length).toBeGreaterThan(0.6);
      expect(confirmed.size).toBeLessThan(60);
    }
  });

  it("are in the kind's unit, with one of its instruments; what is not measured is graded 0 to 4", () => {
    const kindOf = new Map(season.truth.pieces.map((piece) => [nameOf(piece), kinds.get(piece.kind)!]));
    let graded = 0;
    for (const event of ofType("inspection")) {
      const { measure } = kindOf.get(nameOf(event))!;
      for (const { unit, instrument, value } of event.readings) {
        expect(unit).toBe(measure!.unit);
        expect(measure!.instruments.map(({ name }) => name)).toContain(instrument);
        expect(value).toBeGreaterThanOrEqual(0);
      }
      if (event.grade === null) continue;
      graded += 1;
      expect([0, 1, 2, 3, 4]).toContain(event.grade);
    }
    expect(graded).toBeGreaterThan(1000);
    expect(ofType("inspection").flatMap(({ readings }) => readings)).toHaveLength(
      season.truth.readings.length,
    );
  });
});

describe("runs", () => {
  it("are at a meeting of the car's discipline, on its days, one at a time, with a pack of the driver", () => {
    const packs = new Set(season.truth.pieces.filter(({ kind }) => kind === "LIP-CAP").map(nameOf));
    const seen = new Set<string>();
    for (const run of ofType("run")) {
      const meeting = meetings.get(run.meeting)!;
      expect(meeting.discipline).toBe(discipline(run.car));
      const day = daysBetween(`${meeting.startsOn}T00:00:00.000Z`, run.at);
      expect(day >= 0 && day < meeting.days, `${run.meeting} ${run.at}`).toBe(true);
      expect(packs).toContain(`${cars.get(run.car)!.driver} ${run.pack}`);
      expect(run.minutes > 4 && run.minutes < 7.5).toBe(true);
      expect(run.knocks).toBeGreaterThanOrEqual(0);
      expect(seen.has(`${run.car} ${run.at}`)).toBe(false);
      seen.add(`${run.car} ${run.at}`);
    }
  });

  it("are logged late or with the timetable's minutes in about 6 % of cases", () => {
    const runs = seasons.flatMap((one) => ofType("run", one));
    const poor = runs.filter((run) => run.notes !== null || daysBetween(run.at, run.loggedAt) > 1);
    expect(poor.length / runs.length).toBeGreaterThan(0.04);
    expect(poor.length / runs.length).toBeLessThan(0.08);
  });
});

describe("stock", () => {
  it("is never negative anywhere, and a stocktake's level is the sum of all movements before", () => {
    for (const one of seasons) {
      const levels = new Map<string, number>();
      const lineOf = new Map<string, string>();
      const add = (location: string, sku: string, quantity: number) => {
        const level = (levels.get(`${location} ${sku}`) ?? 0) + quantity;
        expect(level, `${location} ${sku}`).toBeGreaterThanOrEqual(0);
        levels.set(`${location} ${sku}`, level);
        return level;
      };
      for (const event of one.events) {
        if (event.type === "piece") {
          lineOf.set(nameOf(event), event.line);
          if (event.from !== null) add(event.from, event.line, -1);
        } else if (event.type === "fit" && event.from !== null)
          add(event.from, lineOf.get(nameOf(event))!, -1);
        else if (event.type === "receipt")
          for (const { line, packs } of event.lines) add("shelf", line, packs * lines.get(line)!.packSize);
        else if (event.type === "movement" && event.reason === "moved") {
          add(event.from, event.line, -event.quantity);
          add(event.to, event.line, event.quantity);
        } else if (event.type === "movement")
          expect(add(event.location, event.line, event.quantity)).toBe(event.levelAfter);
      }
      for (const { key, sort } of quillbrook.locations) {
        const there = [...levels].filter(([name, level]) => name.startsWith(`${key} `) && level > 0);
        expect(there.length, key).toBeGreaterThan(sort === "shelf" ? 35 : 0);
      }
    }
  });

  it("is ordered in whole multiples from a line's own supplier, at or above the minimum", () => {
    for (const order of seasons.flatMap((one) => ofType("order", one))) {
      const supplier = quillbrook.suppliers.find(({ key }) => key === order.supplier)!;
      let cost = 0;
      for (const { line, packs, priceMinorUnits } of order.lines) {
        expect(lines.get(line)!.supplier).toBe(order.supplier);
        expect(packs % lines.get(line)!.orderMultiplePacks).toBe(0);
        cost += packs * priceMinorUnits;
      }
      expect(cost).toBeGreaterThanOrEqual(supplier.minimumOrderMinorUnits);
    }
  });

  it("comes after lead times like the supplier's, and never more than was ordered", () => {
    const leads = new Map<string, number[]>();
    for (const one of seasons) {
      const open = new Map(ofType("order", one).map((order) => [order.order, order]));
      const first = new Set<string>();
      const left = new Map<string, number>();
      for (const order of open.values())
        for (const { line, packs } of order.lines) left.set(`${order.order} ${line}`, packs);
      for (const receipt of ofType("receipt", one)) {
        const order = open.get(receipt.order)!;
        for (const { line, packs } of receipt.lines) {
          expect(packs).toBeLessThanOrEqual(left.get(`${receipt.order} ${line}`)!);
          left.set(`${receipt.order} ${line}`, left.get(`${receipt.order} ${line}`)! - packs);
        }
        if (receipt.closes)
          expect(order.lines.every(({ line }) => left.get(`${receipt.order} ${line}`) === 0)).toBe(true);
        if (first.has(receipt.order)) continue;
        first.add(receipt.order);
        leads.set(order.supplier, [...(leads.get(order.supplier) ?? []), daysBetween(order.at, receipt.at)]);
      }
    }
    for (const { key, leadTimeDays } of quillbrook.suppliers) {
      expect(leads.get(key)!.length, key).toBeGreaterThan(5);
      expect(mean(leads.get(key)!) / leadTimeDays, key).toBeGreaterThan(0.6);
      expect(mean(leads.get(key)!) / leadTimeDays, key).toBeLessThan(1.7);
    }
  });
});
