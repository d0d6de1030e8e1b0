/** Why a piece was taken off for good. */
export const retirements = ["worn", "broken", "precaution", "lost", "aged", "rule-change", "sold"] as const;
export type RetiredFor = (typeof retirements)[number];

/** What a part-worn piece that races no more is kept for. */
export const keptFor = ["practice"] as const;
export type KeptFor = (typeof keptFor)[number];

/** What a look found, beside readings: the trade's words, each a sign that wear or damage is under way. */
export const findings = [
  "notch-felt",
  "metal-in-grease",
  "glue-lifting",
  "tooth-chipped",
  "tooth-hooked",
  "crack",
  "tear",
  "bent",
  "leak",
  "play-felt",
  "swollen",
  "overheated",
  "missing",
] as const;
export type Finding = (typeof findings)[number];

/** What was done without replacing the piece. */
export const serviceWords = [
  "cleaned",
  "oiled",
  "greased",
  "screws-checked",
  "refilled",
  "re-glued",
  "trued",
  "turned-over",
  "mesh-reset",
  "storage-charged",
  "flushed-with-water",
] as const;
export type ServiceWord = (typeof serviceWords)[number];

/** Conditions of a run that change how fast parts wear, beside the surface. */
export const conditionWords = [
  "dusty",
  "damp",
  "wet",
  "not-cleaned",
  "mesh-tight",
  "mesh-loose",
  "hot",
] as const;
export type ConditionWord = (typeof conditionWords)[number];
