import { scaleLinear, scaleUtc } from "d3-scale";
import { area, line } from "d3-shape";
import { clockIn, dayIn } from "../../domain/club-time.ts";
import { barSds, type BandPoint, type PictureAxis, type WearPicture } from "../../services/wear-picture.ts";
import { type Content, element, type Markup } from "../markup.ts";
import {
  axesOf,
  dayWords,
  headingOf,
  legendOf,
  longDay,
  picture,
  type Plot,
  readable,
  type Sign,
  spread,
  textWidth,
  type Tick,
} from "./frame.ts";

const limitWords = { race: "race limit", club: "club limit", stop: "stop" } as const;

/** How wear is shown: as the size that would be read, as the loss, or as a share of life, by how its limits are stated. */
function measureOf(shown: WearPicture) {
  const { forecast, basis, sign, asNew } = shown;
  const { unit } = forecast;
  if (unit === null)
    return { of: (wear: number) => wear * 100, name: "worn, % of life", unit: "%", falls: false };
  if (basis === "size")
    return {
      of: (wear: number) => asNew + sign * wear,
      name: `size, ${unit}`,
      unit,
      falls: sign < 0,
    };
  return { of: (wear: number) => wear, name: `worn, ${unit}`, unit, falls: false };
}
type Measure = ReturnType<typeof measureOf>;

/** A picture of one piece: its readings and grades, what was known of its wear, its limits, and the forecast to them. */
export function wearChart(shown: WearPicture, axis: PictureAxis, width: number): string {
  const { forecast } = shown;
  const measure = measureOf(shown);
  const heading = `${forecast.mark}: ${shown.lineName}`;
  const top = headingOf(
    heading,
    `Wear by ${axis === "usage" ? forecast.clock : "date"}, ${shown.retired === null ? `forecast to the ${limitWords[forecast.limit.name]}` : retiredInWords(shown.retired, shown.timeZone)}`,
    width - 24,
  );
  const height = Math.round(Math.max(330, Math.min(620, width * 0.62)) + 90);
  const signs = signsOf(shown);
  const legend = legendOf(signs, width, 0);
  const base = { left: 12, right: width - 16, top: top.height + 30, bottom: height - legend.height - 52 };
  const up = upScale(shown, measure, base);
  const upTicks = up.ticks(Math.max(3, Math.round((base.bottom - base.top) / 55)));
  const upWords = up.tickFormat(upTicks.length);
  const ticks = upTicks.map((value) => ({ at: up(value), text: upWords(value) }));
  const plot: Plot = { ...base, left: 18 + Math.max(...ticks.map(({ text }) => textWidth(text))) };
  const { across, along } = alongScale(shown, axis, plot);
  const y = (wear: number) => up(measure.of(wear));
  const clip = `clip-${forecast.pieceId}`;
  const drawn: Content[] = [
    ...top.drawn,
    element(
      "clipPath",
      { id: clip },
      element("rect", {
        // Signs of looks at either end stand half outside.
        x: plot.left - 6,
        y: plot.top,
        width: plot.right - plot.left + 12,
        height: plot.bottom - plot.top,
      }),
    ),
    ...axesOf(plot, along, { ticks, name: measure.name }),
    element(
      "g",
      { "clip-path": `url(#${clip})` },
      ...bands(shown, across, y),
      ...limitLines(shown, plot, y),
      ...looksDrawn(shown, across, y, plot),
    ),
    nowLine(shown, across, plot),
    ...limitLabels(shown, measure, plot, y),
    ...legendOf(signs, width, height - legend.height - 4).drawn,
  ];
  return picture(
    { id: forecast.pieceId, width, height, heading, description: wearInWords(shown, axis) },
    ...drawn,
  );
}

/** The scale upwards holds everything: readings, the limits, and the bands as far as they say something. */
function upScale(shown: WearPicture, measure: Measure, plot: Plot) {
  const most = Math.max(...shown.limits.map(({ wear }) => wear), shown.forecast.limit.wear);
  const values = [
    0,
    1.12 * most,
    ...shown.looks.flatMap(({ wear, low, high }) => [wear ?? low, low, high ?? low]),
    // A band far beyond the last limit would press everything else flat: it is cut off at the frame.
    ...[...shown.past, ...shown.ahead].map(({ wear }) => Math.min(wear.p90, 1.35 * most)),
  ].map(measure.of);
  const [low, high] = [Math.min(...values), Math.max(...values)];
  return scaleLinear()
    .domain([low, high + 0.02 * (high - low)])
    .range([plot.bottom, plot.top]);
}

type Across = (point: { at: string | null; usage: number }) => number;

function alongScale(
  shown: WearPicture,
  axis: PictureAxis,
  plot: Plot,
): { across: Across; along: { ticks: Tick[]; name: string } } {
  const points = [...shown.past, ...shown.ahead];
  const wanted = Math.max(3, Math.round((plot.right - plot.left) / 85));
  if (axis === "usage") {
    const from = Math.min(...points.map(({ usage }) => usage), ...shown.looks.map(({ usage }) => usage));
    const scale = scaleLinear()
      .domain([from, Math.max(from + 1, ...points.map(({ usage }) => usage))])
      .range([plot.left, plot.right]);
    const words = scale.tickFormat(wanted);
    const ticks = scale.ticks(wanted).map((value) => ({ at: scale(value), text: words(value) }));
    return { across: ({ usage }) => scale(usage), along: { ticks, name: `${shown.forecast.clock} of use` } };
  }
  // The scale takes what the club's clock shows for UTC, so that its ticks are the club's midnights.
  const clock = (at: string) => clockIn(shown.timeZone, at);
  const times = [...points, ...shown.looks].flatMap(({ at }) => (at === null ? [] : [clock(at)]));
  const [first, last] = [Math.min(...times), Math.max(...times)];
  const scale = scaleUtc()
    .domain([new Date(first), new Date(Math.max(last, first + 7 * 86_400_000))])
    .range([plot.left, plot.right]);
  const words = dayWords(last - first);
  const ticks = scale.ticks(wanted).map((date) => ({ at: scale(date), text: words(date) }));
  // The reading that was stated with the piece has no date of its own: it was taken before the piece was used.
  const across: Across = ({ at }) => (at === null ? plot.left : scale(new Date(clock(at))));
  return { across, along: { ticks, name: "date" } };
}

function bands(shown: WearPicture, across: Across, y: (wear: number) => number): Markup[] {
  const band = area<BandPoint>()
    .x(across)
    .y0(({ wear }) => y(wear.p10))
    .y1(({ wear }) => y(wear.p90))
    .digits(1);
  const median = line<BandPoint>()
    .x(across)
    .y(({ wear }) => y(wear.median))
    .digits(1);
  return [
    element("path", { class: "band", d: band(shown.past) ?? "" }),
    element("path", { class: "ahead", d: band(shown.ahead) ?? "" }),
    element("path", { class: "line", d: median(shown.past) ?? "" }),
    element("path", { class: "line dashed", d: median(shown.ahead) ?? "" }),
  ];
}

const limitLines = ({ limits }: WearPicture, { left, right }: Plot, y: (wear: number) => number): Markup[] =>
  limits.map(({ name, wear }) =>
    element("line", { class: `limit ${name}`, x1: left, x2: right, y1: y(wear), y2: y(wear) }),
  );

/**
 * The words of the limits, each at the end of its line that the wear is further away from. Limits at the same wear
 * share a label.
 */
function limitLabels(
  shown: WearPicture,
  measure: Measure,
  plot: Plot,
  y: (wear: number) => number,
): Markup[] {
  const { limits, basis, past, ahead } = shown;
  const [first, last] = [past[0] ?? ahead[0]!, ahead.at(-1) ?? past.at(-1)!];
  const same = new Map<number, typeof limits>();
  for (const limit of limits) same.set(limit.wear, [...(same.get(limit.wear) ?? []), limit]);
  const labels = [...same].map(([wear, named]) => {
    const amount = shown.forecast.unit === null ? wear * 100 : basis === "size" ? named[0]!.value : wear;
    return {
      y: y(wear) + (measure.falls ? 14 : -5),
      text: `${named.map(({ name }) => limitWords[name]).join(", ")} ${readable(amount)} ${measure.unit}`,
      atEnd: Math.abs(last.wear.median - wear) > Math.abs(first.wear.median - wear),
    };
  });
  return spread(labels).map(({ y: at, text, atEnd }) =>
    element(
      "text",
      {
        class: "halo",
        x: atEnd ? plot.right - 6 : plot.left + 10,
        y: at,
        "text-anchor": atEnd ? "end" : "start",
      },
      text,
    ),
  );
}

function looksDrawn(
  { looks }: WearPicture,
  across: Across,
  y: (wear: number) => number,
  plot: Plot,
): Markup[] {
  return looks.map((look) => {
    const x = across(look);
    const high = look.high === null ? null : y(look.high);
    const low = y(look.low);
    if (look.wear === null) {
      // A grade without an upper end goes on to where wear goes on in the picture.
      const end = high ?? (y(1) < y(0) ? plot.top : plot.bottom);
      return element("rect", {
        class: "range",
        x: x - 4,
        width: 8,
        y: Math.min(low, end),
        height: Math.abs(low - end),
        rx: 2,
      });
    }
    const bar = [x - 4, x, low, high!].map((value) => value.toFixed(1));
    const [cap, middle, from, to] = bar;
    return element(
      "g",
      {},
      element("path", { class: "mark", d: `M${middle},${from}V${to}M${cap},${from}h8M${cap},${to}h8` }),
      element("circle", { class: "dot", cx: x, cy: y(look.wear), r: 3.5 }),
    );
  });
}

const retiredInWords = ({ at, for: reason }: NonNullable<WearPicture["retired"]>, timeZone: string) =>
  `retired on ${longDay(dayIn(timeZone, at))} (${reason.replaceAll(/[-_]/g, " ")})`;

function nowLine({ forecast, retired }: WearPicture, across: Across, { top, bottom, right }: Plot): Markup {
  const x = across({ at: forecast.asOf, usage: forecast.usage });
  const word = retired === null ? "now" : "retired";
  const atEnd = x + 6 + textWidth(word) > right;
  return element(
    "g",
    {},
    element("line", { class: "axis", x1: x, x2: x, y1: top - 4, y2: bottom }),
    element(
      "text",
      { class: "halo", x: x + (atEnd ? -4 : 4), y: top + 10, "text-anchor": atEnd ? "end" : "start" },
      word,
    ),
  );
}

function signsOf({ looks, retired }: WearPicture): Sign[] {
  const reading = looks.some(({ wear }) => wear !== null);
  const grade = looks.some(({ wear }) => wear === null);
  const box = (name: string) => element("rect", { class: name, x: 1, y: 1, width: 22, height: 10 });
  const dash = (name: string) => element("path", { class: name, d: "M0,6H24" });
  return [
    ...(reading
      ? [
          {
            text: `reading ± ${barSds} sd`,
            sign: [
              element("path", { class: "mark", d: "M12,0V12M8,0h8M8,12h8" }),
              element("circle", { class: "dot", cx: 12, cy: 6, r: 3.5 }),
            ],
          },
        ]
      : []),
    ...(grade
      ? [
          {
            text: "grade by eye",
            sign: element("rect", { class: "range", x: 8, y: 0, width: 8, height: 12, rx: 2 }),
          },
        ]
      : []),
    { text: "8 in 10, as known then", sign: box("band") },
    ...(retired === null ? [{ text: "8 in 10, forecast", sign: box("ahead") }] : []),
    { text: "median", sign: dash("line") },
    ...(retired === null ? [{ text: "median ahead", sign: dash("line dashed") }] : []),
  ];
}

const count = (n: number, word: string) => `${n} ${word}${n === 1 ? "" : "s"}`;

/** The picture in words, for whoever does not see it. */
function wearInWords(shown: WearPicture, axis: PictureAxis): string {
  const { forecast } = shown;
  const { usage, clock, wear, limit, remaining, unit } = forecast;
  const readings = shown.looks.filter((look) => look.wear !== null).length;
  const amount = (value: number) =>
    unit === null ? `${Math.round(value * 100)} % of its life` : `${readable(value)} ${unit}`;
  const size =
    forecast.sizeNow === null || shown.basis !== "size"
      ? ""
      : ` (a size of ${readable(forecast.sizeNow.median)} ${unit})`;
  const left = remaining.usage;
  const least = left.p10 === null ? "it is practically never reached" : `${readable(left.p10)}`;
  const most = left.p90 === null ? "no end in sight" : readable(left.p90);
  const middle = left.median === null ? "" : `, median ${readable(left.median)}`;
  const dates =
    remaining.date.median === null
      ? "the median end lies beyond the calendar"
      : `the median end is at the meeting of ${longDay(remaining.date.median)}`;
  return [
    `${forecast.mark} (${forecast.sku}, ${shown.kindName}) after ${readable(usage)} ${clock}: worn ${amount(wear.median)}${size}, eight in ten times between ${amount(wear.p10)} and ${amount(wear.p90)}; the ${limitWords[limit.name]} is at ${amount(limit.wear)} of wear.`,
    `${count(readings, "reading")} and ${count(shown.looks.length - readings, "grade")} are drawn, readings with bars of ${barSds} standard deviations of the instrument to either side, grades as the range of wear that they mean.`,
    shown.retired !== null
      ? `It was ${retiredInWords(shown.retired, shown.timeZone)}; that is as far as the picture goes.`
      : left.p10 === null
        ? `Of the limit: ${least}.`
        : `Left until the limit: ${least} to ${most} ${clock}${middle}${shown.forecast.clock === "days" ? "" : `; ${dates}`}.`,
    "Up to now the band shows what was known at each moment: it rests on the looks at this piece up to then and on the other pieces of its line, and narrows at each look.",
    shown.retired !== null
      ? ""
      : axis === "usage"
        ? `From now on, usage counts on the surface that the usual life is stated on.`
        : `From now on, wear happens at the meetings of the calendar; nothing is drawn beyond its end.`,
  ]
    .filter((sentence) => sentence !== "")
    .join(" ");
}
