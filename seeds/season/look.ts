import type { Measure } from "../../src/domain/kind.ts";
import type { Finding, ServiceWord } from "../../src/domain/piece.ts";
import { questionReading } from "../../src/domain/question-reading.ts";
import type { InspectionEvent, ReadingTruth } from "../events.ts";
import type { Chance } from "./chance.ts";
import { allowance, type LivePiece, share, trueSize } from "./live-piece.ts";
import { ways } from "./ways.ts";

const gradingError = 0.1;
const blunderShare = 0.015;
const unsureShare = 0.2;
const nearlyWorn = 0.7;
/** Wear by grade, as a share of life: 0 below 0.10, 1 below 0.40, 2 below 0.75, 3 below 1, else 4. */
const gradeEnds = [0.1, 0.4, 0.75, 1];

/** The grade that an eye gives to a true share of life. */
export function gradeSeen(trueShare: number, chance: Chance): { seen: number; grade: number } {
  const seen = trueShare + gradingError * chance.normal();
  return { seen, grade: gradeEnds.filter((end) => seen >= end).length };
}

const onScale = (value: number, resolution: number) =>
  Number(Math.max(0, Math.round(value / resolution) * resolution).toFixed(6));

export interface Look {
  event: InspectionEvent;
  truth: ReadingTruth | null;
  /** worn to its limit, as far as this look tells */
  worn: boolean;
}

/** What a slip makes of a reading; null where this kind of part offers none. `other` is the size of another corner. */
function slip(piece: LivePiece, measure: Measure, honest: number, other: number | null, chance: Chance) {
  const resolution = measure.instruments[0]!.resolution;
  if (other !== null && chance.happens(0.6)) return onScale(other, resolution);
  const step = measure.miscountStep;
  if (step !== null && step !== undefined) {
    // The base pitch goes with the module: 0.6 against 25.4 / 48 where the kind states the other.
    const pitch = piece.line.name.includes("module 0.6") ? Math.PI * 0.6 * Math.cos(Math.PI / 9) : step;
    return onScale(honest + chance.pick([-1, 1]) * pitch, 0.01);
  }
  return measure.unit === "mm" && measure.direction === "falls" ? onScale(honest / 25.4, 0.001) : null;
}

/** One look at a piece after the day's running, or on the day of fitting. */
export function lookAt(
  piece: LivePiece,
  at: string,
  chance: Chance,
  { other = null, meshReset = false }: { other?: number | null; meshReset?: boolean } = {},
): Look {
  const { kind, driver, mark } = piece;
  const { measure } = kind;
  const trueShare = share(piece);
  const { seen, grade } = gradeSeen(trueShare, chance);
  const graded = measure === null || (/^SPR/.test(kind.code) && chance.happens(0.4));
  const event: InspectionEvent = {
    type: "inspection",
    at,
    driver: driver.key,
    piece: mark,
    readings: [],
    grade: graded ? grade : null,
    findings: findingsAt(piece, trueShare, chance),
    services: servicesDone(piece, meshReset),
    confirmed: false,
  };
  if (event.findings.includes("glue-lifting")) event.services.push("re-glued");
  let worn = graded && grade >= driver.habits.changesAtGrade;
  if (measure === null) piece.seenShare = seen;
  if (measure === null) return { event, truth: null, worn };

  const careful = driver.habits.care >= 0.95 && /^SPR/.test(kind.code);
  const instrument = measure.instruments[careful ? 1 : 0]!;
  const { repeatabilitySd: sd, resolution } = instrument;
  const trueValue = trueSize(piece);
  const honest = onScale(trueValue + sd * chance.normal(), resolution);
  const wrong = chance.happens(blunderShare) ? slip(piece, measure, honest, other, chance) : null;
  const value = wrong ?? honest;
  event.readings.push({ value, unit: measure.unit, instrument: instrument.name });
  event.confirmed = isQuestioned(piece, measure, { value, sd });
  piece.logged.push({ at, value, sd });
  piece.usageSinceReading = 0;
  // Whoever wrote down a slip has still seen the part.
  const before = piece.seenShare;
  piece.seenShare = shareRead(piece, honest);
  // Where one reading errs by a fifth of the allowance, nobody throws a part away on a single one.
  const sure = sd < unsureShare * allowance(piece) || before >= nearlyWorn;
  worn ||= piece.seenShare >= 1 && sure;
  const truth = { driver: driver.key, piece: mark, at, value, trueValue, sd, resolution };
  return { event, truth: { ...truth, blunder: wrong !== null }, worn };
}

/** The share of the allowance that a reading tells, counted from the first reading, or the catalogue if part-worn. */
function shareRead(piece: LivePiece, value: number): number {
  const { kind, line } = piece;
  const { basis, club } = kind.limits!;
  const catalogue = line.asNew ?? kind.measure!.asNew;
  if (basis === "size") return (catalogue - value) / (catalogue - club);
  const first = piece.priorUsage === null ? (piece.logged[0]?.value ?? catalogue) : catalogue;
  return Math.abs(value - first) / club;
}

/** Would a careful check at entry question it? The same question as the service asks. */
function isQuestioned(piece: LivePiece, measure: Measure, { value, sd }: { value: number; sd: number }) {
  const { kind, line, logged } = piece;
  const earlier = logged.slice(-4).map((reading) => ({ value: reading.value, sd: reading.sd }));
  if (earlier.length === 0 && line.asNew !== null)
    earlier.push({ value: line.asNew, sd: Math.max(measure.asNewSd, sd) });
  const used = piece.usageSinceReading + (logged.length === 0 ? (piece.priorUsage ?? 0) : 0);
  const fastest = Math.max(1, ...Object.values(kind.surfaces));
  // Four times the usual fast end is believed, and a quarter of the allowance at any time.
  const plausibleWear = Math.max(0.25, (4 * fastest * used) / kind.usualLife.p10) * allowance(piece);
  return questionReading({ value, sd, measure, earlier, plausibleWear }).length > 0;
}

function findingsAt({ kind }: LivePiece, trueShare: number, chance: Chance): Finding[] {
  const { worn } = ways[kind.code]!;
  const found: Finding[] = worn !== null && trueShare > 0.75 && chance.happens(0.6) ? [worn] : [];
  if (kind.code.startsWith("TYR") && chance.happens(0.02)) found.push("glue-lifting");
  return found;
}

function servicesDone({ kind, driver }: LivePiece, meshReset: boolean): ServiceWord[] {
  if (kind.usedBy === "pack") return ["storage-charged"];
  const done: ServiceWord[] = meshReset && /^SPR/.test(kind.code) ? ["mesh-reset"] : [];
  if (!driver.habits.cleans) return done;
  if (kind.code.startsWith("TYR")) done.push("cleaned");
  if (/^B(RG|SH)/.test(kind.code)) done.push("oiled");
  if (kind.code === "SPR-06") done.push("greased");
  return done;
}
