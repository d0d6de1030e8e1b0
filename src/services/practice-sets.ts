import type { PlannedMeeting } from "../domain/calendar.ts";
import { practiceOnly } from "../domain/calendar.ts";
import { type LineKnowledge, pieceDemand, pieceForecast, type PieceInUse } from "../domain/forecast.ts";
import type { Kind } from "../domain/kind.ts";
import { wholeSets } from "../domain/spare-sets.ts";
import { wearLimit, wearScale } from "../domain/wear.ts";
import { populationSummary } from "../stats/index.ts";
import type { PieceRow } from "../storage/tables.ts";
import { groupedBy } from "./grouped-by.ts";
import { count, inMonth } from "./in-words.ts";
import { piecesInUse } from "./line-pieces.ts";
import type { CurrentModel } from "./line-models.ts";
import { setSize, withLastPlace } from "./matched-sets.ts";
import type { Work } from "./work.ts";

/** Part-worn sets that are kept for practice, and what that means for what races at their places. */
export interface KeptForPractice {
  /** whole sets only: each its pieces */
  sets: readonly (readonly PieceRow[])[];
  /** so many pieces that race share them: the packs of a driver */
  sharedBy: number;
}

type KindOfPlace = Pick<Kind, "code" | "changeRule" | "changedTogether" | "usedBy">;
interface Place {
  carId: string;
  changedWith: string | null;
  position: string;
}

/** Positions that are changed as a pair or set are one place; of a kind that is changed alone, each is one. */
const placeOf = (kind: KindOfPlace, { carId, changedWith, position }: Place) =>
  JSON.stringify([kind.code, carId, setSize(kind) === 1 ? position : (changedWith ?? position)]);

/**
 * What is kept for practice, to be looked up by the place that it came off, or by the driver of a pack. Pieces that were
 * never fitted have no place, and kinds that are changed with their mate or age by the days are not kept.
 *
 * @param kept loose pieces that are kept for practice
 */
export async function practiceSets(
  work: Work,
  kept: readonly PieceRow[],
  kindOf: (piece: PieceRow) => KindOfPlace,
) {
  const byPlace = new Map<string, PieceRow[][]>();
  const add = (place: string, set: PieceRow[]) => byPlace.set(place, [...(byPlace.get(place) ?? []), set]);
  const ofPacks = (kind: KindOfPlace, driverId: string) => JSON.stringify([kind.code, driverId]);
  const isPack = (piece: PieceRow) => kindOf(piece).usedBy === "pack";
  for (const pack of kept.filter(isPack)) add(ofPacks(kindOf(pack), pack.driverId), [pack]);
  const fitted = kept.filter((piece) => !isPack(piece));
  const placed = fitted.length === 0 ? [] : await withLastPlace(work, fitted);
  for (const pieces of groupedBy(placed, ({ piece }) => piece.lineId).values()) {
    const kind = kindOf(pieces[0]!.piece);
    for (const set of wholeSets(pieces, setSize(kind))) {
      const { last } = set[0]!;
      if (last !== null)
        add(
          placeOf(kind, last),
          set.map(({ piece }) => piece),
        );
    }
  }
  const found = (place: string, sharedBy: number): { practice?: KeptForPractice } => {
    const sets = byPlace.get(place);
    return sets === undefined ? {} : { practice: { sets, sharedBy } };
  };
  const nothing: { practice?: KeptForPractice } = {};
  return {
    at: (kind: KindOfPlace, place: Place) =>
      byPlace.size === 0 || kind.changeRule === "with-mate" ? nothing : found(placeOf(kind, place), 1),
    ofPack: (kind: KindOfPlace, driverId: string, sharedBy: number) =>
      byPlace.size === 0 ? nothing : found(ofPacks(kind, driverId), sharedBy),
  };
}

/** A piece kept for practice, with its line and all that was seen of it. */
export interface KeptPiece {
  model: CurrentModel;
  use: PieceInUse;
}

/** What the log says of the pieces of some sets, by piece. */
export async function keptPieces(
  work: Work,
  kept: readonly KeptForPractice[],
): Promise<ReadonlyMap<string, KeptPiece>> {
  const pieces = new Map(kept.flatMap(({ sets }) => sets.flat()).map((piece) => [piece.id, piece]));
  const found = new Map<string, KeptPiece>();
  for (const [lineId, own] of groupedBy([...pieces.values()], (piece) => piece.lineId)) {
    const model = await work.models.get(work, lineId);
    for (const [id, use] of await piecesInUse(work, model, own)) found.set(id, { model, use });
  }
  return found;
}

/**
 * How long a set that is finished for racing serves in practice, as a share of its life in races: wear goes with usage
 * to a power, so that the usage to the further limit is a fixed multiple of that to the nearer one. 0 without such a limit.
 */
export function practiceShare(line: LineKnowledge): number {
  const scale = wearScale(line.kind, line.overrides);
  const further = wearLimit(scale, "practice");
  const raced = wearLimit(scale)!;
  if (further === null || line.kind.clock === "days") return 0;
  return Math.max(0, (further / raced) ** (1 / populationSummary(line.wear).pathExponent) - 1);
}

/** How long what is kept for practice at a place is likely to last there, by wear alone. */
export interface PracticeAhead {
  sets: number;
  pieces: number;
  /** further wearing usage that the sets bear in the median, for each piece that shares them */
  bears: number;
  /** the day of the meeting at which they are finished for practice; null where they last beyond the calendar */
  until: string | null;
}

export function practiceAhead(
  model: CurrentModel,
  { sets, sharedBy }: KeptForPractice,
  known: ReadonlyMap<string, KeptPiece>,
  ahead: readonly PlannedMeeting[],
): PracticeAhead {
  const demand = pieceDemand(model, practiceOnly(ahead));
  const most = (demand.at(-1)?.throughHere ?? 0) * sharedBy;
  const bears = sets.reduce((sum, set) => sum + medianOf(set, known, most), 0) / sharedBy;
  const last = demand.find(({ throughHere }) => throughHere >= bears && bears < most / sharedBy);
  return {
    sets: sets.length,
    pieces: sets.reduce((sum, set) => sum + set.length, 0),
    bears,
    until: last?.startsOn ?? null,
  };
}

/** Median usage until the first piece of a set is finished for practice; no more than is asked of it. */
function medianOf(set: readonly PieceRow[], known: ReadonlyMap<string, KeptPiece>, most: number): number {
  const forecasts = set.map(({ id }) => {
    const { model, use } = known.get(id)!;
    return pieceForecast(model, use, "practice");
  });
  const lasts = (usage: number) =>
    forecasts.reduce(
      (product, one) => product * (1 - one.pastLimitProbability) * (1 - one.remainingCdf(usage)),
      1,
    );
  if (lasts(0) <= 0.5) return 0;
  if (lasts(most) > 0.5) return most;
  let [low, high] = [0, most];
  for (let i = 0; i < 40; i++) {
    const middle = (low + high) / 2;
    if (lasts(middle) > 0.5) low = middle;
    else high = middle;
  }
  return high;
}

/** "practice on the older set until about June 2027". */
export function practiceInWords({ sets, until }: Pick<PracticeAhead, "sets" | "until">, one: string): string {
  const what = sets === 1 ? `the older ${one}` : `${count(sets, `older ${one}`)}`;
  return `practice on ${what} ${until === null ? "as far as the calendar goes" : `until about ${inMonth(until)}`}`;
}

/** What a racer calls what is changed together. */
export const oneOf = ({ changeRule, usedBy }: Pick<Kind, "changeRule" | "usedBy">): string =>
  usedBy === "pack" ? "pack" : changeRule === "set" || changeRule === "pair" ? changeRule : "piece";
