import type { KeptFor, RetiredFor } from "../domain/piece.ts";

/**
 * The tables as TypeScript sees them: one interface per table of schema/, with the same names. `Json` columns hold
 * JSON text and are read and written through the functions of this folder only.
 */
export type Json = string;

interface Row {
  id: string;
}
interface Owned extends Row {
  clubId: string;
}
interface Kept extends Owned {
  createdAt: string;
  version: number;
}

export interface ClubRow extends Row {
  name: string;
  currency: string;
  timeZone: string;
  createdAt: string;
  version: number;
}
export interface DriverRow extends Kept {
  name: string;
  notes: string | null;
  /** 1: what this driver's cars will need counts in the plan of the shelf */
  sharesDemand: number;
}
export interface KeyRow extends Owned {
  name: string;
  role: "owner" | "driver" | "shop" | "reader";
  driverId: string | null;
  hash: string;
  createdAt: string;
  revokedAt: string | null;
}
export interface KindRow extends Kept {
  code: string;
  name: string;
  clock: "minutes" | "runs" | "cycles" | "knocks" | "days";
  shipped: number;
  details: Json;
}
export interface SupplierRow extends Kept {
  name: string;
  leadTimeDays: number;
  leadTimeSdDays: number;
  minimumOrderMinorUnits: number;
  notes: string | null;
}
export interface CarModelRow extends Kept {
  name: string;
  discipline: string;
  internalRatio: number | null;
  notes: string | null;
}
export interface LineRow extends Kept {
  sku: string;
  gtin: string | null;
  makersPartNumber: string | null;
  name: string;
  kindId: string;
  supplierId: string | null;
  packSize: number;
  orderMultiplePacks: number;
  priceMinorUnits: number;
  currency: string;
  leadTimeDays: number | null;
  shelfLifeDays: number | null;
  weightGrams: number | null;
  asNew: number | null;
  limits: Json | null;
  usualLife: Json | null;
  supersededById: string | null;
  endedOn: string | null;
  notes: string | null;
  /** counts the changes of what its wear fit rests on; a fit with another number is out of date */
  evidence: number;
  /** counts the changes of the runs of its pieces; what was learned of its breakages with another number is out of date */
  exposure: number;
}
export interface LineFitsRow extends Owned {
  lineId: string;
  carModelId: string;
}
export interface CarRow extends Kept {
  driverId: string;
  carModelId: string | null;
  name: string;
  raceClass: string | null;
  gearCase: "open" | "vented" | "closed" | null;
  spurTeeth: number | null;
  pinionTeeth: number | null;
  meshNote: string | null;
  notes: string | null;
}
export interface PositionRow extends Owned {
  carId: string;
  name: string;
  kindId: string;
  /** positions of one car with the same word here are changed together */
  changedWith: string | null;
  createdAt: string;
}
export interface PieceRow extends Kept {
  driverId: string;
  lineId: string;
  mark: string;
  asNew: number | null;
  priorUsage: number | null;
  priorUsageSd: number | null;
  boughtOn: string | null;
  /** loose, it takes the practice runs of the place it came off; null: it races */
  keptFor: KeptFor | null;
  retiredAt: string | null;
  retiredFor: RetiredFor | null;
  notes: string | null;
}

export interface FittingRow extends Owned {
  pieceId: string;
  carId: string;
  positionId: string;
  fittedAt: string;
  removedAt: string | null;
  version: number;
}
export interface VenueRow extends Kept {
  name: string;
  surface: string;
  direction: "clockwise" | "anticlockwise" | null;
  notes: string | null;
}
export interface MeetingRow extends Kept {
  name: string;
  startsOn: string;
  days: number;
  venueId: string | null;
  surface: string;
  discipline: string | null;
  plannedRuns: number;
  /** how many of them are practice; null: not said */
  practiceRuns: number | null;
  minutesPerRun: number;
  notes: string | null;
}
export interface EntryRow extends Owned {
  meetingId: string;
  carId: string;
  attends: number;
  plannedRuns: number | null;
  version: number;
}
export interface RunRow extends Owned {
  carId: string;
  at: string;
  minutes: number;
  surface: string;
  conditions: Json | null;
  packId: string | null;
  knocks: number;
  meetingId: string | null;
  notes: string | null;
  version: number;
}
export interface InspectionRow extends Owned {
  pieceId: string;
  at: string;
  grade: number | null;
  findings: Json;
  services: Json;
  notes: string | null;
  version: number;
}
export interface ReadingRow extends Owned {
  inspectionId: string;
  pieceId: string;
  at: string;
  /** in the kind's unit */
  value: number;
  sd: number;
  instrument: string;
  enteredValue: number;
  enteredUnit: string;
  confirmed: number;
}
export interface LocationRow extends Kept {
  name: string;
  sort: "home" | "pit-box" | "shelf";
  driverId: string | null;
}
export interface OrderRow extends Kept {
  supplierId: string;
  locationId: string;
  placedAt: string;
  promisedOn: string | null;
  closedAt: string | null;
  notes: string | null;
}
export interface OrderLineRow extends Owned {
  orderId: string;
  lineId: string;
  packs: number;
  pieces: number;
  priceMinorUnits: number;
}
export interface MovementRow extends Owned {
  lineId: string;
  locationId: string;
  quantity: number;
  reason: MovementReason;
  at: string;
  pieceId: string | null;
  orderId: string | null;
  undoesId: string | null;
  pairId: string | null;
  notes: string | null;
  recordedAt: string;
}
export type MovementReason =
  | "received"
  | "fitted"
  | "returned"
  | "counted"
  | "sold"
  | "written-off"
  | "moved"
  | "undone";
export interface LineModelRow extends Owned {
  lineId: string;
  evidence: number;
  fit: Json;
  fittedAt: string;
}

/** An answer that a repeat of the same request gets again. */
export interface KeptAnswerRow extends Owned {
  keyId: string;
  method: string;
  path: string;
  idempotencyKey: string;
  /** digest of the query and the body that the answer was given to */
  fingerprint: string;
  status: number;
  headers: Json;
  body: string | null;
  answeredAt: string;
}

export interface ShopRow extends Kept {
  name: string;
  currency: string;
  locationId: string | null;
  pullUrl: string | null;
  pullEveryMinutes: number | null;
  pullMode: "full" | "changes";
  columns: Json | null;
  encoding: string;
  decimal: "." | ",";
  separator: "," | ";" | "\t" | "|";
  notes: string | null;
}
/** What is known of a shop's list; its id is the shop's. */
export interface ShopFeedRow extends Owned {
  /** the list that counts, or null before the first */
  listId: string | null;
  /** when that list was last said to be true */
  listedAt: string | null;
  /** how many things it has, how many of them are lines of the club, and how many nobody has matched yet */
  rows: number;
  matched: number;
  unmatched: number;
  /** of the bytes of that list, with how they were read */
  digest: string | null;
  /** the state of the club's lines that its rows were matched with */
  catalogueMark: string | null;
  etag: string | null;
  lastModified: string | null;
  pulledAt: string | null;
  /** arrivals that failed since the last good one */
  failures: number;
  failedAt: string | null;
  failedFor: string | null;
  nextPullAt: string | null;
}
/** One arrival of a list. */
export interface StockListRow extends Owned {
  shopId: string;
  arrivedAt: string;
  way: "push" | "pull";
  mode: "full" | "changes";
  outcome: "arriving" | "kept" | "kept-partly" | "refused" | "failed";
  bytes: number;
  rowsRead: number;
  rejected: number;
  added: number;
  changed: number;
  gone: number;
  reason: string | null;
}
/** One thing of a shop's list, and the club's line that it is. */
export interface ListedRow {
  listId: string;
  sku: string;
  rowNo: number;
  name: string | null;
  gtin: string | null;
  mpn: string | null;
  onHand: number | null;
  priceMinorUnits: number | null;
  availability: string | null;
  leadTimeLeastDays: number | null;
  leadTimeMostDays: number | null;
  minimumOrder: number | null;
  lineId: string | null;
  /** `none`: a person said that it is no line of the club; null: nobody knows yet */
  matchedBy: "gtin" | "sku" | "mpn" | "confirmed" | "none" | null;
  /** when this was said, where that is longer ago than the list: its newer row was wrong; null: with the list */
  saidAt: string | null;
}
/** One thing that is wrong with a row of a list that arrived. */
export interface RejectedFaultRow {
  listId: string;
  /** counts the faults of the list from 1, in the order in which they were found */
  no: number;
  /** counted from 1, without the header and without empty lines */
  row: number;
  /** as the shop's list names it; null where the row as a whole is wrong */
  column: string | null;
  sku: string | null;
  detail: string;
}
export interface ShopMatchRow extends Owned {
  shopId: string;
  shopSku: string;
  lineId: string | null;
  confirmedAt: string;
  version: number;
}
export interface ReservationRow extends Kept {
  shopId: string;
  lineId: string;
  driverId: string;
  pieces: number;
  forDay: string;
  meetingId: string | null;
  notes: string | null;
  state: "asked" | "confirmed" | "refused" | "withdrawn";
  answer: string | null;
  answeredAt: string | null;
}

/** One entry of the feed of changes. */
export interface ChangeRow {
  clubId: string;
  position: number;
  at: string;
  type: string;
  subjectKind: string;
  subjectId: string;
  audience: "driver" | "shop" | "everyone" | "club";
  driverId: string | null;
  by: string | null;
  data: Json;
}
export interface ChangeReaderRow {
  clubId: string;
  name: string;
  position: number;
}
/** A threshold that is crossed now. */
export interface CrossingRow {
  clubId: string;
  subjectKind: string;
  subjectId: string;
  /** whose stock a line is short of; "" for the club's, and for what is no line */
  driverId: string;
  at: string;
}

/** An address of the calendar; `hash` is of its secret part. */
export interface CalendarFeedRow extends Owned {
  keyId: string;
  name: string;
  daysAhead: number;
  hash: string;
  createdAt: string;
}

export interface Tables {
  shops: ShopRow;
  shopFeeds: ShopFeedRow;
  stockLists: StockListRow;
  stockListRows: ListedRow;
  rejectedRows: RejectedFaultRow;
  shopMatches: ShopMatchRow;
  reservations: ReservationRow;
  clubs: ClubRow;
  drivers: DriverRow;
  keys: KeyRow;
  kinds: KindRow;
  suppliers: SupplierRow;
  carModels: CarModelRow;
  lines: LineRow;
  lineFits: LineFitsRow;
  cars: CarRow;
  positions: PositionRow;
  pieces: PieceRow;
  fittings: FittingRow;
  venues: VenueRow;
  meetings: MeetingRow;
  entries: EntryRow;
  runs: RunRow;
  inspections: InspectionRow;
  readings: ReadingRow;
  locations: LocationRow;
  orders: OrderRow;
  orderLines: OrderLineRow;
  movements: MovementRow;
  lineModels: LineModelRow;
  keptAnswers: KeptAnswerRow;
  calendarFeeds: CalendarFeedRow;
  changes: ChangeRow;
  changeReaders: ChangeReaderRow;
  crossings: CrossingRow;
}
