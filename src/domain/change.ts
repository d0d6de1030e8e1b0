/** What the feed of changes tells, by the sort of thing that changed. A word is part of the contract: never rename one. */
export const changeTypes = [
  "piece.added",
  "piece.changed",
  "piece.fitted",
  "piece.removed",
  "piece.fitting-changed",
  "piece.fitting-deleted",
  "piece.inspected",
  "piece.inspection-deleted",
  "piece.retired",
  "piece.unretired",
  "piece.near-limit",
  "piece.clear-of-limit",
  "car.entered",
  "car.runs-logged",
  "car.run-changed",
  "car.run-deleted",
  "car.not-ready",
  "car.ready",
  "line.added",
  "line.changed",
  "line.below-reorder-point",
  "line.above-reorder-point",
  "stock-level.changed",
  "order.placed",
  "order.changed",
  "order.received",
  "stock-list.kept",
  "stock-list.failed",
  "stock-list.matched",
  "reservation.asked",
  "reservation.answered",
  "reservation.withdrawn",
  "meeting.added",
  "meeting.changed",
  "meeting.removed",
  "kind.changed",
  "import.finished",
] as const;
export type ChangeType = (typeof changeTypes)[number];

export const subjectKinds = [
  "piece",
  "car",
  "line",
  "order",
  "shop",
  "reservation",
  "meeting",
  "kind",
  "import",
] as const;
/** What to read for more, by its id. An import has nothing more to tell, nor has a meeting that was removed. */
export interface Subject {
  kind: (typeof subjectKinds)[number];
  id: string;
}

/**
 * Who may see a change: one driver (and those who see the whole club), the shop, drivers and the shop, or only those
 * who see the whole club.
 */
export type Audience = { driverId: string } | "shop" | "everyone" | "club";

export interface Change {
  type: ChangeType;
  subject: Subject;
  audience: Audience;
  /** plain JSON: what a follower needs at once, such as a name, a place or a number */
  data: Record<string, unknown>;
}
