import { type WornBy, tabulated } from "../domain/demand.ts";
import { type LineKnowledge, type PieceInUse, pieceForecast } from "../domain/forecast.ts";
import type { AnyLimit } from "../domain/wear.ts";
import { forecastNewPiece, splitFit, type WearForecast, type WearLineFit } from "../stats/index.ts";

/** One part of a line's fit: the wear of its pieces if the line wears so. */
export interface Stratum {
  weight: number;
  wear: WearLineFit;
}

/** What follows from one fit is kept as long as the fit itself is, and forgotten with it. */
interface Kept {
  strata: Stratum[];
  tables: Map<string, { of: string; worn: WornBy[] }>;
}
const keptOf = new WeakMap<WearLineFit, Kept>();

/** How many ways the wear of a line may be are told apart: the spread that is lost within them is about 3 % (measured). */
const strataCount = 6;
const tablesKept = 20_000;

function kept(wear: WearLineFit): Kept {
  let one = keptOf.get(wear);
  if (one === undefined) {
    const strata = splitFit(wear, strataCount).map(({ weight, fit }) => ({ weight, wear: fit }));
    one = { strata, tables: new Map() };
    keptOf.set(wear, one);
  }
  return one;
}

export const strataOf = (wear: WearLineFit): readonly Stratum[] => kept(wear).strata;

/** Tables reach to the next of a ladder of usages, so that questions about different days share them. */
function ladder(wear: WearLineFit, end: number): number {
  if (!(end > 0)) return 0;
  return wear.scale.usage * 2 ** Math.ceil(Math.log2(end / wear.scale.usage) - 1e-9);
}

/**
 * The chance that one piece is worn out within further wearing usage, under each stratum of its line. Pieces that nobody
 * has looked at share a table where they have the same usage behind them.
 */
export function wornTables(
  line: LineKnowledge,
  piece: PieceInUse,
  end: number,
  limit: AnyLimit = "club",
): readonly WornBy[] {
  const reach = ladder(line.wear, end);
  const { id, ...said } = piece;
  const of = JSON.stringify(said);
  const key = `${piece.seen.length === 0 ? `unseen ${of}` : id} ${reach}${limit === "club" ? "" : ` ${limit}`}`;
  return remembered(line.wear, key, of, ({ wear }) =>
    tabulated(wornBy(pieceForecast({ ...line, wear }, piece, limit)), reach),
  );
}

/** The same for a new piece of the line; a limit of its own may be given. */
export function newWornTables(line: LineKnowledge, end: number, limit?: number): readonly WornBy[] {
  const reach = ladder(line.wear, end);
  const given = limit === undefined ? {} : { limit };
  return remembered(line.wear, `new ${reach} ${limit ?? ""}`, "", ({ wear }) =>
    tabulated(wornBy(forecastNewPiece(wear, given)), reach, 40),
  );
}

function remembered(
  wear: WearLineFit,
  key: string,
  of: string,
  make: (stratum: Stratum) => WornBy,
): readonly WornBy[] {
  const { strata, tables } = kept(wear);
  const before = tables.get(key);
  if (before?.of === of) return before.worn;
  if (tables.size >= tablesKept) tables.clear();
  const worn = strata.map(make);
  tables.set(key, { of, worn });
  return worn;
}

const wornBy =
  (forecast: WearForecast): WornBy =>
  (usage) => {
    const past = forecast.pastLimitProbability;
    return usage <= 0 ? past : past + (1 - past) * forecast.remainingCdf(usage);
  };
