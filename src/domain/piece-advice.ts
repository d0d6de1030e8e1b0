/**
 * When to change a piece, and when to look at it. Two rules, each an answer to its own question, which need not agree:
 *
 * - `chance`: by how likely it wears out at the meeting, whatever a change costs; `unseen` goes with it, where nobody has
 *   looked for so long that the chance should not be trusted. The bench sheet and the pit list go by it, for a day at the
 *   track is lost either way.
 * - `cost`: by what a change costs against what a lost run costs. What one more reading is worth and whether to change early
 *   go by it.
 *
 * Where a lost run is cheap beside the part, the rule by chance changes earlier than pays; where it is dear, later.
 */
export const adviceRules = ["chance", "unseen", "cost"] as const;
export type AdviceRule = (typeof adviceRules)[number];

/** Below these chances of not being worn out by the end of the meeting a piece is changed, or looked at (common practice, no source). */
export const changeBelow = 0.7;
export const lookBelow = 0.95;
/** A piece that nobody has looked at for this many runs is looked at, whatever its forecast. */
export const lookAfterRuns = 18;

export type Advice = "change" | "look" | "leave";

/** What to do with a piece, by its chance of being worn out by the end of the meeting and the runs since it was seen. */
export function adviceBy(
  wearsOut: number,
  runsSinceSeen: number,
): { advice: Advice; rule: Exclude<AdviceRule, "cost"> } {
  const notWorn = 1 - wearsOut;
  if (notWorn < changeBelow) return { advice: "change", rule: "chance" };
  if (notWorn < lookBelow) return { advice: "look", rule: "chance" };
  return runsSinceSeen >= lookAfterRuns
    ? { advice: "look", rule: "unseen" }
    : { advice: "leave", rule: "chance" };
}
