import type { Profiler } from "node:inspector";

/** Where the time of an answer goes, as shares by stage, read off a profile of the thread that answers. */
export type Stage =
  | "reading the log"
  | "fits"
  | "demand"
  | "decisions"
  | "writing the answer"
  | "waiting"
  | "other";
export type Shares = Partial<Record<Stage, number>>;

/** The first of these that a file's name has tells its stage; a function of no stage counts to the one that called it. */
const stages: [RegExp, Stage][] = [
  [
    /src\/storage\/|better-sqlite3|kysely|line-evidence|line-pieces|domain\/usage|calendar-ahead/,
    "reading the log",
  ],
  [/services\/line-models|fit-pool/, "fits"],
  [/domain\/demand|worn-tables|line-demand|domain\/calendar/, "demand"],
  [
    /domain\/(restock|fill-order|budget|shelf)|services\/(restock-list|lead-times|shop-shelves|stock-by-age)/,
    "decisions",
  ],
  [/src\/http\/|\/zod\/|\/hono\//, "writing the answer"],
];

export function sharesOf({ nodes, samples = [], timeDeltas = [] }: Profiler.Profile): Shares {
  const stageOf = new Map<number, Stage>();
  const children = new Map(nodes.map((node) => [node.id, node]));
  const visit = (id: number, above: Stage): void => {
    const node = children.get(id)!;
    const { url, functionName } = node.callFrame;
    const own = functionName === "(idle)" ? "waiting" : stages.find(([pattern]) => pattern.test(url))?.[1];
    const stage = own ?? above;
    stageOf.set(id, stage);
    for (const child of node.children ?? []) visit(child, stage);
  };
  visit(nodes[0]!.id, "other");
  const shares: Shares = {};
  const total = timeDeltas.reduce((sum, one) => sum + one, 0);
  for (const [i, id] of samples.entries()) {
    const stage = stageOf.get(id)!;
    shares[stage] = (shares[stage] ?? 0) + timeDeltas[i]! / total;
  }
  return shares;
}
