import { setTimeout } from "node:timers/promises";
import type { LineBreakage } from "../domain/breakage.ts";
import type { Kind } from "../domain/kind.ts";
import { type LineOverrides, wearLimit, wearPrior, wearScale } from "../domain/wear.ts";
import { updateWearLine, wearFitVersion, type WearLineFit } from "../stats/index.ts";
import type { Db } from "../storage/database.ts";
import { keepLineModels, selectEvidence, selectLineModel } from "../storage/line-models.ts";
import type { LineModelRow, LineRow } from "../storage/tables.ts";
import { lineAndKind } from "./keep-pieces.ts";
import { breakagesOfLine, lineEvidence } from "./line-evidence.ts";
import { overridesOf } from "./line-overrides.ts";
import { type FitDone, fitHere, type FitTask, type RunFit } from "./run-fit.ts";
import type { Work } from "./work.ts";

export { seenAtUsage } from "./line-evidence.ts";

/** How the pieces of a line wear by the log. Everything in it is plain JSON. */
interface LineFit {
  wear: WearLineFit;
  fitMs: number;
}

/** What the log says of a line: how its pieces wear, and how often they break. */
export interface CurrentModel extends LineFit {
  breakage: LineBreakage;
  line: LineRow;
  kind: Kind;
  overrides: LineOverrides;
  /** false where newer readings are still being fitted */
  current: boolean;
}

/** Where fits run elsewhere, a line that takes longer than this is fitted while its last fit goes on answering. */
const usualPatienceMs = 60;
const modelsKept = 5000;
/**
 * A fit that takes less than this is made again rather than saved. Saving holds up the thread that answers for longer
 * (measured: a commit of one fit 8 ms, beside 4 ms of fitting on another thread), and so does bringing many into the
 * database file now and then.
 */
const worthSavingMs = 40;
/** Turns of the event loop to one refit. */
const turnsToARefit = 4;
/** Fits made elsewhere are saved a little later, a few together: each commit waits for the disk. */
const savePauseMs = 100;
const savedTogether = 5;

/** A refit that several may wait for. */
interface UnderWay {
  refit: Promise<Kept>;
  /** resolves when the last fit cannot simply be updated, so that a new one has to be made */
  fitting: Promise<void>;
}

/** A fit, and the count of the log's changes that it rests on. */
interface Kept {
  evidence: number;
  model: LineFit;
}

/** What is known of the breakages of a line, and the counts of the log's changes that it rests on. */
interface KeptBreakage {
  evidence: number;
  exposure: number;
  breakage: Promise<LineBreakage>;
}

/** A fit to be made. */
interface Wanted {
  work: Work;
  line: LineRow;
  kind: Kind;
  before: LineFit | undefined;
  /** called when the last fit cannot simply be updated */
  onFit: () => void;
}

export interface LineModelsOptions {
  /** where fits run; on the calling thread if not given */
  runFit?: RunFit;
  /** how long an answer waits for a refit before it rests on the last fit; for ever where fits run on its thread */
  patienceMs?: number;
  /** told of a fit that failed behind an answer; an answer that waits for a failed fit fails itself */
  onFault?: (error: Error) => void;
}

/** The fits of all lines: read from memory, or from the database, or made when what they rest on has changed. */
export class LineModels {
  readonly #kept = new Map<string, Kept>();
  readonly #breakages = new Map<string, KeptBreakage>();
  readonly #underWay = new Map<string, UnderWay>();
  readonly #unsaved = new Map<string, LineModelRow>();
  #saving: Promise<void> | null = null;
  #turns: Promise<void> = Promise.resolve();
  readonly #elsewhere: boolean;
  readonly #runFit: RunFit;
  readonly #patienceMs: number;
  readonly #onFault: (error: Error) => void;

  constructor({ runFit, patienceMs, onFault = () => {} }: LineModelsOptions = {}) {
    this.#elsewhere = runFit !== undefined;
    this.#runFit = runFit ?? fitHere;
    this.#patienceMs = patienceMs ?? (this.#elsewhere ? usualPatienceMs : Infinity);
    this.#onFault = onFault;
  }

  /** The model of a line. It is fitted first if there is none; a slow refit goes on behind the answer. */
  async get(work: Work, lineId: string): Promise<CurrentModel> {
    const { line, kind } = await lineAndKind(work, lineId);
    const breakage = await this.#breakageOf(work.db, line, kind);
    const about = { line, kind, overrides: overridesOf(line), breakage };
    const known = await this.#known(work.db, line);
    if (known?.evidence === line.evidence) return { ...known.model, ...about, current: true };
    if (known === undefined) {
      const { model } = await this.#refitTo({ work, line, kind, before: undefined, onFit: () => {} });
      return { ...model, ...about, current: true };
    }
    let onFit = () => {};
    const fitting = new Promise<void>((resolve) => (onFit = resolve));
    const wanted = { work, line, kind, before: known.model, onFit };
    const refit = this.#refitTo(wanted).catch((error: unknown) => {
      this.#onFault(error instanceof Error ? error : new Error(String(error)));
      return undefined;
    });
    const fresh = await this.#inTime(refit, fitting, known.model.fitMs);
    return { ...(fresh ?? known).model, ...about, current: fresh !== undefined };
  }

  /** A fit that is not kept, made where fits run. */
  fit(task: FitTask): Promise<FitDone> {
    return this.#runFit(task);
  }

  /** What a refit gives, or undefined where it would keep the answer waiting for too long. */
  async #inTime(
    refit: Promise<Kept | undefined>,
    fitting: Promise<void>,
    lastFitMs: number,
  ): Promise<Kept | undefined> {
    if (this.#patienceMs === Infinity) return refit;
    if (lastFitMs >= this.#patienceMs) return Promise.race([refit, fitting.then(() => undefined)]);
    return Promise.race([refit, setTimeout(this.#patienceMs, undefined, { ref: false })]);
  }

  /** Resolves when no refit is under way any more, and all that were made are saved. */
  async settled(): Promise<void> {
    await Promise.allSettled([...this.#underWay.values()].map(({ refit }) => refit));
    await this.#saving;
  }

  /** Saves a fit: at once where it was made here or in a transaction, else with others a little later. */
  async #save(db: Db, row: LineModelRow): Promise<void> {
    if (!this.#elsewhere || db.isTransaction) return keepLineModels(db, [row]);
    this.#unsaved.set(row.lineId, row);
    this.#saving ??= this.#saveAll(db)
      .catch((error: Error) => this.#onFault(error))
      .finally(() => {
        this.#saving = null;
      });
  }

  async #saveAll(db: Db): Promise<void> {
    while (this.#unsaved.size > 0) {
      await setTimeout(savePauseMs);
      const rows = [...this.#unsaved.values()].slice(0, savedTogether);
      for (const { lineId } of rows) this.#unsaved.delete(lineId);
      await keepLineModels(db, rows);
    }
  }

  async #known(db: Db, line: LineRow): Promise<Kept | undefined> {
    const kept = this.#kept.get(line.id);
    if (kept !== undefined && kept.evidence === line.evidence) return kept;
    const row = await selectLineModel(db, line.id);
    // What is kept may be newer than what is saved.
    if (row === undefined || (kept !== undefined && row.evidence <= kept.evidence)) return kept;
    const model = JSON.parse(row.fit) as LineFit;
    if (model.wear.version !== wearFitVersion) return kept;
    return this.#keep(line.id, row.evidence, model);
  }

  #keep(lineId: string, evidence: number, model: LineFit): Kept {
    const one = { evidence, model };
    put(this.#kept, lineId, one);
    return one;
  }

  /** What is known of a line's breakages: the same object for as long as nothing in the log has changed it. */
  #breakageOf(db: Db, { id, evidence, exposure }: LineRow, kind: Kind): Promise<LineBreakage> {
    const kept = this.#breakages.get(id);
    if (kept?.evidence === evidence && kept.exposure === exposure) return kept.breakage;
    const breakage = breakagesOfLine(db, id, kind);
    // What a transaction counts may be taken back.
    if (db.isTransaction) return breakage;
    put(this.#breakages, id, { evidence, exposure, breakage });
    breakage.catch(() => this.#breakages.delete(id));
    return breakage;
  }

  /** A fit that rests on all that `line` counts; one that began before the last change is followed by another. */
  async #refitTo(wanted: Wanted): Promise<Kept> {
    // Inside a transaction nothing else may be waited for: what is under way outside waits for the transaction.
    if (wanted.work.db.isTransaction) return this.#refit(wanted);
    const first = await this.#refitOnce(wanted);
    return first.evidence >= wanted.line.evidence
      ? first
      : this.#refitOnce({ ...wanted, before: first.model });
  }

  /** However many ask at once, a line is fitted once. */
  #refitOnce(wanted: Wanted): Promise<Kept> {
    const { id } = wanted.line;
    let underWay = this.#underWay.get(id);
    if (underWay === undefined) {
      let onFit = () => {};
      const fitting = new Promise<void>((resolve) => (onFit = resolve));
      const refit = this.#refit({ ...wanted, onFit }).finally(() => this.#underWay.delete(id));
      underWay = { refit, fitting };
      this.#underWay.set(id, underWay);
    }
    void underWay.fitting.then(wanted.onFit);
    return underWay.refit;
  }

  /**
   * Waits for this refit's turn. Reading the log for a fit takes a millisecond or two of the thread that answers, and the driver of the
   * database gives nobody else a chance meanwhile: with one refit to a few turns of the event loop, an answer waits for one, not for all,
   * and answers that have piled up behind something slow are given first. With nothing to answer a turn takes no time.
   */
  #turn(): Promise<void> {
    this.#turns = this.#turns.then(async () => {
      for (let turn = 0; turn < turnsToARefit; turn++) await new Promise((resolve) => setImmediate(resolve));
    });
    return this.#turns;
  }

  async #refit({ work, line, kind, before, onFit }: Wanted): Promise<Kept> {
    if (this.#elsewhere && !work.db.isTransaction) await this.#turn();
    // Read the count first: if the log changes while fitting, the fit is out of date at once, and not too new.
    const evidence = (await selectEvidence(work.db, line.clubId, line.id)) ?? line.evidence;
    const pieces = await lineEvidence(work.db, line, kind);
    const overrides = overridesOf(line);
    const limit = wearLimit(wearScale(kind, overrides))!;
    const prior = wearPrior(kind, overrides);
    // After a reading or two the last fit is weighted anew here: that takes less time than to hand it to a thread.
    const updated = before && updateWearLine(before.wear, { pieces, limit }, prior);
    if (updated !== undefined) return this.#keep(line.id, evidence, { wear: updated, fitMs: before!.fitMs });
    onFit();
    const { wear, ms } = await this.#runFit({ pieces, limit, prior, start: before?.wear });
    const model = { wear, fitMs: ms };
    const row = { id: line.id, clubId: line.clubId, lineId: line.id, evidence, fittedAt: work.now() };
    if (ms >= worthSavingMs) await this.#save(work.db, { ...row, fit: JSON.stringify(model) });
    return this.#keep(line.id, evidence, model);
  }
}

/** Keeps one thing more; the one that was put in first goes where there are too many. */
function put<T>(kept: Map<string, T>, lineId: string, one: T): void {
  if (kept.size >= modelsKept && !kept.has(lineId)) kept.delete(kept.keys().next().value!);
  kept.set(lineId, one);
}
