import {
  asNewSpanMm,
  finalDriveRatio,
  type GearCut,
  gearingForWornTyre,
  moduleFromPitch,
  pitchFromModule,
  requireSpanOf,
  rollout,
  spanContact,
  teethToSpan,
  toothThicknessMm,
  toothWearLimitsMm,
  wearFromSpanMm,
} from "../domain/gears.ts";
import { asked } from "./ask-statistics.ts";

export interface SpanQuestion {
  moduleMm?: number | undefined;
  diametralPitch?: number | undefined;
  teeth: number;
  pressureAngleDegrees?: number | undefined;
  profileShift?: number | undefined;
  teethSpanned?: number | undefined;
  newSpanMm?: number | undefined;
  measuredSpanMm?: number | undefined;
}

/**
 * The span of a gear as new, and the tooth wear that a measured span means. A gear's own span when new goes before the
 * computed one: moulded gears are often shifted.
 *
 * @throws {DomainError} `inconsistent` if no such gear can be
 */
export function calculateGearSpan(question: SpanQuestion) {
  const { teeth, pressureAngleDegrees = 20, profileShift = 0, newSpanMm, measuredSpanMm } = question;
  const moduleMm =
    question.moduleMm ?? asked("#/diametralPitch", () => moduleFromPitch(question.diametralPitch!));
  const gear: GearCut = { moduleMm, teeth, pressureAngleDegrees, profileShift };
  const teethSpanned =
    question.teethSpanned ?? asked("#/teeth", () => teethToSpan(teeth, pressureAngleDegrees));
  return asked("#/teethSpanned", () => {
    const asNewSpan = asNewSpanMm(gear, teethSpanned);
    const { diameterMm, onFlank } = spanContact(gear, teethSpanned);
    requireSpanOf(gear, teethSpanned, { newMm: newSpanMm ?? asNewSpan, measuredMm: measuredSpanMm });
    const { arc, chord } = toothThicknessMm(gear);
    return {
      moduleMm,
      diametralPitch: pitchFromModule(moduleMm),
      teethSpanned,
      asNewSpanMm: asNewSpan,
      contactDiameterMm: diameterMm,
      onFlank,
      toothThicknessMm: arc,
      toothChordMm: chord,
      wear:
        measuredSpanMm === undefined
          ? null
          : spanWear(newSpanMm ?? asNewSpan, measuredSpanMm, moduleMm, pressureAngleDegrees),
    };
  });
}

function spanWear(newSpanMm: number, measuredSpanMm: number, moduleMm: number, pressureAngleDegrees: number) {
  const thinningMm = wearFromSpanMm({ asNewMm: newSpanMm, nowMm: measuredSpanMm }, pressureAngleDegrees);
  const { race, club, stop } = toothWearLimitsMm(moduleMm);
  return {
    spanLossMm: newSpanMm - measuredSpanMm,
    toothThinningMm: thinningMm,
    shareOfClubLimit: thinningMm / club,
    limits: { raceMm: race, clubMm: club, stopMm: stop },
  };
}

export interface RolloutQuestion {
  spurTeeth: number;
  pinionTeeth: number;
  internalRatio: number;
  tyreDiameterMm: number;
  wornTyreDiameterMm?: number | undefined;
}

/**
 * Final drive ratio and rollout, and what a worn tyre makes of them.
 *
 * @throws {DomainError} `inconsistent` if the drive or the tyre cannot be
 */
export function calculateRollout(question: RolloutQuestion) {
  const { tyreDiameterMm, wornTyreDiameterMm, pinionTeeth } = question;
  const ratio = asked("#/internalRatio", () => finalDriveRatio(question));
  const rolloutMm = asked("#/tyreDiameterMm", () => rollout(tyreDiameterMm, ratio));
  if (wornTyreDiameterMm === undefined) return { finalDriveRatio: ratio, rolloutMm, wornTyre: null };
  const wornTyre = asked("#/wornTyreDiameterMm", () => {
    const gearing = gearingForWornTyre({
      newDiameterMm: tyreDiameterMm,
      wornDiameterMm: wornTyreDiameterMm,
      pinionTeeth,
    });
    return {
      rolloutMm: rollout(wornTyreDiameterMm, ratio),
      rolloutLost: gearing.rolloutLost,
      exactPinionTeeth: gearing.exactPinion,
      pinionTeeth: gearing.pinionTeeth,
    };
  });
  return { finalDriveRatio: ratio, rolloutMm, wornTyre };
}
