import { describe, expect, it } from "vitest";
import { DomainError } from "../../src/domain/errors.ts";
import {
  asNewSpanMm,
  backlashMm,
  centreDistanceMm,
  finalDriveRatio,
  gearDiametersMm,
  gearingForWornTyre,
  MILLIMETRES_PER_INCH,
  moduleFromPitch,
  pitchFromModule,
  pitchMatch,
  rollout,
  spanContact,
  speedKmh,
  teethToSpan,
  toothThicknessMm,
  toothWearLimitsMm,
  wearFromSpanMm,
} from "../../src/domain/gears.ts";
import { chargeCurrentAmps, resistanceFromStepOhms } from "../../src/domain/pack-electrics.ts";

const pitch48 = moduleFromPitch(48);
/** Spurs in common use, with the number of teeth to span. */
const spurs = [
  { moduleMm: pitch48, teeth: 87, k: 10, spanMm: 15.485 },
  { moduleMm: moduleFromPitch(64), teeth: 116, k: 13, spanMm: 15.29 },
  { moduleMm: 0.6, teeth: 70, k: 8, spanMm: 13.873 },
  { moduleMm: 0.5, teeth: 90, k: 10, spanMm: 14.653 },
];

describe("span over teeth", () => {
  it("module 2, 20 teeth: 15.321 mm over 3 and 21.225 mm over 4, touching at 40.59 mm (public gear-calculator page, span measurement example)", () => {
    const gear = { moduleMm: 2, teeth: 20 };
    expect(Math.abs(asNewSpanMm(gear, 3) - 15.321)).toBeLessThan(0.0005);
    expect(Math.abs(asNewSpanMm(gear, 4) - 21.225)).toBeLessThan(0.0005);
    expect(spanContact(gear, 3).diameterMm).toBeCloseTo(40.59, 2);
  });

  it("module 3, 24 teeth, shift 0.4: 32.8266 mm over 4 (metric gear handbook example, from memory; recomputed)", () => {
    expect(asNewSpanMm({ moduleMm: 3, teeth: 24, profileShift: 0.4 }, 4)).toBeCloseTo(32.8266, 4);
  });

  it("5 pitch, 30 teeth: 2.1505 in over 4 (machinists' handbook example, from memory; recomputed)", () => {
    const span = asNewSpanMm({ moduleMm: moduleFromPitch(5), teeth: 30 }, 4);
    expect(Math.abs(span / MILLIMETRES_PER_INCH - 2.1505)).toBeLessThan(1e-4);
  });

  it("spurs and a pinion of the cars in use have the spans worked out by hand from the same formula", () => {
    for (const { k, spanMm, ...gear } of spurs)
      expect(Math.abs(asNewSpanMm(gear, k) - spanMm)).toBeLessThan(0.001);
    expect(Math.abs(asNewSpanMm({ moduleMm: pitch48, teeth: 21 }, 3) - 4.061)).toBeLessThan(0.001);
  });

  it("one tooth more adds the base pitch π m cos α, so miscounted teeth show", () => {
    const gear = { moduleMm: 0.6, teeth: 70, pressureAngleDegrees: 14.5 };
    const step = asNewSpanMm(gear, 9) - asNewSpanMm(gear, 8);
    expect(step).toBeCloseTo(Math.PI * 0.6 * Math.cos((14.5 * Math.PI) / 180), 12);
  });

  it("the number of teeth to span puts the jaws on the flank, one tooth more or less does too, two fewer does not for three of four", () => {
    for (const { k, spanMm: _, ...gear } of spurs) {
      expect(teethToSpan(gear.teeth)).toBe(k);
      for (const teeth of [k - 1, k, k + 1]) expect(spanContact(gear, teeth).onFlank).toBe(true);
    }
    expect(spurs.map(({ k, spanMm: _, ...gear }) => spanContact(gear, k - 2).onFlank)).toEqual([
      true,
      false,
      false,
      false,
    ]);
  });

  it("0.10 mm off the span is 0.106 mm at the pitch line, a fifth of a 48 pitch module", () => {
    const wear = wearFromSpanMm({ asNewMm: 15.485, nowMm: 15.385 });
    expect(wear).toBeCloseTo(0.1064, 4);
    expect(wear / pitch48).toBeCloseTo(0.2, 2);
  });

  it("wear limits of 0.1, 0.2 and 0.3 modules: 0.053, 0.106 and 0.159 mm at 48 pitch (our judgement; plastic drives accept 20 to 30 % of module)", () => {
    const { race, club, stop } = toothWearLimitsMm(pitch48);
    expect([race, club, stop].map((limit) => limit.toFixed(3))).toEqual(["0.053", "0.106", "0.159"]);
  });
});

describe("gears", () => {
  it("48 pitch is module 0.529167, and module 0.6 is 42.333 pitch (definition; magazine column on metric mesh, November 2017)", () => {
    expect(Math.abs(pitch48 - 0.529167)).toBeLessThan(1e-6);
    expect(Math.abs(pitchFromModule(0.6) - 42.333)).toBeLessThan(0.001);
  });

  it("0.8 and 32 pitch mesh nearly, 0.5 and 48 pitch do not (owners' practice; the 1 % bound is ours)", () => {
    expect(pitchMatch(0.8, moduleFromPitch(32))).toBe("near");
    expect(pitchMatch(0.4, moduleFromPitch(64))).toBe("near");
    expect(pitchMatch(0.5, pitch48)).toBe("no");
    expect(pitchMatch(0.6, pitch48)).toBe("no");
    expect(pitchMatch(pitch48, 25.4 / 48)).toBe("same");
  });

  it("module 10, 12 teeth, shift 0.3, tip 13: arc 17.8918, chord 17.8256, height 13.6657 (Elements of Metric Gear Technology, table 10-1)", () => {
    const tooth = toothThicknessMm({ moduleMm: 10, teeth: 12, profileShift: 0.3 }, 13);
    expect(Math.abs(tooth.arc - 17.8918)).toBeLessThan(1e-4);
    expect(Math.abs(tooth.halfAngleDegrees - 8.5427)).toBeLessThan(1e-4);
    expect(Math.abs(tooth.chord - 17.8256)).toBeLessThan(1e-4);
    expect(Math.abs(tooth.tipAboveChord - 13.6657)).toBeLessThan(1e-4);
    // Without a tip height: one module and the shift, the 13 mm of the table.
    expect(toothThicknessMm({ moduleMm: 10, teeth: 12, profileShift: 0.3 })).toEqual(tooth);
  });

  it("48 pitch, 87 teeth: pitch 46.038, outside 47.096, root 44.715 mm, and 30.427 mm to a 28 pinion (definitions)", () => {
    const { pitch, outside, root } = gearDiametersMm({ moduleMm: pitch48, teeth: 87 });
    expect([pitch, outside, root].map((d) => d.toFixed(3))).toEqual(["46.038", "47.096", "44.715"]);
    expect(centreDistanceMm(pitch48, 87, 28)).toBeCloseTo(30.427, 3);
  });

  it("0.05 mm of centre shift gives 0.0364 mm of play round the circle, 0.0342 mm across the flanks (backlash calculator page: 2 Δa tan α)", () => {
    const { circumferential, normal } = backlashMm(0.05);
    expect(Math.abs(circumferential - 0.0364)).toBeLessThan(1e-4);
    expect(Math.abs(normal - 0.0342)).toBeLessThan(1e-4);
    expect(backlashMm(0.05, { spanLossMm: 0.1 }).normal).toBeCloseTo(0.1342, 4);
  });

  it("spur 96, pinion 30, internal 2.25 is 7.20 to 1 (public forum worked example)", () => {
    expect(finalDriveRatio({ spurTeeth: 96, pinionTeeth: 30, internalRatio: 2.25 })).toBeCloseTo(7.2, 10);
  });

  it("a 1.8 in tyre at 3.2 to 1 rolls out 1.767 in, 63.5 mm at 6.214 to 1 rolls out 32.102 mm (public forum worked example; second by hand)", () => {
    expect(Math.abs(rollout(1.8, 3.2) - 1.767)).toBeLessThan(0.0005);
    expect(Math.abs(rollout(63.5, 6.214286) - 32.102)).toBeLessThan(0.001);
    expect(speedKmh(14_000, rollout(63.5, 6.214286))).toBeCloseTo(27, 1);
  });

  it("a rubber tyre worn to 61.9 mm is less than a tooth of 28; foam worn to 55.5 mm asks for 30 (by hand)", () => {
    const rubber = gearingForWornTyre({ newDiameterMm: 63.5, wornDiameterMm: 61.9, pinionTeeth: 28 });
    expect(rubber.rolloutLost).toBeCloseTo(0.0252, 4);
    expect(rubber.exactPinion - 28).toBeLessThan(1);
    const foam = gearingForWornTyre({ newDiameterMm: 60, wornDiameterMm: 55.5, pinionTeeth: 28 });
    expect(foam).toMatchObject({ pinionTeeth: 30, rolloutLost: expect.closeTo(0.075, 12) });
    expect(gearingForWornTyre({ newDiameterMm: 60, wornDiameterMm: 60, pinionTeeth: 28 }).pinionTeeth).toBe(
      28,
    );
  });

  it("impossible gears, tyres and ratios are refused", () => {
    expect(() => moduleFromPitch(0)).toThrow(DomainError);
    expect(() => asNewSpanMm({ moduleMm: 1, teeth: 20.5 }, 3)).toThrow(/whole number of teeth/);
    expect(() => asNewSpanMm({ moduleMm: 1, teeth: 20, pressureAngleDegrees: 90 }, 3)).toThrow(
      /pressure angle/,
    );
    expect(() => finalDriveRatio({ spurTeeth: 90, pinionTeeth: 0, internalRatio: 2 })).toThrow(/pinion/);
    expect(() => gearingForWornTyre({ newDiameterMm: 60, wornDiameterMm: 61, pinionTeeth: 28 })).toThrow(
      /larger/,
    );
    expect(() => backlashMm(-0.1)).toThrow(/must not be negative/);
  });
});

describe("pack", () => {
  it("14.8 V at 5 A and 13.7 V at 85 A are 13.75 milliohms (public forum worked example)", () => {
    expect(resistanceFromStepOhms({ volts: 14.8, amps: 5 }, { volts: 13.7, amps: 85 })).toBeCloseTo(
      0.01375,
      6,
    );
    expect(() => resistanceFromStepOhms({ volts: 7, amps: 5 }, { volts: 7.1, amps: 20 })).toThrow(
      DomainError,
    );
  });

  it("5500 mAh at 1C is 5.5 A (national association, beginners' article)", () => {
    expect(chargeCurrentAmps(5500, 1)).toBeCloseTo(5.5, 9);
    expect(() => chargeCurrentAmps(0, 1)).toThrow(/above zero/);
  });
});
