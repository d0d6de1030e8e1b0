/** The public face of the statistics: outside this folder, nothing else of it is imported. */
export { erfcx, logNormalCdf, normalCdf, normalPdf, normalQuantile } from "./normal.ts";
