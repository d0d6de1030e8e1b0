/**
 * Every way a request can be refused, by the rule that refuses it. Statuses are decided in http/problem.ts alone.
 * A code is part of the public contract: it is the last part of the problem's `type`.
 */
export const refusals = {
  not_found: "There is no such thing in this club",
  not_allowed: "This key may not do that",
  name_taken: "That name or code is already used",
  in_use: "Something else still refers to it",
  stale_version: "It was changed by someone else in the meantime",
  position_occupied: "Another piece is fitted at that position",
  position_empty: "Nothing is fitted at that position",
  piece_fitted: "The piece is fitted",
  piece_not_fitted: "The piece was not fitted then",
  piece_retired: "The piece was retired",
  wrong_kind: "The piece is of another kind than the position takes",
  out_of_order: "A time is out of order",
  inconsistent: "The values contradict each other",
  stock_short: "There is not enough stock there",
  reading_questioned: "The reading needs a second look",
  unit_unknown: "That unit cannot be converted",
  nothing_to_forecast: "There is nothing to forecast from",
  already_undone: "That movement was already undone",
  order_closed: "The order is closed",
  import_refused: "Nothing was imported",
  reservation_over: "The reservation is over",
  pull_failed: "The list could not be fetched",
  withheld: "Too few drivers stand behind it",
} as const;

export type RefusalCode = keyof typeof refusals;

/** One offending member of a request, named by a JSON pointer into the body (RFC 6901). */
export interface Fault {
  pointer: string;
  detail: string;
}

/** A rule of the trade or the ledger says no. `message` tells the person what to change. */
export class DomainError extends Error {
  readonly code: RefusalCode;
  readonly faults: readonly Fault[];
  /** the id that nothing has, where that is why */
  readonly unknownId: string | null;
  constructor(
    code: RefusalCode,
    message: string,
    faults: readonly Fault[] = [],
    unknownId: string | null = null,
  ) {
    super(message);
    this.name = "DomainError";
    this.code = code;
    this.faults = faults;
    this.unknownId = unknownId;
  }
}

/** Refuses with `not_found`, naming the sort of thing and its id. */
export const notFound = (what: string, id: string): DomainError =>
  new DomainError("not_found", `There is no ${what} with id ${id}`, [], id);
