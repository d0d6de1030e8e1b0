import { DomainError } from "../domain/errors.ts";
import {
  criticalRatio,
  type DemandRate,
  economicOrderQuantity,
  economicPacks,
  expectedLeft,
  expectedShort,
  type Kit,
  type KitAim,
  type KitLine,
  kitCurve,
  marginalKits,
  newsvendorCost,
  newsvendorNormal,
  normalCdf,
  normalLoss,
  pmfCdf,
  pmfQuantile,
} from "../stats/index.ts";
import { asked, requireModest } from "./ask-statistics.ts";
import { demandLaw } from "./calculate-stock.ts";

export interface EconomicQuestion {
  demandRate: number;
  orderCost: number;
  holdingCost: number;
  packSize?: number | undefined;
  minimumOrder?: number | undefined;
}

/**
 * The lot that makes ordering and holding cheapest together, as it comes in packs.
 *
 * @throws {DomainError} `inconsistent` if a number is refused
 */
export function calculateEconomicLot(question: EconomicQuestion) {
  const { packSize = 1, minimumOrder = 1, ...costs } = question;
  const lot = asked("#/demandRate", () => ({
    unroundedQuantity: economicOrderQuantity(costs),
    ...economicPacks({ ...costs, packSize, minimumOrder }),
  }));
  const tooLarge = "The best lot is too large to be counted: check the costs and their units";
  requireModest("#/holdingCost", lot.quantity, Number.MAX_SAFE_INTEGER, tooLarge);
  return lot;
}

export interface SeasonQuestion {
  demand: DemandRate;
  underCost: number;
  overCost: number;
  packSize?: number | undefined;
}

/** What a single buy of some quantity gives, for any demand. */
interface SeasonMeasures {
  cost: number;
  enough: number;
  short: number;
  left: number;
}

/**
 * The cheapest single buy for a season: as many packs as make what is missing and what is left over cheapest together.
 *
 * @throws {DomainError} `inconsistent` if a number is refused
 */
export function calculateSeasonBuy(question: SeasonQuestion) {
  const { demand, underCost: under, overCost: over, packSize = 1 } = question;
  const { unrounded, at } =
    demand.kind === "normal" ? normalSeason(demand, { under, over }) : wholeSeason(demand, { under, over });
  return asked("#/demand", () => {
    // The cost is convex, so one of the two numbers of packs beside the best quantity is the best.
    const below = Math.max(0, Math.floor(unrounded / packSize)) * packSize;
    const above = Math.max(0, Math.ceil(unrounded / packSize)) * packSize;
    const quantity = at(above).cost < at(below).cost ? above : below;
    const { cost, enough, short, left } = at(quantity);
    return {
      criticalRatio: criticalRatio({ under, over }),
      unroundedQuantity: unrounded,
      quantity,
      cost,
      chanceEnough: enough,
      expectedShort: short,
      expectedLeft: left,
    };
  });
}

type SeasonCosts = { under: number; over: number };

function normalSeason(demand: { mean: number; sd: number }, costs: SeasonCosts) {
  const { mean, sd } = demand;
  const unrounded = asked("#/demand", () => newsvendorNormal({ mean, sd, ...costs }).quantity);
  const at = (quantity: number): SeasonMeasures => {
    const z = (quantity - mean) / sd;
    const short = sd === 0 ? Math.max(0, mean - quantity) : sd * normalLoss(z);
    const left = sd === 0 ? Math.max(0, quantity - mean) : sd * normalLoss(-z);
    const enough = sd === 0 ? Number(quantity >= mean) : normalCdf(z);
    return { cost: costs.under * short + costs.over * left, enough, short, left };
  };
  return { unrounded, at };
}

function wholeSeason(demand: Exclude<DemandRate, { kind: "normal" }>, costs: SeasonCosts) {
  const law = demandLaw("#/demand", demand);
  const at = (quantity: number): SeasonMeasures => ({
    cost: newsvendorCost({ demand: law, quantity, ...costs }),
    enough: pmfCdf(law, quantity),
    short: expectedShort(law, quantity),
    left: expectedLeft(law, quantity),
  });
  return { unrounded: asked("#/demand", () => pmfQuantile(law, criticalRatio(costs))), at };
}

export interface KitQuestion {
  lines: {
    id: string;
    unitCost: number;
    demand: Exclude<DemandRate, { kind: "normal" }>;
    packSize?: number | undefined;
    held?: number | undefined;
  }[];
  budget?: number | undefined;
  target?: number | undefined;
  aim?: KitAim | undefined;
}

/** All lines together: marginal analysis looks at each unit once. */
const MOST_KIT_UNITS = 3000;
const tooManyUnits = "So many units take too long: count in packs, or ask about fewer lines at a time";
/** More unbeaten kits than this take longer than a second with some dozens of lines. */
const MOST_UNBEATEN = 1000;
const MOST_SHOWN = 200;

/**
 * Which spares to take: the best for a budget, or the cheapest that reach a target; with the curve of cost against chance
 * on the way there. Exact, or by marginal analysis where more than a thousand kits are unbeaten.
 *
 * @throws {DomainError} `inconsistent` if a number is refused, or no kit reaches the target
 */
export function calculateSparesKit({ lines, budget, target, aim = "joint" }: KitQuestion) {
  const kitLines: KitLine[] = lines.map(({ unitCost, demand, packSize = 1, held = 0 }, i) => ({
    price: unitCost,
    demand: demandLaw(`#/lines/${i}/demand`, demand),
    packSize,
    held,
  }));
  const units = kitLines.reduce((sum, { demand }) => sum + demand.length, 0);
  requireModest("#/lines", units, MOST_KIT_UNITS, tooManyUnits);
  return asked("#/lines", () => {
    const found = budget === undefined ? reachTarget(kitLines, target!) : withinBudget(kitLines, aim, budget);
    return {
      ...shown(lines, found.kit),
      exact: found.exact,
      curve: thinned(found.curve).map((kit) => shown(lines, kit)),
    };
  });
}

interface FoundKit {
  kit: Kit;
  exact: boolean;
  curve: Kit[];
}

/** All unbeaten kits, or undefined where there are too many of them. */
function exactCurve(lines: KitLine[], aim: KitAim, budget: number): Kit[] | undefined {
  try {
    return kitCurve({ lines, aim, budget, mostKits: MOST_UNBEATEN });
  } catch (error) {
    if (error instanceof RangeError && error.message.includes("unbeaten")) return undefined;
    throw error;
  }
}

function withinBudget(lines: KitLine[], aim: KitAim, budget: number): FoundKit {
  const curve = exactCurve(lines, aim, budget);
  if (curve !== undefined) return { kit: curve.at(-1)!, exact: true, curve };
  const steps = marginalKits({ lines, aim, budget });
  const kit = marginalKits({ lines, aim, budget, skip: true }).at(-1)!;
  return { kit, exact: false, curve: kit.cost > steps.at(-1)!.cost ? [...steps, kit] : steps };
}

function reachTarget(lines: KitLine[], target: number): FoundKit {
  const steps = marginalKits({ lines, aim: "joint", budget: Number.MAX_SAFE_INTEGER });
  const enough = steps.findIndex(({ jointChance }) => jointChance >= target);
  if (enough === -1) {
    const detail = "is more than any kit of these lines reaches: lower it";
    throw new DomainError("inconsistent", `target ${detail}`, [{ pointer: "#/target", detail }]);
  }
  const curve = exactCurve(lines, "joint", steps[enough]!.cost);
  if (curve === undefined) return { kit: steps[enough]!, exact: false, curve: steps.slice(0, enough + 1) };
  // Rounding of a product of chances may leave the last point a little below the target it reached.
  const kit = curve.find(({ jointChance }) => jointChance >= target - 1e-13) ?? steps[enough]!;
  return { kit, exact: true, curve: curve.filter(({ cost }) => cost <= kit.cost) };
}

function shown(lines: KitQuestion["lines"], { packs, cost, jointChance, expectedShort }: Kit) {
  return {
    quantities: lines.map(({ id, packSize = 1 }, i) => ({
      id,
      packs: packs[i]!,
      units: packs[i]! * packSize,
    })),
    cost,
    jointChance,
    expectedShort,
  };
}

/** Evenly spread over the curve, its ends among them. */
function thinned(curve: readonly Kit[]): readonly Kit[] {
  if (curve.length <= MOST_SHOWN) return curve;
  return Array.from(
    { length: MOST_SHOWN },
    (_, i) => curve[Math.round((i * (curve.length - 1)) / (MOST_SHOWN - 1))]!,
  );
}
