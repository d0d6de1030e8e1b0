import { setImmediate } from "node:timers/promises";
import { type Accuracy, accuracyOf } from "../domain/accuracy.ts";
import {
  eveningsOf,
  type PastLine,
  type PastPiece,
  piecesKnownBy,
  type Scored,
  scorePiece,
  seenOn,
} from "../domain/back-test.ts";
import type { Kind } from "../domain/kind.ts";
import { usageAtMoments } from "../domain/usage.ts";
import { wearLimit, wearPrior, wearScale } from "../domain/wear.ts";
import { createRandom, type Random, type WearLineFit } from "../stats/index.ts";
import { ageSince, lineAndKind } from "./keep-pieces.ts";
import { type PieceRecord, pieceRecords, seenAtUsage } from "./line-evidence.ts";
import { overridesOf } from "./line-overrides.ts";
import type { Work } from "./work.ts";

/**
 * A line with more evenings, or more pieces on one of them, is judged by so many, drawn by chance with this seed. Fits of
 * many pieces take long: there are fewer evenings then, but never fewer than the least.
 */
const mostEvenings = 20;
const leastEvenings = 6;
const mostFittedPieces = 2000;
const mostPieces = 15;
const seed = 1984;

interface Measured {
  evenings: number;
  eveningsScored: number;
  accuracy: Accuracy[];
}

/** A back-test takes seconds and says the same until the log changes. */
const kept = new WeakMap<Work["models"], Map<string, { evidence: number; measured: Measured }>>();

function pastPiece(kind: Kind, { row, firstFittedAt, runs, seen }: PieceRecord): PastPiece {
  const looks = seenAtUsage(kind, row, firstFittedAt, runs, seen);
  const { id, asNew, priorUsage, priorUsageSd } = row;
  const history = {
    clock: kind.clock,
    priorUsage: priorUsage ?? 0,
    since: ageSince(row, firstFittedAt),
    runs,
  };
  const worn = row.retiredFor === "worn" ? usageAtMoments(history, [row.retiredAt!])[0]! : null;
  return {
    id,
    asNew,
    priorUsage,
    priorUsageSd,
    worn,
    looks: looks.map((look, i) => ({ ...look, at: seen[i]!.at })),
  };
}

/** Some of a list, drawn without putting back, in the order of the list. */
function drawn<T>(list: readonly T[], most: number, random: Random): T[] {
  const left = list.map((_, i) => i);
  const some: number[] = [];
  while (left.length > 0 && some.length < most)
    some.push(...left.splice(Math.floor(random.uniform() * left.length), 1));
  return some.sort((a, b) => a - b).map((i) => list[i]!);
}

/**
 * The back-test of a line: on each of at most 20 evenings the line is fitted from what was known by then, of every piece, and the forecasts made with it are held against what happened.
 */
export async function backTestLine(past: PastLine, fitLine: Work["models"]["fit"]): Promise<Measured> {
  const random = createRandom(seed);
  const evenings = eveningsOf(past);
  const affordable = Math.floor(mostFittedPieces / Math.max(1, past.pieces.length));
  const some = drawn(evenings, Math.min(mostEvenings, Math.max(leastEvenings, affordable)), random);
  const limit = wearLimit(wearScale(past.kind, past.overrides))!;
  const prior = wearPrior(past.kind, past.overrides);
  const scored: Scored[] = [];
  let start: WearLineFit | undefined;
  for (const evening of some) {
    start = (await fitLine({ pieces: piecesKnownBy(past, evening), limit, prior, start })).wear;
    for (const piece of drawn(seenOn(past, evening), mostPieces, random)) {
      scored.push(...scorePiece(past, start, piece, evening, random));
      await setImmediate();
    }
  }
  return { evenings: evenings.length, eveningsScored: some.length, accuracy: accuracyOf(scored) };
}

/** How far the forecasts of a line are to be trusted: a back-test on the club's own log, over all its drivers. */
export async function lineAccuracy(work: Work, lineId: string) {
  const { line, kind } = await lineAndKind(work, lineId);
  const byLine = kept.get(work.models) ?? new Map<string, { evidence: number; measured: Measured }>();
  kept.set(work.models, byLine);
  let known = byLine.get(lineId);
  if (known?.evidence !== line.evidence) {
    const records = await pieceRecords(work.db, lineId);
    const past = {
      kind,
      overrides: overridesOf(line),
      pieces: records.map((record) => pastPiece(kind, record)),
    };
    known = {
      evidence: line.evidence,
      measured: await backTestLine(past, (task) => work.models.fit(task)),
    };
    byLine.set(lineId, known);
  }
  const { evenings, eveningsScored, accuracy } = known.measured;
  return {
    lineId,
    sku: line.sku,
    kindCode: kind.code,
    asOf: work.now(),
    clock: kind.clock,
    unit: wearScale(kind, overridesOf(line)).unit,
    scheme: {
      evenings,
      eveningsScored,
      seed,
      sentence: `On each of ${eveningsScored} ${eveningsScored === 1 ? "evening" : "evenings"} the line was fitted from what was known by then, and at most ${mostPieces} of the pieces looked at on that day were forecast: the next look at each, and the usage at which it was finished${evenings > eveningsScored ? ` (${eveningsScored} of ${evenings} evenings, drawn by chance)` : ""}.`,
    },
    accuracy,
  };
}
