/** What makes a piece older. Minutes and runs and knocks are the car's; cycles are a pack's; days pass anyway. */
export const clocks = ["minutes", "runs", "cycles", "knocks", "days"] as const;
export type Clock = (typeof clocks)[number];

/** The order in which a racer works through the car at the bench: common practice, no source. */
export const benchSteps = [
  "tyres",
  "cleaning",
  "drivetrain",
  "motor",
  "lubrication",
  "dampers",
  "fasteners",
  "steering",
  "packs",
] as const;
export type BenchStep = (typeof benchSteps)[number];

export const surfaces = [
  "asphalt",
  "coarse-asphalt",
  "carpet",
  "astro",
  "clay",
  "dusty-clay",
  "wet-asphalt",
] as const;
export type Surface = (typeof surfaces)[number];

/** What is measured on a piece, and how well an instrument in a patient hand repeats itself. */
export interface Measure {
  /** such as "outside diameter" */
  quantity: string;
  /** the unit of every size, limit and reading of the kind, such as "mm" */
  unit: string;
  /** does the value fall (tread, span) or rise (play, resistance) as the piece wears? */
  direction: "falls" | "rises";
  /** a catalogue size of a new piece, and the standard deviation from piece to piece */
  asNew: number;
  asNewSd: number;
  /** how far a reading is off where one tooth too many is spanned (the base pitch of a gear); not for other kinds */
  miscountStep?: number | null | undefined;
  /** the usual instrument first */
  instruments: { name: string; repeatabilitySd: number; resolution: number }[];
}

/** Wear limits: sizes of the piece, or losses from the piece's own as-new reading. `club` is the one forecasts use. */
export interface Limits {
  basis: "size" | "loss";
  /** past it the piece is slower than a new one: change before a title */
  race: number | null;
  club: number;
  /** finished for racing, a piece may be run in practice up to here; null or not given: it is not kept for that */
  practice?: number | null | undefined;
  /** past it the piece is not to be run */
  stop: number | null;
}

/** A 10-90 % range over pieces, on the kind's clock, on the surface of multiplier 1. */
export interface LifeRange {
  p10: number;
  p90: number;
}

export interface KindDetails {
  benchStep: BenchStep;
  /** null: the kind is only graded by eye and hand, 0 to 4 */
  measure: Measure | null;
  /** null where `measure` is null: the limit is then grade 4, wear 1 */
  limits: Limits | null;
  /** starting belief about life by wear alone; the log overrules it */
  usualLife: LifeRange;
  /** coefficient of variation of the wear rate from piece to piece, and of the wear of one run */
  pieceSpread: number;
  runSpread: number;
  /** how much faster each surface wears it; a surface not named counts as 1 */
  surfaces: Partial<Record<Surface, number>>;
  /** fitted at a position, or a pack that each run names */
  usedBy: "fitting" | "pack";
  /** pieces that are changed together, and how many make a set */
  changeRule: "alone" | "pair" | "set" | "with-mate";
  changedTogether: number;
  /** the kind whose wear decides whether this one is changed with it */
  mateCode: string | null;
  /** chance that one run ends a piece by accident, for an average driver */
  breakagePerRun: number;
  /** days after which an unused piece is no longer good; null where it keeps */
  shelfLifeDays: number | null;
  /** the day is over without it */
  carStopper: boolean;
  /** minutes of bench time for one look or reading, and what to look for */
  checkMinutes: number;
  check: string;
  cautions: string[];
  /** where the figures come from */
  source: string;
}

/** What the trade knows of a sort of part. */
export interface Kind extends KindDetails {
  id: string;
  code: string;
  name: string;
  clock: Clock;
  shipped: boolean;
}
