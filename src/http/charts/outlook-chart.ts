import { scaleLinear } from "d3-scale";
import { likelyNeed, rangeInWords } from "../../services/in-words.ts";
import type { lineOutlook } from "../../services/line-outlook.ts";
import type { MonthOfNeed } from "../../services/need-by-month.ts";
import type { shelfLineOutlook } from "../../services/shelf-plan.ts";
import { type Content, element, type Markup } from "../markup.ts";
import {
  axesOf,
  headingOf,
  legendOf,
  longDay,
  picture,
  type Plot,
  readable,
  type Sign,
  textWidth,
} from "./frame.ts";

type Month = Pick<MonthOfNeed, "month" | "expected" | "pieces">;

/** An outlook, ready to be drawn. */
interface Outlook {
  lineId: string;
  heading: string;
  under: string;
  months: readonly Month[];
  /** what stands behind it, in words */
  sentences: string;
  calendarEndsOn: string | null;
}

const endsOn = (need: { p10: number; p90: number; expected: number }, through: string) =>
  `${likelyNeed(need)} through ${longDay(through)}, in the mean ${need.expected.toFixed(1)}`;

/** The need of the cars that somebody asks for. */
export function ofTheCars(outlook: Awaited<ReturnType<typeof lineOutlook>>): Outlook {
  const { pieces, expected } = outlook.months.at(-1)!.through;
  return {
    ...outlook,
    heading: `${outlook.sku}: need by month`,
    under: endsOn({ ...pieces, expected }, outlook.through),
    sentences: `${outlook.sentence} ${outlook.inUse} in use.`,
  };
}

/** The pooled need that a shelf serves. */
export function ofTheShelf(outlook: Awaited<ReturnType<typeof shelfLineOutlook>>): Outlook {
  const { drivers, driversSharing, need, through } = outlook;
  return {
    ...outlook,
    heading: `${outlook.sku}: need from the shelf by month`,
    under: `${endsOn(need, through)}; of ${drivers} drivers, beyond what they hold`,
    sentences: `${outlook.sentence} ${drivers} of the ${driversSharing} drivers who share what they will need stand behind it, with ${outlook.inUse} in use.`,
  };
}

const monthFormat = (month: "short" | "long", year: "2-digit" | "numeric") => {
  const format = new Intl.DateTimeFormat("en-GB", { timeZone: "UTC", month, year });
  return ({ month: name }: Month) => format.format(new Date(`${name}-01`));
};
const shortMonth = monthFormat("short", "2-digit");
const longMonth = monthFormat("long", "numeric");

const signs: Sign[] = [
  {
    text: "8 in 10",
    sign: element("rect", { class: "ahead", x: 5, y: 0, width: 14, height: 12, rx: 2 }),
  },
  { text: "median", sign: element("path", { class: "line", d: "M3,6H21" }) },
  { text: "mean", sign: element("circle", { class: "dot", cx: 12, cy: 6, r: 3.5 }) },
];

/** A picture of what a line will need, month by month. */
export function outlookChart(outlook: Outlook, width: number): string {
  const { heading } = outlook;
  const top = headingOf(heading, outlook.under, width - 24);
  const height = Math.round(Math.max(300, Math.min(560, width * 0.55)) + 60);
  const legend = legendOf(signs, width, 0);
  const base = { right: width - 16, top: top.height + 30, bottom: height - legend.height - 52 };
  const most = Math.max(3, ...outlook.months.map(({ pieces, expected }) => Math.max(pieces.p90, expected)));
  const up = scaleLinear()
    .domain([0, most * 1.05])
    .range([base.bottom, base.top]);
  // Pieces are whole: a scale of few of them has no ticks between.
  const ticks = up
    .ticks(Math.min(most, 6))
    .filter(Number.isInteger)
    .map((value) => ({ at: up(value), text: String(value) }));
  const plot: Plot = { ...base, left: 18 + Math.max(...ticks.map(({ text }) => textWidth(text))) };
  const step = (plot.right - plot.left) / outlook.months.length;
  const middle = (i: number) => plot.left + (i + 0.5) * step;
  const along = {
    ticks: outlook.months.map((month, i) => ({ at: middle(i), text: shortMonth(month) })),
    name: "month",
  };
  const drawn: Content[] = [
    ...top.drawn,
    ...axesOf(plot, along, { ticks, name: "pieces" }),
    ...outlook.months.map((month, i) => monthDrawn(month, middle(i), Math.min(40, step * 0.62), up)),
    ...legendOf(signs, width, height - legend.height - 4).drawn,
  ];
  return picture(
    { id: outlook.lineId, width, height, heading, description: outlookInWords(outlook) },
    ...drawn,
  );
}

function monthDrawn(
  { pieces: { p10, median, p90 }, expected }: Month,
  x: number,
  wide: number,
  up: (pieces: number) => number,
): Markup {
  const [from, to] = [x - wide / 2, x + wide / 2];
  // A month that surely needs nothing still has a mark to be seen by.
  const height = Math.max(2, up(p10) - up(p90));
  return element(
    "g",
    {},
    element("rect", { class: "ahead", x: from, width: wide, y: up(p10) - height, height, rx: 2 }),
    element("line", { class: "line", x1: from, x2: to, y1: up(median), y2: up(median) }),
    element("circle", { class: "dot", cx: x, cy: up(expected), r: 3.5 }),
  );
}

function outlookInWords(outlook: Outlook): string {
  const { calendarEndsOn } = outlook;
  const months = outlook.months
    .map((month) => {
      return `${longMonth(month)}: ${rangeInWords(month.pieces)}, median ${month.pieces.median}, mean ${readable(month.expected)}`;
    })
    .join("; ");
  const end =
    calendarEndsOn === null
      ? "The calendar has no meetings, so that nothing but ageing by days is needed."
      : `The calendar ends on ${longDay(calendarEndsOn)}: no meeting, no wear.`;
  return `${outlook.sentences} Pieces needed in each month, eight in ten times: ${months}. ${end}`;
}
