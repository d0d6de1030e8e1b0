import type { Surface } from "../../src/domain/kind.ts";
import type { ConditionWord } from "../../src/domain/piece.ts";
import { runUsage } from "../../src/domain/usage.ts";
import type { SeedKind } from "../index.ts";
import type { ScenarioDriver, ScenarioLine } from "../quillbrook.ts";
import type { Chance } from "./chance.ts";
import {
  breakageOn,
  breakagePastLimit,
  type Corner,
  conditionFactor,
  cornerWear,
  packCycleSpread,
  packFadePerYear,
  ways,
} from "./ways.ts";

/** A piece as it truly is, which no driver sees. */
export interface LivePiece {
  driver: ScenarioDriver;
  car: string;
  mark: string;
  kind: SeedKind;
  line: ScenarioLine;
  corner: Corner | null;
  /** its own size when new, and the factor on its wear rate; a mate or a habit that wears it faster */
  asNew: number;
  itemFactor: number;
  duty: number;
  usage: number;
  wear: number;
  /** when its days were last counted */
  daysUntil: number;
  /** what was logged of it, for judging the next reading; the first tells from what it has worn */
  logged: { at: string; value: number; sd: number }[];
  priorUsage: number | null;
  /** runs since a reading, in the unit of its clock, as logged */
  usageSinceReading: number;
  /** the share of its allowance at the last look, as seen */
  seenShare: number;
}

/** The outing that wears it. */
export interface Outing {
  minutes: number;
  loggedMinutes: number;
  surface: Surface;
  conditions: readonly ConditionWord[];
  direction: "clockwise" | "anticlockwise";
}

const msPerDay = 86_400_000;
const daysPerYear = 365.25;

export function newPiece(
  given: Pick<LivePiece, "driver" | "car" | "mark" | "kind" | "line" | "corner" | "duty">,
  at: number,
  chance: Chance,
): LivePiece {
  const { kind, line } = given;
  const { measure } = kind;
  const size = measure === null ? 0 : (line.asNew ?? measure.asNew) + measure.asNewSd * chance.normal();
  return {
    ...given,
    // Play cannot be less than none.
    asNew: measure === null ? 0 : Math.max(0.2 * measure.asNew, size),
    itemFactor: chance.factor(kind.code === "LIP-CAP" ? packCycleSpread : kind.pieceSpread),
    usage: 0,
    wear: 0,
    daysUntil: at,
    logged: [],
    priorUsage: null,
    usageSinceReading: 0,
    seenShare: 0,
  };
}

/** Wear at which the club limit is reached, for a piece that was new at `asNew`. */
export function allowance({ kind, asNew }: Pick<LivePiece, "kind" | "asNew">): number {
  if (kind.limits === null) return 1;
  return kind.limits.basis === "loss" ? kind.limits.club : Math.abs(asNew - kind.limits.club);
}

export const share = (piece: LivePiece): number => piece.wear / allowance(piece);

/** Wear for one unit of its clock on the surface of multiplier 1. */
export const trueRate = ({ kind, itemFactor, duty, driver }: LivePiece): number =>
  ways[kind.code]!.rate * itemFactor * duty * driver.habits.wearMultiplier;

export function trueSize({ kind, asNew, wear }: LivePiece): number {
  return kind.measure?.direction === "falls" ? asNew - wear : asNew + wear;
}

/** Makes it part-worn: `used` is what it has run, on its home surface. */
export function wearIn(piece: LivePiece, used: number, homeSurface: Surface): void {
  const rate = trueRate(piece) * (piece.kind.surfaces[homeSurface] ?? 1);
  const most = (0.85 * allowance(piece)) / rate;
  piece.usage = Math.min(used, most);
  piece.wear = piece.usage * rate;
  // A pack does about thirty cycles a year.
  if (piece.kind.code === "LIP-CAP") piece.wear += (piece.usage / 30) * packFadePerYear;
}

/** Days age what they age. */
export function passDays(piece: LivePiece, until: number): void {
  const days = Math.max(0, (until - piece.daysUntil) / msPerDay);
  piece.daysUntil = Math.max(until, piece.daysUntil);
  if (piece.kind.code === "LIP-CAP") piece.wear += (packFadePerYear * days) / daysPerYear;
  if (piece.kind.clock !== "days") return;
  piece.usage += days;
  piece.wear += days * trueRate(piece);
}

/** One run: first the wear, then perhaps the accident. @returns whether it broke */
export function goOut(piece: LivePiece, outing: Outing, chance: Chance): boolean {
  const { kind, driver, corner } = piece;
  const { surface, conditions } = outing;
  if (kind.clock !== "days") {
    const used = runUsage(kind.clock, { minutes: outing.minutes, knocks: 0 });
    piece.usage += used;
    piece.usageSinceReading += runUsage(kind.clock, { minutes: outing.loggedMinutes, knocks: 0 });
    piece.wear +=
      used *
      trueRate(piece) *
      (kind.surfaces[surface] ?? 1) *
      conditionFactor(kind.code, conditions) *
      (corner === null ? 1 : cornerWear[outing.direction][corner]) *
      chance.factor(kind.runSpread);
  }
  const risk = kind.breakagePerRun * driver.habits.breakageMultiplier * breakageOn[surface];
  return chance.happens(risk * (share(piece) > 1 ? breakagePastLimit : 1));
}
