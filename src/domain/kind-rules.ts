import type { Fault } from "./errors.ts";
import type { Clock, KindDetails, LifeRange, Limits, Measure } from "./kind.ts";

/**
 * Where the values of a kind contradict each other. Each fault names the member and says what to change; none means
 * that a forecast can rest on them.
 */
export function kindFaults(kind: KindDetails & { clock: Clock }): Fault[] {
  const faults = lifeFaults(kind.usualLife);
  if ((kind.measure === null) !== (kind.limits === null))
    faults.push({
      pointer: "#/limits",
      detail:
        kind.measure === null
          ? "must be null, for the kind has no measure: its limit is grade 4"
          : "must be given, for the kind has a measure; or set measure to null if it is only graded",
    });
  if (kind.measure !== null && kind.limits !== null) faults.push(...limitsFaults(kind.limits, kind.measure));
  if (kind.changeRule === "with-mate" && kind.mateCode === null)
    faults.push({ pointer: "#/mateCode", detail: "must name the kind that this one is changed with" });
  if (kind.changeRule === "alone" && kind.changedTogether !== 1)
    faults.push({ pointer: "#/changedTogether", detail: "must be 1 where pieces are changed alone" });
  if ((kind.changeRule === "pair" || kind.changeRule === "set") && kind.changedTogether < 2)
    faults.push({
      pointer: "#/changedTogether",
      detail: "must be at least 2 where pieces are changed together",
    });
  if (kind.clock === "cycles" && kind.usedBy !== "pack")
    faults.push({
      pointer: "#/usedBy",
      detail: 'must be "pack", for only packs have cycles; or choose another clock',
    });
  return faults;
}

/** A life range needs a spread: its 10 % point comes before its 90 % point. */
export const lifeFaults = ({ p10, p90 }: LifeRange): Fault[] =>
  p10 < p90
    ? []
    : [{ pointer: "#/usualLife", detail: `p10 must be less than p90, but ${p10} is not less than ${p90}` }];

/**
 * Limits come in the order race, club, practice, stop as the piece wears. As sizes they fall or rise with the measure and lie
 * on the worn side of the as-new size; as losses they grow from 0.
 *
 * @param asNew the catalogue size they are compared with: that of the kind, or of a line with its own
 */
export function limitsFaults(limits: Limits, measure: Measure, asNew: number = measure.asNew): Fault[] {
  const { basis } = limits;
  const rises = basis === "loss" || measure.direction === "rises";
  const given = (["race", "club", "practice", "stop"] as const).flatMap((name) => {
    const value = limits[name] ?? null;
    return value === null ? [] : [{ name, value }];
  });
  const faults: Fault[] = [];
  const start = basis === "loss" ? 0 : asNew;
  for (const { name, value } of given)
    if (rises ? value <= start : value >= start)
      faults.push({
        pointer: `#/limits/${name}`,
        detail:
          basis === "loss"
            ? "must be greater than 0: a loss is the distance from the piece's first reading, in either direction"
            : `must be ${rises ? "greater" : "less"} than the as-new size ${asNew}, for ${measure.quantity} ` +
              `${measure.direction} with wear; or give losses with basis "loss"`,
      });
  for (const [i, { name, value }] of given.entries()) {
    const before = given[i - 1];
    if (before !== undefined && (rises ? value < before.value : value > before.value))
      faults.push({
        pointer: `#/limits/${name}`,
        detail: `must not come before ${before.name} (${before.value}): limits are reached in the order race, club, practice, stop`,
      });
  }
  return faults;
}
