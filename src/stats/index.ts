/** The public face of the statistics: outside this folder, nothing else of it is imported. */

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
  chiSquareQuantile,
  digamma,
  type GammaParameters,
  gammaP,
  gammaQ,
  gammaQuantile,
  logGamma,
  trigamma,
} from "./gamma.ts";
export { erfcx, logNormalCdf, normalCdf, normalPdf, normalQuantile } from "./normal.ts";
