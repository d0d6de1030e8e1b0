import type { BreakageEvidence } from "../../src/domain/breakage.ts";
import { type LineWorld, piecesNeeded, tabulated, type WornBy } from "../../src/domain/demand.ts";
import { targetPlan } from "../../src/domain/budget.ts";
import { restockDecision } from "../../src/domain/restock.ts";
import {
  createRandom,
  fitWearLine,
  forecastNewPiece,
  forecastWear,
  pmfCdf,
  pmfMean,
  type Random,
  splitFit,
  type WearForecast,
  type WearLineFit,
  type WearPiece,
  type WearPrior,
} from "../../src/stats/index.ts";

/**
 * A made-up club whose seasons are run by the tool's own lists. How fast each line wears and how often it breaks is drawn
 * anew for each club, from what the trade believes; the tool is told the belief and the log, and never the truth.
 */

export interface MadeLine {
  name: string;
  /** believed life of a new piece, 10-90 %, minutes */
  life: { p10: number; p90: number };
  pieceSpread: number;
  /** believed breakages per run */
  breakagePerRun: number;
  /** pieces changed together */
  size: number;
  priceMinorUnits: number;
}

export const lines: readonly MadeLine[] = [
  {
    name: "spur",
    life: { p10: 300, p90: 800 },
    pieceSpread: 0.25,
    breakagePerRun: 0.004,
    size: 1,
    priceMinorUnits: 900,
  },
  {
    name: "tyres",
    life: { p10: 110, p90: 260 },
    pieceSpread: 0.2,
    breakagePerRun: 0.0005,
    size: 2,
    priceMinorUnits: 1400,
  },
  {
    name: "arm",
    life: { p10: 600, p90: 2200 },
    pieceSpread: 0.4,
    breakagePerRun: 0.012,
    size: 1,
    priceMinorUnits: 2200,
  },
];

const cars = 6;
const runsPerMeeting = 6;
const minutesPerRun = 5.5;
/** A season behind, in which nobody asked for a list; then two halves ahead, each with a list before it. */
const meetingsBehind = 10;
const meetingsInHalf = 6;
const readEvery = 3;
const runSpread = 0.3;
const readingSd = 0.06;
const strata = 6;

/** One half of a season of one line: what the tool said and did, and what came of it. */
export interface Half {
  line: number;
  needed: number;
  /** pieces there before, what the list added, and the chance it stated */
  onHand: number;
  bought: number;
  stated: number;
  /** pieces expected to be needed, as the tool saw it */
  expected: number;
  /** pieces used in the season behind */
  usedBefore: number;
}

interface Piece {
  id: string;
  rate: number;
  wear: number;
  minutes: number;
  runs: number;
  seen: WearPiece["observations"];
}

/** A line of one club as it truly is, and its log. */
class TrueLine {
  readonly made: MadeLine;
  readonly #random: Random;
  readonly #medianRate: number;
  readonly #perRun: number;
  readonly log: Piece[] = [];
  fitted: Piece[][] = [];
  broken = 0;

  constructor(made: MadeLine, random: Random) {
    this.made = made;
    this.#random = random;
    const { p10, p90 } = made.life;
    const total = Math.log(p90 / p10) / (2 * 1.2815515655446004);
    const level = Math.sqrt(Math.max(total ** 2 - made.pieceSpread ** 2, 0.5 * total ** 2));
    this.#medianRate = Math.exp(level * random.normal()) / Math.sqrt(p10 * p90);
    this.#perRun = random.gamma(1) * made.breakagePerRun;
    for (let car = 0; car < cars; car++) this.fitted.push(this.#newSet());
  }

  #newSet(): Piece[] {
    return Array.from({ length: this.made.size }, () => {
      const rate = this.#medianRate * Math.exp(this.made.pieceSpread * this.#random.normal());
      const piece = { id: `p${this.log.length}`, rate, wear: 0, minutes: 0, runs: 0, seen: [] };
      this.log.push(piece);
      return piece;
    });
  }

  /** Drives one meeting and gives the pieces that were needed. A set goes when its first piece is finished. */
  drive(read: boolean): number {
    let needed = 0;
    for (let car = 0; car < cars; car++)
      for (let run = 0; run < runsPerMeeting; run++) {
        let ended = false;
        for (const piece of this.fitted[car]!) {
          const scatter = Math.max(0, 1 + runSpread * this.#random.normal());
          piece.wear += piece.rate * minutesPerRun * scatter;
          piece.minutes += minutesPerRun;
          piece.runs++;
          const broke = this.#random.uniform() < this.#perRun;
          if (broke) this.broken++;
          if (broke || piece.wear >= 1) ended = true;
        }
        if (!ended) continue;
        for (const piece of this.fitted[car]!) this.#look(piece);
        this.fitted[car] = this.#newSet();
        needed += this.made.size;
      }
    if (read) for (const set of this.fitted) for (const piece of set) this.#look(piece);
    return needed;
  }

  #look(piece: Piece): void {
    if (piece.minutes === 0 || piece.seen.at(-1)?.usage === piece.minutes) return;
    piece.seen.push({
      usage: piece.minutes,
      wear: piece.wear + readingSd * this.#random.normal(),
      sd: readingSd,
    });
  }

  breakage(): BreakageEvidence {
    const runs = this.log.reduce((sum, piece) => sum + piece.runs, 0);
    const { breakagePerRun } = this.made;
    return { shape: 1 + this.broken, rate: 1 / breakagePerRun + runs, broken: this.broken, runs };
  }
}

const asWear = ({ id, seen }: Piece): WearPiece => ({ id, limit: 1, observations: seen });
const priorOf = (made: MadeLine): WearPrior => ({
  life: made.life,
  pieceSpread: made.pieceSpread,
  runSpread,
  usagePerRun: minutesPerRun,
  startSd: 0,
  readingSd,
});

const wornBy = (forecast: WearForecast, end: number): WornBy => {
  const past = forecast.pastLimitProbability;
  return tabulated((usage) => (usage <= 0 ? past : past + (1 - past) * forecast.remainingCdf(usage)), end);
};

/** The tool's list for one line: what is needed through the half, from the log alone. */
function needOf(line: TrueLine, fit: WearLineFit): number[] {
  const end = meetingsInHalf * runsPerMeeting * minutesPerRun;
  const worlds = splitFit(fit, strata).map(
    ({ weight, fit }): LineWorld => ({
      weight,
      newWorn: wornBy(forecastNewPiece(fit), end),
      groups: line.fitted.map((set) => ({
        owner: "",
        worn: set.map((piece) => wornBy(forecastWear(fit, asWear(piece), { usage: piece.minutes }), end)),
        usageThrough: [end],
        runs: meetingsInHalf * runsPerMeeting,
      })),
    }),
  );
  return piecesNeeded(worlds, line.breakage())[0]!;
}

/** A list asked for before a half: its target, and whether that is for each line or for the list as a whole. */
export interface AskedTarget {
  value: number;
  covers: "line" | "list";
}

interface Played {
  line: TrueLine;
  made: MadeLine;
  fit: WearLineFit | undefined;
  usedBefore: number;
  onHand: number;
}

/** One club through its season: the lists before both halves, and what was needed. Ordered by line, then by half. */
export function clubSeason(seed: number, target: AskedTarget, made: readonly MadeLine[] = lines): Half[] {
  const played = made.map((kind, index): Played => {
    const line = new TrueLine(kind, createRandom(seed, index));
    let usedBefore = 0;
    for (let m = 1; m <= meetingsBehind; m++) usedBefore += line.drive(m % readEvery === 0);
    return { line, made: kind, fit: undefined, usedBefore, onHand: 0 };
  });
  const halves: Half[][] = played.map(() => []);
  for (let half = 0; half < 2; half++) {
    const needs = played.map((one) => {
      const pieces = one.line.log.filter((piece) => piece.seen.length > 0).map(asWear);
      const start = one.fit === undefined ? {} : { start: one.fit };
      one.fit = fitWearLine({ pieces, limit: 1 }, priorOf(one.made), start);
      return needOf(one.line, one.fit);
    });
    const bought = target.covers === "list" ? forTheList(played, needs, target.value) : null;
    for (const [index, one] of played.entries()) {
      const needed = needs[index]!;
      const pieces = bought?.[index] ?? forTheLine(one, needed, target.value);
      let came = 0;
      for (let m = 1; m <= meetingsInHalf; m++) came += one.line.drive(m % readEvery === 0);
      halves[index]!.push({
        line: index,
        needed: came,
        onHand: one.onHand,
        bought: pieces,
        stated: pmfCdf(needed, one.onHand + pieces),
        expected: pmfMean(needed),
        usedBefore: one.usedBefore,
      });
      one.onHand = Math.max(0, one.onHand + pieces - came);
    }
  }
  return halves.flat();
}

/** What the list says where each line is bought for the target. */
function forTheLine({ made, onHand }: Played, needed: readonly number[], target: number): number {
  const terms = {
    packSize: made.size,
    orderMultiplePacks: 1,
    priceMinorUnits: made.priceMinorUnits * made.size,
  };
  return restockDecision(
    [{ day: "2027-06-30", needed }],
    () => onHand,
    { kind: "cycle", value: target },
    { ...terms, leadTime: { meanDays: 1, sdDays: 0, byDay: [0, 1], deliveries: 9 } },
    "2027-01-01",
  ).pieces;
}

/** What the list says where nothing on it is to run out with the target's chance. */
function forTheList(played: readonly Played[], needs: readonly number[][], target: number): number[] {
  const asked = played.map(({ made, onHand }, i) => ({
    needed: needs[i]!,
    held: onHand,
    unitPieces: made.size,
    unitPrice: made.priceMinorUnits * made.size,
  }));
  return targetPlan(asked, target).units.map((units, i) => units * played[i]!.made.size);
}

/** Half of a season over the season behind, by which fixed rules scale what was used. */
export const halfOverSeasonBehind = meetingsInHalf / meetingsBehind;
export const minutesInHalf = meetingsInHalf * runsPerMeeting * minutesPerRun;
export const carsInClub = cars;
