/** The public face of the statistics: outside this folder, nothing else of it is imported. */

export { fillInHorizon, type ServiceTarget, smallestStock } from "./base-stock.ts";
export { type BetaParameters, betaCdf, betaQuantile, studentTCdf, studentTQuantile } from "./beta.ts";
export {
  type NegativeBinomialParameters,
  negativeBinomialCdf,
  negativeBinomialPmf,
  negativeBinomialQuantile,
  poissonCdf,
  poissonPmf,
  poissonQuantile,
} from "./counts.ts";
export {
  compoundPoissonLaw,
  logarithmicLaw,
  negativeBinomialFromMoments,
  negativeBinomialLaw,
  poissonLaw,
} from "./demand-laws.ts";
export { lawPower } from "./law-power.ts";
export { type DemandProcess, type DemandRate, demandProcess } from "./demand-process.ts";
export {
  convolve,
  convolveAll,
  expectedLeft,
  expectedShort,
  expectedShortByStock,
  mixture,
  pmfCdf,
  pmfMean,
  pmfQuantile,
  pmfVariance,
  scaleToBatches,
  trimTail,
} from "./discrete.ts";
export { ConvergenceError } from "./errors.ts";
export {
  chiSquareQuantile,
  digamma,
  type GammaParameters,
  gammaP,
  gammaQ,
  gammaQuantile,
  logGamma,
  trigamma,
} from "./gamma.ts";
export {
  demandOverLeadTime,
  type LeadTimePoint,
  leadTimeDemandMoments,
  leadTimePoints,
  leadTimePosterior,
  wholePeriodLeadTimes,
} from "./lead-time.ts";
export type { LifeObservation } from "./life-data.ts";
export {
  conditionalSurvival,
  type LifeDistribution,
  type LognormalLife,
  lifeDensity,
  lifeHazard,
  lifeLogSurvival,
  lifeMean,
  lifeQuantile,
  lifeSurvival,
  residualQuantile,
  type WeibullLife,
} from "./life-distribution.ts";
export {
  chooseLife,
  fitLife,
  type Interval,
  type LifeChoice,
  type LifeFit,
  type LifeFitOptions,
} from "./life-fit.ts";
export {
  type ItemStanding,
  type LifePosterior,
  lifePosterior,
  posteriorConditionalSurvival,
  posteriorExpectation,
  posteriorResidualQuantile,
  posteriorSurvival,
} from "./life-posterior.ts";
export type { BeliefRange, LifePrior } from "./life-prior.ts";
export { posteriorQuantiles } from "./posterior-quantiles.ts";
export {
  breakageCount,
  type RateBelief,
  rateBelief,
  rateQuantile,
  unbrokenProbability,
  updateRate,
} from "./breakage.ts";
export { type Coverage, intervalCoverage, pitUniformity, type Uniformity } from "./calibration.ts";
export {
  causeIncidences,
  combinedQuantile,
  combinedSurvival,
  endsByBreakage,
  type WearSurvival,
} from "./competing.ts";
export { integrate } from "./integrate.ts";
export {
  type LeastSquaresFit,
  type LinePrediction,
  leastSquares,
  predictLeastSquares,
} from "./least-squares.ts";
export { fitMixedModel, type MixedModelData, type MixedModelFit } from "./mixed-model.ts";
export {
  aalenJohansen,
  type CauseObservation,
  type CurveObservation,
  type CurveOptions,
  type CurveStep,
  curveQuantile,
  type IncidenceStep,
  kaplanMeier,
} from "./survival-curve.ts";
export {
  brierScore,
  crpsCount,
  crpsExponential,
  crpsGamma,
  crpsLife,
  crpsNormal,
  crpsNormalMixture,
  crpsSample,
  crpsToHorizon,
  intervalScore,
  quantileScore,
} from "./scores.ts";
export { type TurnbullInterval, turnbullEstimate } from "./turnbull.ts";
export {
  type ShapeBelief,
  type ShapeEvidence,
  shapeEvidence,
  updateShapeBelief,
  weibayesScale,
  weibayesScaleLimit,
  weibayesSurvival,
} from "./weibayes.ts";
export { erfcx, logNormalCdf, normalCdf, normalPdf, normalQuantile } from "./normal.ts";
export { normalLoss, normalLossInverse } from "./normal-loss.ts";
export { gammaQuadrature } from "./quadrature.ts";
export { renewalCounts, renewalCountsThrough, renewalFunction } from "./renewal.ts";
export type { Cdf } from "./renewal-grid.ts";
export { discreteRenewal, latticeRenewalCounts } from "./renewal-lattice.ts";
export { levelsForDemand, type StockLevels, stockLevels } from "./reorder-point.ts";
export {
  orderPositions,
  type PositionPoint,
  periodicFillRate,
  type ServiceMeasures,
  serviceMeasures,
} from "./service-measures.ts";
export {
  firstPassageCdf,
  firstPassageDensity,
  firstPassageMoments,
  firstPassageQuantile,
  type LevelAndDrift,
  levelPassageCdf,
  type PassagePath,
} from "./first-passage.ts";
export {
  crossingTime,
  type DriftFit,
  type DriftModel,
  type DriftScatter,
  type DriftSeries,
  filterDrift,
  fitDrift,
  predictLevel,
  profileDrift,
} from "./state-space.ts";
export { type StraightLine, straightLine } from "./straight-line.ts";
export {
  type PossibleOutcome,
  type SampleInformation,
  sampleInformation,
} from "./value-of-information.ts";
export { fitWearLine } from "./wear-fit.ts";
export { forecastNewPiece, forecastWear } from "./wear-forecast.ts";
export { fitGammaProcess, type GammaProcess, gammaProcessCdf } from "./wear-gamma.ts";
export { splitFit } from "./wear-strata.ts";
export { conditionMultipliers, populationSummary } from "./wear-summary.ts";
export { updateWearLine } from "./wear-update.ts";
export { wearFitVersion } from "./wear-types.ts";
export type {
  Quantiles,
  WearForecast,
  WearHyper,
  WearLineFit,
  WearObservation,
  WearPiece,
  WearPrior,
  WearSurprise,
} from "./wear-types.ts";
export { type AgeReplacement, ageReplacement, ageReplacementCost } from "./age-replacement.ts";
export {
  ageReplacementPeriods,
  blockReplacementCost,
  groupReplacement,
  setCdf,
} from "./group-replacement.ts";
export { bestLotReorder, bestOrderUpTo, lotReorderCost, orderUpToCost } from "./order-policy.ts";
export {
  criticalRatio,
  economicOrderQuantity,
  economicPacks,
  lotAndReorderLevel,
  newsvendor,
  newsvendorCost,
  newsvendorNormal,
  normalReorderLevel,
  orderQuantity,
} from "./order-quantity.ts";
export { delayedCounts, type RenewalTable, renewalTable } from "./renewal-shared.ts";
export { erlangCounts, erlangStagesLeft } from "./renewal-erlang.ts";
export {
  bestKit,
  cheapestKit,
  evaluateKit,
  jointChance,
  type Kit,
  type KitAim,
  kitCurve,
  type KitLine,
  marginalKits,
} from "./spares-kit.ts";
export { createRandom, type Random } from "./random.ts";
export {
  demandLaw,
  shareWithoutShortage,
  type SimulatedLine,
  type SimulatedPosition,
  type SimulatedSeasons,
  simulateSeasons,
} from "./season-simulation.ts";
export { type CoupledLine, coupledKit, type Scenario } from "./coupled-kit.ts";
