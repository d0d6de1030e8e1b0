import type { Surface } from "../src/domain/kind.ts";
import type { ConditionWord, Finding, RetiredFor, ServiceWord } from "../src/domain/piece.ts";

/**
 * What happened in a season, event by event in the order of time, for an importer to replay through the services.
 *
 * Drivers, cars, meetings, suppliers and locations are named by the keys of the scenario, lines by SKU, positions by
 * name, pieces by their mark, which is unique for a driver. `at` is UTC with milliseconds.
 */
export type SeasonEvent =
  | PieceEvent
  | FitEvent
  | RemoveEvent
  | RetireEvent
  | EntryEvent
  | RunEvent
  | InspectionEvent
  | MovementEvent
  | OrderEvent
  | ReceiptEvent;

/** A physical part gets its mark. Its as-new reading is the inspection on the day of fitting. */
export interface PieceEvent {
  type: "piece";
  at: string;
  driver: string;
  piece: string;
  line: string;
  /** usage that a part-worn piece brings along, on its kind's clock, as the driver guesses it; null for a new one */
  priorUsage: number | null;
  priorUsageSd: number | null;
  boughtOn: string | null;
  /** a pack only, for it is never fitted: the location whose stock it leaves; null if it was in use before the log */
  from: string | null;
}

/** A piece goes on a car. */
export interface FitEvent {
  type: "fit";
  at: string;
  driver: string;
  car: string;
  position: string;
  piece: string;
  /** the location whose stock a new piece leaves (a movement `fitted` of one piece); null if it leaves none */
  from: string | null;
}

/** A piece comes off, for good if `retiredFor` says why, else to be a spare. */
export interface RemoveEvent {
  type: "remove";
  at: string;
  driver: string;
  car: string;
  position: string;
  piece: string;
  retiredFor: RetiredFor | null;
}

/** A pack, which is never fitted, is given up. */
export interface RetireEvent {
  type: "retire";
  at: string;
  driver: string;
  piece: string;
  retiredFor: RetiredFor;
}

/** Whether a car comes to a meeting; cars without an entry are taken to come. */
export interface EntryEvent {
  type: "entry";
  at: string;
  car: string;
  meeting: string;
  attends: boolean;
}

export interface RunEvent {
  type: "run";
  at: string;
  car: string;
  minutes: number;
  surface: Surface;
  conditions: ConditionWord[];
  pack: string;
  knocks: number;
  meeting: string;
  notes: string | null;
  /** when it was written down, some days late for a few */
  loggedAt: string;
}

export interface InspectionEvent {
  type: "inspection";
  at: string;
  driver: string;
  piece: string;
  readings: { value: number; unit: string; instrument: string }[];
  grade: number | null;
  findings: Finding[];
  services: ServiceWord[];
  /** the driver stands by a reading that a careful check would question: a slip of his, or a rare honest reading */
  confirmed: boolean;
}

/** Stock changes that are neither a fitting nor a receipt of an order. Quantities are pieces. */
export type MovementEvent =
  | {
      type: "movement";
      /** `counted`: the change that a stocktake found; `received`: bought elsewhere, without an order of the log */
      reason: "counted" | "received";
      at: string;
      line: string;
      location: string;
      /** the change, negative where pieces are gone */
      quantity: number;
      /** what is there afterwards */
      levelAfter: number;
      notes: string | null;
    }
  | {
      type: "movement";
      reason: "moved";
      at: string;
      line: string;
      from: string;
      to: string;
      quantity: number;
      notes: string | null;
    };

export interface OrderEvent {
  type: "order";
  at: string;
  order: string;
  supplier: string;
  location: string;
  promisedOn: string;
  lines: { line: string; packs: number; priceMinorUnits: number }[];
}

/** A delivery, of all that was still open where `closes`. */
export interface ReceiptEvent {
  type: "receipt";
  at: string;
  order: string;
  lines: { line: string; packs: number }[];
  closes: boolean;
}

/** What the log does not show: the world behind it, for comparing forecasts with the truth. */
export interface SeasonTruth {
  pieces: PieceTruth[];
  /** one for each reading in the log, in its order */
  readings: ReadingTruth[];
}

export interface PieceTruth {
  driver: string;
  piece: string;
  car: string;
  line: string;
  kind: string;
  /** the piece's own size when new, in the kind's unit; 0 for a graded kind */
  asNew: number;
  /** wear for one unit of the clock on the surface of multiplier 1, in this driver's hands */
  ratePerClock: number;
  /** usage on its clock, counted from new */
  usage: number;
  /** loss from its own as-new size in the kind's unit, or share of life for a graded kind */
  wear: number;
  /** the wear at which the club limit is reached */
  allowance: number;
  retiredFor: RetiredFor | null;
}

export interface ReadingTruth {
  driver: string;
  piece: string;
  at: string;
  value: number;
  /** the true size then, and the error of the instrument used */
  trueValue: number;
  sd: number;
  resolution: number;
  /** a slip: inches, a miscounted tooth, another corner */
  blunder: boolean;
}
