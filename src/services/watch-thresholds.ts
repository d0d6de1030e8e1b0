import type { Audience, ChangeType, Subject } from "../domain/change.ts";
import { DomainError } from "../domain/errors.ts";
import {
  type Crossed,
  headOfChanges,
  insertChange,
  isCrossed,
  moveReader,
  positionOfReader,
  setCrossed,
} from "../storage/changes.ts";
import { getRecord } from "../storage/records.ts";
import { type Affected, affectedBy, everything, type LineInStock } from "./affected-by.ts";
import { benchSheet } from "./bench-sheet.ts";
import { forecastPiece } from "./forecast-piece.ts";
import { lineReorderPoint } from "./line-reorder-point.ts";
import { together, type Work } from "./work.ts";

/**
 * Thresholds that the log crosses: a piece not likely to last the next meeting, a car that is not ready, a line to be
 * ordered. They are looked at beside the requests, by the first reader of the feed of changes: what was fitted, run,
 * looked at or moved since it looked last. Each crossing is remembered, so that it is told once.
 */

/** A piece is near its limit where wear is likelier than this to end it before the next meeting is over, as on the bench sheet. */
const near = 0.3;
/** And clear of it again only below this, so that a forecast that wavers does not chatter. */
const clear = 0.2;
/** The wanted chance of not running out, as where a reorder point is asked for without one. */
const target = 0.9;
const reader = "thresholds";

/** What was found about one threshold. `crossed` null: nothing that would change what was told last. */
interface Finding {
  of: Crossed;
  crossed: boolean | null;
  types: [crossed: ChangeType, back: ChangeType];
  subject: Subject;
  audience: Audience;
  data: Record<string, unknown>;
}

const pieceFinding = (
  piece: { id: string; driverId: string; mark: string; lineId: string },
  wearsOut: number,
  more: Record<string, unknown>,
): Finding => ({
  of: { subjectKind: "piece", subjectId: piece.id, driverId: "" },
  crossed: wearsOut > near ? true : wearsOut < clear ? false : null,
  types: ["piece.near-limit", "piece.clear-of-limit"],
  subject: { kind: "piece", id: piece.id },
  audience: { driverId: piece.driverId },
  data: { mark: piece.mark, lineId: piece.lineId, wearsOut, ...more },
});

/** What one look gives: findings, and lines whose need has changed with what is fitted. */
interface Look {
  findings: Finding[];
  lines: LineInStock[];
}

/** The bench sheet of a car says both: which pieces are near their limits, and whether the car is ready. */
async function lookAtCar(work: Work, carId: string): Promise<Look> {
  const { clubId } = work.actor;
  const car = await getRecord(work.db, "cars", clubId, carId, "car");
  const sheet = await benchSheet(work, carId);
  const meetingId = sheet.nextMeeting?.meetingId ?? null;
  const findings: Finding[] = [];
  const lines: LineInStock[] = [];
  for (const { pieceId, position, wearsOut, advice } of sheet.entries) {
    const piece = await getRecord(work.db, "pieces", clubId, pieceId, "piece");
    const chance = wearsOut ?? (advice === "change" ? 1 : 0);
    findings.push(pieceFinding(piece, chance, { carId, position, meetingId }));
    lines.push({ lineId: piece.lineId, driverId: car.driverId });
  }
  const toChange = sheet.entries.filter(({ advice }) => advice === "change").map(({ position }) => position);
  findings.push({
    of: { subjectKind: "car", subjectId: carId, driverId: "" },
    crossed: !sheet.ready,
    types: ["car.not-ready", "car.ready"],
    subject: { kind: "car", id: carId },
    audience: { driverId: car.driverId },
    data: { name: car.name, toChange, emptyPositions: sheet.emptyPositions },
  });
  return { findings, lines };
}

/**
 * A piece that is fitted nowhere: a pack, or a spare that was used before. A spare has no meeting ahead: it is near its
 * limit where it may be past it already, and is not said to be clear before it is fitted and forecast again. A retired
 * one has no limit ahead any more, and nothing is told of it.
 */
async function lookAtLoosePiece(work: Work, pieceId: string): Promise<Look> {
  const { clubId } = work.actor;
  const piece = await getRecord(work.db, "pieces", clubId, pieceId, "piece");
  const lines = [{ lineId: piece.lineId, driverId: piece.driverId }];
  if (piece.retiredAt !== null) {
    await setCrossed(work.db, clubId, { subjectKind: "piece", subjectId: pieceId, driverId: "" }, null);
    return { findings: [], lines };
  }
  const { nextMeeting, pastLimitChance } = await forecastPiece(work, pieceId);
  const meetingId = nextMeeting?.meetingId ?? null;
  const finding = pieceFinding(piece, nextMeeting?.wearsOut ?? pastLimitChance, { meetingId });
  if (nextMeeting === null && finding.crossed === false) finding.crossed = null;
  return { findings: [finding], lines };
}

async function lookAtLine(work: Work, { lineId, driverId }: LineInStock): Promise<Look> {
  const point = await lineReorderPoint(work, lineId, { target, ...(driverId !== null && { driverId }) });
  const { sku, reorderPoint, onHand, onOrder } = point;
  const finding: Finding = {
    of: { subjectKind: "line", subjectId: lineId, driverId: driverId ?? "" },
    crossed: point.orderNow,
    types: ["line.below-reorder-point", "line.above-reorder-point"],
    subject: { kind: "line", id: lineId },
    // The need of all drivers together stands behind the club's reorder point: it is told to nobody else.
    audience: driverId === null ? "club" : { driverId },
    data: { sku, driverId, reorderPoint, onHand, onOrder },
  };
  return { findings: [finding], lines: [] };
}

/** What is gone by now, or cannot be forecast, crosses no threshold. */
const unless = (look: Promise<Look>): Promise<Look> =>
  look.catch((error: unknown) => {
    if (error instanceof DomainError) return { findings: [], lines: [] };
    throw error;
  });

/** Tells what was found where it differs from what was told last. */
async function tell(work: Work, { of, crossed, types, subject, audience, data }: Finding): Promise<void> {
  const { clubId } = work.actor;
  // One watch looks at a club, so that nobody tells the same in between; most looks find nothing new and write nothing.
  if (crossed === null || crossed === (await isCrossed(work.db, clubId, of))) return;
  const at = work.now();
  const change = { type: types[crossed ? 0 : 1], subject, audience, data };
  await together(work, async ({ db }) => {
    await setCrossed(db, clubId, of, crossed ? at : null);
    await insertChange(db, clubId, change, { at, by: null });
  });
}

/** Looks at one thing after another, and tells at once what each look finds. */
async function lookAt(work: Work, affected: Affected, rest: () => Promise<void>): Promise<void> {
  const lines = new Map<string, LineInStock>();
  const add = (line: LineInStock) => lines.set(`${line.lineId} ${line.driverId}`, line);
  const take = async (look: Promise<Look>) => {
    const found = await unless(look);
    for (const finding of found.findings) await tell(work, finding);
    found.lines.forEach(add);
    await rest();
  };
  for (const id of affected.carIds) await take(lookAtCar(work, id));
  for (const id of affected.pieceIds) await take(lookAtLoosePiece(work, id));
  affected.lines.forEach(add);
  for (const line of [...lines.values()]) await take(lookAtLine(work, line));
}

/** Where the feed has more new entries than this, looking at everything once is less work than following them. */
const most = 500;

/**
 * Looks at what the feed tells since the last look, or at everything, tells what was crossed, and keeps the place in the
 * feed when all is done. A look that is broken off is made again, and tells only what it had not told.
 *
 * @param rest waits between two things that are looked at, so that requests are not kept waiting
 */
export async function lookAtThresholds(
  work: Work,
  { all, rest }: { all: boolean; rest: () => Promise<void> },
) {
  const { clubId } = work.actor;
  const head = await headOfChanges(work.db, clubId);
  const after = await positionOfReader(work.db, clubId, reader);
  if (head === after && !all) return;
  const affected =
    all || head - after > most
      ? await everything(work)
      : await affectedBy(work, { after, head, limit: most });
  await lookAt(work, affected, rest);
  await moveReader(work.db, clubId, reader, head);
}
