import type { Kind } from "../domain/kind.ts";
import { type BreakageEvidence, breakageEvidence } from "../domain/breakage.ts";
import { type UsedRun, usageAtMoments } from "../domain/usage.ts";
import {
  type LineOverrides,
  type SeenAtUsage,
  wearLimit,
  wearPiece,
  wearPrior,
  wearScale,
} from "../domain/wear.ts";
import { fitWearLine, type WearLineFit, type WearPiece } from "../stats/index.ts";
import type { Db } from "../storage/database.ts";
import { type SeenWear, selectSeenWear } from "../storage/inspections.ts";
import {
  keepLineModel,
  type RunOfPiece,
  selectEvidence,
  selectLineModel,
  selectPiecesOfLine,
  selectRunsOfPieces,
} from "../storage/line-models.ts";
import type { LineRow, PieceRow } from "../storage/tables.ts";
import { ageSince, lineAndKind } from "./keep-pieces.ts";
import type { Work } from "./work.ts";

/** What the log says of a line: how its pieces wear, and how often they break. Everything in it is plain JSON. */
export interface LineModel {
  wear: WearLineFit;
  breakage: BreakageEvidence;
  fitMs: number;
}

export interface CurrentModel extends LineModel {
  line: LineRow;
  kind: Kind;
  overrides: LineOverrides;
  /** false where newer readings are still being fitted */
  current: boolean;
}

/** Older pieces than this say nothing that the newer ones do not, and fitting stays bounded. */
const piecesFitted = 300;
/** A line that takes longer to fit than this is fitted while its last fit goes on answering. */
const patienceMs = 60;
const modelsKept = 5000;

export const overridesOf = (line: LineRow): LineOverrides => ({
  asNew: line.asNew,
  limits: line.limits === null ? null : JSON.parse(line.limits),
  usualLife: line.usualLife === null ? null : JSON.parse(line.usualLife),
});

/** The looks at one piece, each with the usage the piece had then. */
export function seenAtUsage(
  kind: Kind,
  piece: PieceRow,
  firstFittedAt: string | undefined,
  runs: readonly UsedRun[],
  seen: readonly SeenWear[],
): SeenAtUsage[] {
  const since = ageSince(piece, firstFittedAt);
  const history = { clock: kind.clock, priorUsage: piece.priorUsage ?? 0, since, runs };
  const usages = usageAtMoments(
    history,
    seen.map((one) => one.at),
  );
  return seen.map(({ value, sd, grade }, i) => ({ ...usages[i]!, value, sd, grade }));
}

function byPiece<T extends { pieceId: string }>(rows: readonly T[]): Map<string, T[]> {
  const groups = new Map<string, T[]>();
  for (const row of rows) {
    const group = groups.get(row.pieceId);
    if (group === undefined) groups.set(row.pieceId, [row]);
    else group.push(row);
  }
  return groups;
}

/** The fits of all lines: read from memory, or from the database, or made when what they rest on has changed. */
export class LineModels {
  readonly #kept = new Map<string, { evidence: number; model: LineModel }>();
  readonly #underWay = new Map<string, Promise<LineModel>>();

  /** The model of a line. It is fitted first if there is none; a slow refit goes on behind the answer. */
  async get(work: Work, lineId: string): Promise<CurrentModel> {
    const { line, kind } = await lineAndKind(work, lineId);
    const overrides = overridesOf(line);
    const known = await this.#known(work.db, line);
    if (known?.evidence === line.evidence) return { ...known.model, line, kind, overrides, current: true };
    if (known === undefined || known.model.fitMs < patienceMs)
      return { ...(await this.#refit(work, line, kind, known?.model)), line, kind, overrides, current: true };
    if (!this.#underWay.has(lineId)) {
      const refit = this.#refit(work, line, kind, known.model).finally(() => this.#underWay.delete(lineId));
      this.#underWay.set(lineId, refit);
    }
    return { ...known.model, line, kind, overrides, current: false };
  }

  /** Resolves when no refit is under way any more. */
  async settled(): Promise<void> {
    await Promise.allSettled(this.#underWay.values());
  }

  async #known(db: Db, line: LineRow): Promise<{ evidence: number; model: LineModel } | undefined> {
    const kept = this.#kept.get(line.id);
    if (kept !== undefined && kept.evidence === line.evidence) return kept;
    const row = await selectLineModel(db, line.id);
    if (row === undefined) return kept;
    return this.#keep(line.id, row.evidence, JSON.parse(row.fit) as LineModel);
  }

  #keep(lineId: string, evidence: number, model: LineModel) {
    if (this.#kept.size >= modelsKept) this.#kept.delete(this.#kept.keys().next().value!);
    const one = { evidence, model };
    this.#kept.set(lineId, one);
    return one;
  }

  async #refit(work: Work, line: LineRow, kind: Kind, before: LineModel | undefined): Promise<LineModel> {
    // Read the count first: if the log changes while fitting, the fit is out of date at once, and not too new.
    const evidence = (await selectEvidence(work.db, line.clubId, line.id)) ?? line.evidence;
    const { pieces, breakage } = await lineEvidence(work.db, line, kind);
    const overrides = overridesOf(line);
    const started = performance.now();
    const limit = wearLimit(wearScale(kind, overrides))!;
    const wear = fitWearLine(
      { pieces, limit },
      wearPrior(kind, overrides),
      before === undefined ? undefined : { start: before.wear },
    );
    const model = { wear, breakage, fitMs: performance.now() - started };
    const row = { id: line.id, clubId: line.clubId, lineId: line.id, evidence, fittedAt: work.now() };
    await keepLineModel(work.db, { ...row, fit: JSON.stringify(model) });
    return this.#keep(line.id, evidence, model).model;
  }
}

/** Everything in the log that speaks of a line: its pieces as the wear line sees them, and their breakages. */
async function lineEvidence(
  db: Db,
  line: LineRow,
  kind: Kind,
): Promise<{ pieces: WearPiece[]; breakage: BreakageEvidence }> {
  const rows = await selectPiecesOfLine(db, line.id, piecesFitted);
  const first = rows[0];
  if (first === undefined) return { pieces: [], breakage: breakageEvidence(kind, []) };
  const { runs, firstFitted } = await selectRunsOfPieces(db, line.id, first.id);
  const runsOf: Map<string, RunOfPiece[]> = byPiece(runs);
  const seen = await selectSeenWear(
    db,
    rows.map((row) => row.id),
  );
  const seenOf = byPiece(seen);
  const overrides = overridesOf(line);
  const pieces = rows.map((row) => {
    const looks = seenAtUsage(
      kind,
      row,
      firstFitted.get(row.id),
      runsOf.get(row.id) ?? [],
      seenOf.get(row.id) ?? [],
    );
    return wearPiece(kind, overrides, row, looks);
  });
  const lives = rows.map((row) => ({
    runs: runsOf.get(row.id)?.length ?? 0,
    broken: row.retiredFor === "broken",
  }));
  return { pieces: pieces.filter((p) => p.observations.length > 0), breakage: breakageEvidence(kind, lives) };
}
