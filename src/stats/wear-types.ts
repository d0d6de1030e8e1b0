/** What goes into and comes out of the wear-line model. Usage and wear are in any units, used consistently. */

/** Range of a forecast quantity: 10th percentile, median, 90th percentile. */
export interface Quantiles {
  p10: number;
  median: number;
  p90: number;
}

/** What is believed of a line before its own readings. */
export interface WearPrior {
  /** usual life of a new piece to its limit, over pieces, in usage units at multiplier 1 */
  life: { p10: number; p90: number };
  /** coefficient of variation of the wear rate from piece to piece (centre of its prior), > 0 */
  pieceSpread: number;
  /** coefficient of variation of the wear of one run (centre of its prior), > 0 */
  runSpread: number;
  /** usage of a typical run, > 0 */
  usagePerRun: number;
  /** standard deviation of a piece's as-new size about its own stated start, wear units, >= 0 */
  startSd: number;
  /** standard deviation of one reading where an observation gives none, wear units, >= 0 */
  readingSd: number;
  /** standard deviation of the grading error in shares of the limit, default 0.10 */
  gradeSd?: number;
  /** standard deviation of the log of the exponent of usage about 0 where the path bends, default 0.3, >= 0 */
  exponentSd?: number;
  /**
   * standard deviation of the bend about 0 where the path bends, default 0.37, >= 0. The bend is the log of the wear rate of a
   * piece at the limit over that of a new one. With this and `exponentSd` 0 the path is straight
   */
  bendSd?: number;
  /** probability that the path does not bend at all, default 0.2, from 0 to below 1 */
  straightShare?: number;
  /** multipliers on usage under named conditions; the prior of each is log-normal, `sdLog` default 0.4 */
  conditions?: { name: string; multiplier: number; sdLog?: number }[];
}

export interface WearObservation {
  /** cumulative usage of the piece when it was observed, >= 0, never falling */
  usage: number;
  /** the same usage split over `prior.conditions`, in their order; what is not covered has multiplier 1 */
  exposures?: number[];
  /** measured wear: distance from the piece's stated as-new size towards the limit */
  wear?: number;
  /** standard deviation of this reading; `prior.readingSd` when not given */
  sd?: number;
  /** ordinal grade 0 to 4, with boundaries at 0.10, 0.40, 0.75 and 1.00 of the limit */
  grade?: number;
}

export interface WearPiece {
  id: string;
  /** wear at which the piece is finished, > 0 */
  limit: number;
  /** overrides `prior.startSd`: 0 when the as-new size is certain, large for a second-hand piece */
  startSd?: number;
  /** standard deviation of the usage the piece had before its stated usage began, usage units */
  priorUsageSd?: number;
  observations: WearObservation[];
}

/** One set of hyper-parameters, in the scaled units of the fit (usage over usual life, wear over limit). */
export interface WearHyper {
  /** median wear rate over pieces, from new to the limit */
  rate: number;
  /** standard deviation of the log rate from piece to piece */
  spread: number;
  /** diffusion standard deviation over the rate, root of a scaled usage unit */
  noise: number;
  /** factor on every stated reading error */
  reading: number;
  /** exponent of usage: below 1 wear slows down, above 1 it speeds up */
  exponent: number;
  /** log of the wear rate at the limit over that of a new piece: below 0 wear slows down, above 0 it speeds up */
  bend: number;
  /** factor on usage under each condition of the prior */
  multipliers: number[];
}

/** Raised when fits of before can no longer be read: what is stored under another number has to be fitted anew. */
export const wearFitVersion = 6;

/** A fitted line, plain JSON. */
export interface WearLineFit {
  version: typeof wearFitVersion;
  /** units of the scaled model */
  scale: { usage: number; wear: number };
  prior: WearPrior;
  /** indices of the conditions that the data have met; the others keep their prior */
  activeConditions: number[];
  /** mode in standardised coordinates (prior = standard normal); where the next fit starts */
  mode: number[];
  /** hyper-parameters at the mode, the spread widened by what is unknown of the line's rate */
  centre: WearHyper;
  /** hyper-parameters with weights that sum to one */
  points: { hyper: WearHyper; weight: number }[];
  /** the pieces that were used, with their log-likelihood at each point; the fingerprint tells whether one has changed */
  pieces: { id: string; readings: number; fingerprint?: number; logLikelihood: number[] }[];
  counts: { pieces: number; readings: number };
  /** log of the probability of the readings under the prior */
  logEvidence: number;
  /** how often the points were weighted anew since they were made, default 0 */
  updates?: number;
}

export interface WearSurprise {
  /** index into the piece's observations */
  index: number;
  /** reading minus what the other readings predict, over the standard deviation of that difference */
  standardScore: number;
  /** probability that the reading is an ordinary one; the weight it has in the forecast */
  weight: number;
}

export interface WearForecast {
  /** wear now */
  wear: Quantiles;
  /** wear per unit of usage over the next run at multiplier 1 */
  rate: Quantiles;
  /** probability that the wear is past the limit now */
  pastLimitProbability: number;
  /** probability that the limit is passed within further usage at multiplier 1, given that it is not yet passed */
  remainingCdf(usageAhead: number): number;
  /** further usage by which the limit is passed with probability `p`; null when that is never reached */
  remainingQuantile(p: number): number | null;
  /** mean further usage to the limit; null when the law has no finite mean */
  remainingMean: number | null;
  /** readings that are off the trend: weighed down, never dropped */
  surprises: WearSurprise[];
}
