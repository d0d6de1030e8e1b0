import { fitWearLine, type WearLineFit, type WearPiece, type WearPrior } from "../stats/index.ts";

/** Everything that the fit of one line needs, as values that can be sent to another thread. */
export interface FitTask {
  pieces: WearPiece[];
  limit: number;
  prior: WearPrior;
  /** an earlier fit of the line, from which the search starts */
  start: WearLineFit | undefined;
}

export interface FitDone {
  wear: WearLineFit;
  /** time that the fit itself took, without waiting for its turn, milliseconds */
  ms: number;
}

/** Fits a line, here or elsewhere; rejects with whatever went wrong with this fit. */
export type RunFit = (task: FitTask) => Promise<FitDone>;

/** Fits on the thread that calls, which answers nothing else meanwhile. */
export const fitHere: RunFit = async ({ pieces, limit, prior, start }) => {
  const started = performance.now();
  const wear = fitWearLine({ pieces, limit }, prior, start === undefined ? {} : { start });
  return { wear, ms: performance.now() - started };
};
