import type { Surface } from "../src/domain/kind.ts";
import scenario from "./quillbrook.json" with { type: "json" };

/**
 * The invented club of the demo. Its things refer to each other by short keys (`D01`, `C01`, `T26-01`), lines by
 * SKU, kinds by code; an importer gives them ids of its own. Money is whole cents, a price is for one pack.
 */
export interface Scenario {
  about: string;
  /** the day on which the demo is looked at: the season before is the log, the one after the forecast */
  asOf: string;
  club: { name: string; currency: string; timeZone: string; activeMembers: number };
  shop: {
    name: string;
    location: string;
    reviewPeriodDays: number;
    /** share of counter requests that are bought elsewhere when the shelf is empty */
    lostSaleShare: number;
    preSeasonPeak: { from: string; to: string; demandMultiplier: number };
  };
  drivers: ScenarioDriver[];
  carModels: {
    key: string;
    name: string;
    discipline: Discipline;
    internalRatio: number;
    notes: string;
  }[];
  venues: {
    key: string;
    name: string;
    surface: Surface;
    direction: "clockwise" | "anticlockwise";
    notes: string;
  }[];
  suppliers: ScenarioSupplier[];
  lines: ScenarioLine[];
  locations: { key: string; name: string; sort: "home" | "pit-box" | "shelf"; driver: string | null }[];
  cars: ScenarioCar[];
  meetings: ScenarioMeeting[];
}

export type Discipline = "touring" | "buggy";

export interface ScenarioDriver {
  key: string;
  name: string;
  notes: string;
  /** what the drawing of a season needs to know of the driver; no part of the service sees it */
  habits: {
    /** factors on wear rates and on the chance of breaking something, 1 for an average driver */
    wearMultiplier: number;
    breakageMultiplier: number;
    /** chance to come to a club meeting, and to a title */
    attendance: number;
    titleAttendance: number;
    /** share of the usual looks and readings that are really done */
    care: number;
    cleans: boolean;
    /** the grade at which a graded piece is changed, 3 or 4 */
    changesAtGrade: number;
  };
}

export interface ScenarioSupplier {
  key: string;
  name: string;
  leadTimeDays: number;
  leadTimeSdDays: number;
  minimumOrderMinorUnits: number;
  notes: string;
  orderDays: "weekdays" | "last-friday" | "quarterly";
  /** chance that an ordered line comes with the first delivery */
  lineFillRate: number;
  backOrderDays: { mean: number; sd: number };
  shutdowns: { from: string; to: string; addsDays: number }[];
}

export interface ScenarioLine {
  sku: string;
  name: string;
  /** of the few lines that have one; 952 is the prefix that GS1 keeps for demonstrations (from memory) */
  gtin?: string;
  makersPartNumber?: string;
  kind: string;
  supplier: string;
  packSize: number;
  orderMultiplePacks: number;
  priceMinorUnits: number;
  /** what the shop pays for a pack */
  costMinorUnits: number;
  fits: string[];
  shelfLifeDays: number | null;
  /** of one piece; drops and screws of a bottle or a bag have none */
  weightGrams: number | null;
  /** where a new piece differs from its kind's catalogue size */
  asNew: number | null;
  supersededBy: string | null;
  endedOn: string | null;
  notes: string | null;
}

export interface ScenarioCar {
  key: string;
  driver: string;
  model: string;
  name: string;
  raceClass: string;
  gearCase: "open" | "vented" | "closed";
  spurTeeth: number;
  pinionTeeth: number;
  meshNote: string;
  /** battery packs that are used in turn */
  packs: number;
  /** `line` is what is bought for the position */
  positions: { name: string; kind: string; line: string; changedWith: string | null }[];
}

export interface ScenarioMeeting {
  key: string;
  name: string;
  startsOn: string;
  days: number;
  venue: string;
  surface: Surface;
  discipline: Discipline;
  /** runs of one car over all days */
  plannedRuns: number;
  minutesPerRun: number;
}

/** The scenario of quillbrook.json; tests/seeds/quillbrook.test.ts checks words, keys and references. */
export const quillbrook: Scenario = scenario as Scenario;
