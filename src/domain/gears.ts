/**
 * Gear and tyre arithmetic of a car: pitch systems, the span over teeth and the wear read from it, backlash,
 * final drive ratio and rollout. Lengths in millimetres, angles in degrees. Involute spur gears; moulded ones
 * are often profile-shifted or cut at another angle, so a new gear's own reading beats the computed one.
 */
import { DomainError } from "./errors.ts";

export const MILLIMETRES_PER_INCH = 25.4;
/** Unless the maker says otherwise. */
export const USUAL_PRESSURE_ANGLE = 20;

export interface GearCut {
  moduleMm: number;
  teeth: number;
  /** 20 if absent */
  pressureAngleDegrees?: number;
  /** in modules; 0 if absent */
  profileShift?: number;
}

const radians = (degrees: number): number => (degrees * Math.PI) / 180;

/** The involute function tan α - α of an angle in radians. */
const involute = (angle: number): number => Math.tan(angle) - angle;

function needPositive(what: string, value: number): void {
  if (!(value > 0 && value < Infinity)) throw new DomainError("inconsistent", `${what} must be above zero`);
}

function needTeeth(what: string, teeth: number): void {
  if (!(Number.isInteger(teeth) && teeth >= 1)) {
    throw new DomainError("inconsistent", `${what} must be a whole number of teeth, at least 1`);
  }
}

/** The cut with its defaults filled in and its angle in radians. */
function checkedCut({
  moduleMm,
  teeth,
  pressureAngleDegrees = USUAL_PRESSURE_ANGLE,
  profileShift = 0,
}: GearCut) {
  needPositive("The module", moduleMm);
  needTeeth("A gear", teeth);
  if (!(pressureAngleDegrees > 0 && pressureAngleDegrees < 45)) {
    throw new DomainError("inconsistent", "The pressure angle must lie between 0 and 45 degrees");
  }
  if (!Number.isFinite(profileShift))
    throw new DomainError("inconsistent", "The profile shift must be a number");
  return { moduleMm, teeth, angle: radians(pressureAngleDegrees), profileShift };
}

/**
 * Module of a gear cut by diametral pitch, 25.4 / pitch.
 *
 * @param diametralPitch teeth per inch of pitch diameter, > 0
 * @throws {DomainError} `inconsistent` if the pitch is not > 0
 */
export function moduleFromPitch(diametralPitch: number): number {
  needPositive("The diametral pitch", diametralPitch);
  return MILLIMETRES_PER_INCH / diametralPitch;
}

/**
 * Diametral pitch of a gear cut by module, 25.4 / module.
 *
 * @throws {DomainError} `inconsistent` if the module is not > 0
 */
export function pitchFromModule(moduleMm: number): number {
  needPositive("The module", moduleMm);
  return MILLIMETRES_PER_INCH / moduleMm;
}

/** Relative difference of two modules up to which owners interchange gears, as 0.8 and 32 pitch (0.8 %). */
const NEAR_PITCH = 0.01;
const SAME_PITCH = 1e-4;

/**
 * Whether two gears mesh by their pitch: `same`, `near` (differs by under 1 %: runs, noisily; warn) or `no`.
 *
 * @throws {DomainError} `inconsistent` if a module is not > 0
 */
export function pitchMatch(oneModuleMm: number, otherModuleMm: number): "same" | "near" | "no" {
  needPositive("The module", oneModuleMm);
  needPositive("The module", otherModuleMm);
  const difference = Math.abs(oneModuleMm - otherModuleMm) / Math.min(oneModuleMm, otherModuleMm);
  if (difference <= SAME_PITCH) return "same";
  return difference <= NEAR_PITCH ? "near" : "no";
}

/**
 * Span over k teeth of an unworn involute gear: m cos α (π (k - 1/2) + z inv α) + 2 x m sin α.
 *
 * @param teethSpanned k, a whole number of at least 1
 * @throws {DomainError} `inconsistent` if the gear or k is impossible
 */
export function asNewSpanMm(gear: GearCut, teethSpanned: number): number {
  const { moduleMm, teeth, angle, profileShift } = checkedCut(gear);
  needTeeth("The span", teethSpanned);
  const unshifted = Math.cos(angle) * (Math.PI * (teethSpanned - 0.5) + teeth * involute(angle));
  return moduleMm * (unshifted + 2 * profileShift * Math.sin(angle));
}

/**
 * Number of teeth to span so that the jaws touch near mid-flank: z α / 180° + 1/2, rounded (a half downwards).
 *
 * @throws {DomainError} `inconsistent` if the gear is impossible
 */
export function teethToSpan(teeth: number, pressureAngleDegrees = USUAL_PRESSURE_ANGLE): number {
  checkedCut({ moduleMm: 1, teeth, pressureAngleDegrees });
  return Math.ceil((teeth * pressureAngleDegrees) / 180);
}

/**
 * Refuses a span that no calliper can take, or that is not of this gear: jaws that do not meet both flanks, a tooth that
 * has swollen, or one of which more than half is gone. A wrong number of teeth is the usual reason.
 *
 * @param spans the span when new, over so many teeth, and the one measured, millimetres
 * @throws {DomainError} `inconsistent`
 */
export function requireSpanOf(
  gear: GearCut,
  teethSpanned: number,
  spans: { newMm: number; measuredMm: number | undefined },
): void {
  const { outside, root } = gearDiametersMm(gear);
  const { diameterMm } = spanContact(gear, teethSpanned);
  const usual = teethToSpan(gear.teeth, gear.pressureAngleDegrees);
  if (diameterMm >= outside || diameterMm <= root)
    throw new DomainError(
      "inconsistent",
      `Over ${teethSpanned} of ${gear.teeth} teeth the jaws do not touch the flanks; span ${usual}`,
    );
  if (spans.measuredMm === undefined) return;
  const thinning = wearFromSpanMm(
    { asNewMm: spans.newMm, nowMm: spans.measuredMm },
    gear.pressureAngleDegrees,
  );
  const { arc } = toothThicknessMm(gear);
  if (thinning < -0.25 * gear.moduleMm || thinning > 0.5 * arc)
    throw new DomainError(
      "inconsistent",
      `A span of ${spans.measuredMm} mm cannot be that of this gear over ${teethSpanned} teeth, which is ${spans.newMm.toFixed(3)} mm when new: are the teeth counted right, and the module?`,
    );
}

/** Pitch, outside, root and base diameter; addendum 1 module, dedendum 1.25 modules. */
export function gearDiametersMm(gear: GearCut): {
  pitch: number;
  outside: number;
  root: number;
  base: number;
} {
  const { moduleMm, teeth, angle, profileShift } = checkedCut(gear);
  const pitch = moduleMm * teeth;
  return {
    pitch,
    outside: pitch + 2 * moduleMm * (1 + profileShift),
    root: pitch - 2 * moduleMm * (1.25 - profileShift),
    base: pitch * Math.cos(angle),
  };
}

/**
 * Where the jaws touch: the diameter √(base² + span²), and whether it lies on the flank, a quarter of a module
 * or more inside tip and root.
 *
 * @throws {DomainError} `inconsistent` if the gear or k is impossible
 */
export function spanContact(gear: GearCut, teethSpanned: number): { diameterMm: number; onFlank: boolean } {
  const { outside, root, base } = gearDiametersMm(gear);
  const diameterMm = Math.hypot(base, asNewSpanMm(gear, teethSpanned));
  // A quarter of a module in radius is half a module in diameter.
  const margin = 0.5 * gear.moduleMm;
  return {
    diameterMm,
    onFlank: diameterMm >= Math.max(root, base) + margin && diameterMm <= outside - margin,
  };
}

/**
 * Thickness of one unworn tooth: along the pitch circle, as the chord that a tooth calliper reads, and the height
 * of the tip above that chord.
 *
 * @param tipHeightMm height of the tip above the pitch circle; 1 module + shift if absent
 * @throws {DomainError} `inconsistent` if the gear is impossible
 */
export function toothThicknessMm(
  gear: GearCut,
  tipHeightMm?: number,
): { arc: number; chord: number; tipAboveChord: number; halfAngleDegrees: number } {
  const { moduleMm, teeth, angle, profileShift } = checkedCut(gear);
  const arc = moduleMm * (Math.PI / 2 + 2 * profileShift * Math.tan(angle));
  const diameter = moduleMm * teeth;
  const halfAngle = arc / diameter;
  return {
    arc,
    chord: diameter * Math.sin(halfAngle),
    tipAboveChord:
      (diameter / 2) * (1 - Math.cos(halfAngle)) + (tipHeightMm ?? moduleMm * (1 + profileShift)),
    halfAngleDegrees: (halfAngle * 180) / Math.PI,
  };
}

/**
 * Tooth thickness lost at the pitch line, from the span at fitting and now over the same teeth:
 * (as new - now) / cos α. Negative if the span has grown, which a reading error can do.
 *
 * @throws {DomainError} `inconsistent` if a span is not > 0 or the angle is impossible
 */
export function wearFromSpanMm(
  { asNewMm, nowMm }: { asNewMm: number; nowMm: number },
  pressureAngleDegrees = USUAL_PRESSURE_ANGLE,
): number {
  needPositive("The span", asNewMm);
  needPositive("The span", nowMm);
  const { angle } = checkedCut({ moduleMm: 1, teeth: 1, pressureAngleDegrees });
  return (asNewMm - nowMm) / Math.cos(angle);
}

/**
 * Tooth wear at the pitch line at which a gear is slower than new, due for change, and not to be run:
 * 0.1, 0.2 and 0.3 modules.
 *
 * @throws {DomainError} `inconsistent` if the module is not > 0
 */
export function toothWearLimitsMm(moduleMm: number): { race: number; club: number; stop: number } {
  needPositive("The module", moduleMm);
  return { race: 0.1 * moduleMm, club: 0.2 * moduleMm, stop: 0.3 * moduleMm };
}

/**
 * Play that opening the centre distance gives: 2 Δa tan α round the pitch circle, 2 Δa sin α square to the
 * flanks. Wear adds the two gears' span losses to the latter.
 *
 * @param centreShiftMm how far the shafts are moved apart from the mesh without play, >= 0
 * @param spanLossMm sum of the two gears' losses of span, 0 if absent
 * @throws {DomainError} `inconsistent` if a length is negative or the angle is impossible
 */
export function backlashMm(
  centreShiftMm: number,
  { pressureAngleDegrees = USUAL_PRESSURE_ANGLE, spanLossMm = 0 } = {},
): { circumferential: number; normal: number } {
  if (!(centreShiftMm >= 0 && spanLossMm >= 0)) {
    throw new DomainError(
      "inconsistent",
      "The shift of the centres and the loss of span must not be negative",
    );
  }
  const { angle } = checkedCut({ moduleMm: 1, teeth: 1, pressureAngleDegrees });
  const normal = 2 * centreShiftMm * Math.sin(angle) + spanLossMm;
  return { circumferential: normal / Math.cos(angle), normal };
}

/**
 * Distance of two shafts whose gears mesh without play, m (z₁ + z₂) / 2, unshifted.
 *
 * @throws {DomainError} `inconsistent` if the gears are impossible
 */
export function centreDistanceMm(moduleMm: number, oneTeeth: number, otherTeeth: number): number {
  needPositive("The module", moduleMm);
  needTeeth("A gear", oneTeeth);
  needTeeth("A gear", otherTeeth);
  return (moduleMm * (oneTeeth + otherTeeth)) / 2;
}

/**
 * Motor turns for one turn of the wheels: spur / pinion × internal ratio.
 *
 * @throws {DomainError} `inconsistent` if a gear or the ratio is impossible
 */
export function finalDriveRatio(drive: {
  spurTeeth: number;
  pinionTeeth: number;
  internalRatio: number;
}): number {
  needTeeth("The spur", drive.spurTeeth);
  needTeeth("The pinion", drive.pinionTeeth);
  needPositive("The internal ratio", drive.internalRatio);
  return (drive.spurTeeth / drive.pinionTeeth) * drive.internalRatio;
}

/**
 * Distance the car moves in one turn of the motor, π D / final drive ratio, in the unit of the diameter.
 *
 * @throws {DomainError} `inconsistent` if the diameter or the ratio is not > 0
 */
export function rollout(tyreDiameter: number, ratio: number): number {
  needPositive("The tyre's diameter", tyreDiameter);
  needPositive("The final drive ratio", ratio);
  return (Math.PI * tyreDiameter) / ratio;
}

/**
 * Speed without slip, in km/h.
 *
 * @throws {DomainError} `inconsistent` if the motor speed or the rollout is not > 0
 */
export function speedKmh(motorRpm: number, rolloutMm: number): number {
  needPositive("The motor speed", motorRpm);
  needPositive("The rollout", rolloutMm);
  return (motorRpm * rolloutMm * 60) / 1e6;
}

/**
 * What a worn tyre does to the gearing: the share of rollout lost, the pinion that would restore it exactly, and
 * the nearest that exists. A tyre that lost less than half a tooth's worth is best left alone.
 *
 * @throws {DomainError} `inconsistent` if a diameter or the pinion is impossible, or the tyre has grown
 */
export function gearingForWornTyre(tyre: {
  newDiameterMm: number;
  wornDiameterMm: number;
  pinionTeeth: number;
}): {
  rolloutLost: number;
  exactPinion: number;
  pinionTeeth: number;
} {
  const { newDiameterMm, wornDiameterMm, pinionTeeth } = tyre;
  needPositive("The tyre's diameter", newDiameterMm);
  needPositive("The tyre's diameter", wornDiameterMm);
  needTeeth("The pinion", pinionTeeth);
  if (wornDiameterMm > newDiameterMm)
    throw new DomainError("inconsistent", "A worn tyre cannot be larger than new");
  const exactPinion = (pinionTeeth * newDiameterMm) / wornDiameterMm;
  return {
    rolloutLost: 1 - wornDiameterMm / newDiameterMm,
    exactPinion,
    pinionTeeth: Math.round(exactPinion),
  };
}
