import { scaleLinear } from "d3-scale";
import { curveStepAfter, line } from "d3-shape";
import { currencyDecimals, formatMoney } from "../../domain/money.ts";
import { percent, percents, risen } from "../../services/in-words.ts";
import type { restockPlan } from "../../services/restock-plan.ts";
import { type Content, element, type Markup } from "../markup.ts";
import { axesOf, headingOf, legendOf, longDay, picture, type Plot, type Sign, textWidth } from "./frame.ts";

type Plan = Awaited<ReturnType<typeof restockPlan>>;

const signs: Sign[] = [
  { text: "chance for that money", sign: element("path", { class: "line", d: "M0,10H12V3H24" }) },
  { text: "this plan", sign: element("circle", { class: "dot", cx: 12, cy: 6, r: 5 }) },
  { text: "budget", sign: element("path", { class: "limit club", d: "M0,6H24" }) },
];
/** A picture of what money buys: the chance of no lost run against what is spent, the best packs first. */
export function planChart(plan: Plan, width: number): string {
  const [without, withIt] = percents(plan.chanceWithout, plan.chanceWith);
  const money = (minorUnits: number) => formatMoney({ minorUnits, currency: plan.currency });
  const heading = `Chance of no lost run through ${longDay(plan.through)}`;
  const top = headingOf(
    heading,
    `${money(plan.spentMinorUnits)} of ${money(plan.budgetMinorUnits)} ${plan.currency} spent: from ${without} to ${withIt}`,
    width - 24,
  );
  const height = Math.round(Math.max(310, Math.min(560, width * 0.55)) + 60);
  const legend = legendOf(signs, width, 0);
  const base = { right: width - 16, top: top.height + 30, bottom: height - legend.height - 52 };
  const least = Math.min(...plan.curve.map(({ chance }) => chance));
  const up = scaleLinear()
    .domain([least > 0.6 ? Math.floor(least * 10) / 10 : 0, 1])
    .range([base.bottom, base.top]);
  const ticks = up.ticks(5).map((chance) => ({ at: up(chance), text: `${Math.round(chance * 100)} %` }));
  const plot: Plot = { ...base, left: 18 + Math.max(...ticks.map(({ text }) => textWidth(text))) };
  const major = 10 ** currencyDecimals(plan.currency);
  const furthest = Math.max(plan.budgetMinorUnits, plan.curve.at(-1)!.spentMinorUnits, 1);
  const across = scaleLinear()
    .domain([0, furthest / major])
    .range([plot.left, plot.right]);
  const x = (minorUnits: number) => across(minorUnits / major);
  const wanted = Math.max(3, Math.round((plot.right - plot.left) / 85));
  const words = across.tickFormat(wanted);
  const along = {
    ticks: across.ticks(wanted).map((value) => ({ at: across(value), text: words(value) })),
    name: `spent, ${plan.currency}`,
  };
  const drawn: Content[] = [
    ...top.drawn,
    ...axesOf(plot, along, { ticks, name: "chance" }),
    budgetLine(plan, x, plot),
    element("path", {
      class: "line",
      d:
        line<Plan["curve"][number]>()
          .x(({ spentMinorUnits }) => x(spentMinorUnits))
          .y(({ chance }) => up(chance))
          .curve(curveStepAfter)
          .digits(1)([
          ...plan.curve,
          // What is bought keeps its chance to the end of the axis.
          { ...plan.curve.at(-1)!, spentMinorUnits: furthest },
        ]) ?? "",
    }),
    element("circle", { class: "dot", cx: x(plan.spentMinorUnits), cy: up(plan.chanceWith), r: 5 }),
    ...legendOf(signs, width, height - legend.height - 4).drawn,
  ];
  return picture(
    { id: `plan-${plan.through}`, width, height, heading, description: planInWords(plan, money) },
    ...drawn,
  );
}

function budgetLine(
  plan: Plan,
  x: (minorUnits: number) => number,
  { top, bottom, right, left }: Plot,
): Markup {
  const at = x(plan.budgetMinorUnits);
  const before = at > (left + right) / 2;
  return element(
    "g",
    {},
    element("line", { class: "limit club", x1: at, x2: at, y1: top, y2: bottom }),
    element(
      "text",
      {
        class: "halo",
        x: at + (before ? -5 : 5),
        y: bottom - 8,
        "text-anchor": before ? "end" : "start",
      },
      "budget",
    ),
  );
}

/** The largest steps are told one by one; more would not be listened to. */
const mostTold = 12;

function planInWords(plan: Plan, money: (minorUnits: number) => string): string {
  const gains = plan.curve.flatMap(({ spentMinorUnits, chance, step }, i) =>
    step === null
      ? []
      : [{ spentMinorUnits, chance, name: step.name, gain: chance - plan.curve[i - 1]!.chance }],
  );
  const told = new Set([...gains].sort((a, b) => b.gain - a.gain).slice(0, mostTold));
  const steps = gains
    .filter((one) => told.has(one))
    .map(({ spentMinorUnits, name, chance }) => `${money(spentMinorUnits)} (${name}): ${percent(chance)}`);
  const more = gains.length > steps.length ? `; and ${gains.length - steps.length} smaller steps` : "";
  const left =
    plan.otherCurrency.length === 0
      ? ""
      : ` Left out, for they are priced in another currency: ${plan.otherCurrency.join(", ")}.`;
  const next =
    plan.next === null
      ? "More money would gain nothing."
      : `The next ${money(plan.next.costMinorUnits)}, for ${plan.next.name}, would make it ${percent(plan.next.chance)}.`;
  return `${money(plan.spentMinorUnits)} of ${money(plan.budgetMinorUnits)} ${plan.currency} spent: the chance of no lost run through ${longDay(plan.through)} ${risen(plan.chanceWithout, plan.chanceWith)}. ${next} Chance by what is spent in all, ${plan.currency}: ${money(0)}: ${percent(plan.chanceWithout)}; ${steps.join("; ")}${more}.${left}`;
}
