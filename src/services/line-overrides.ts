import type { LineOverrides } from "../domain/wear.ts";
import type { LineRow } from "../storage/tables.ts";

/** What a line says differently from its kind. */
export const overridesOf = (line: LineRow): LineOverrides => ({
  asNew: line.asNew,
  limits: line.limits === null ? null : JSON.parse(line.limits),
  usualLife: line.usualLife === null ? null : JSON.parse(line.usualLife),
});
