import { type Content, element, type Markup, trusted } from "../markup.ts";

/** What all pictures share: their colours in light, dark and print, their heading, legend, axes, and text alternative. */

/** Text is set in this size, whatever the width of the picture. */
export const fontSize = 13;
const lineHeight = 17;
/** Widths of a sans-serif letter, in the mean and when many are wide (measured on DejaVu Sans and Liberation Sans). */
const letter = 0.56 * fontSize;
export const textWidth = (text: string): number => text.length * letter;

/**
 * The colours are chosen for a contrast of at least 4.5 to 1 of text and 3 to 1 of lines with their ground (WCAG 2.1,
 * 1.4.3 and 1.4.11). What a colour says, a dash, a shape or a word says too.
 */
const light =
  "--ground:#fff;--ink:#1c1f23;--soft:#5b636d;--grid:#d9dde2;--band:#b9d3ee;--line:#0b5394;--mark:#8a3b00;--stop:#a11212";
const dark =
  "--ground:#14171b;--ink:#eceff2;--soft:#aab2bd;--grid:#343a42;--band:#234a70;--line:#8cc4ff;--mark:#ffb267;--stop:#ff9b94";
const style = [
  `svg{${light};background:var(--ground);font:${fontSize}px system-ui,"Segoe UI","DejaVu Sans",sans-serif}`,
  `@media (prefers-color-scheme:dark){svg{${dark}}}`,
  `@media print{svg{${light}}}`,
  ".ground{fill:var(--ground)}text{fill:var(--ink)}.soft{fill:var(--soft)}.heading{font-weight:600;font-size:15px}",
  ".grid{stroke:var(--grid);stroke-width:1}.axis{stroke:var(--soft);stroke-width:1;fill:none}",
  ".band{fill:var(--band)}.ahead{fill:var(--band);fill-opacity:.55;stroke:var(--line);stroke-width:1;stroke-dasharray:2 3}",
  ".line{fill:none;stroke:var(--line);stroke-width:2}.dashed{stroke-dasharray:6 4}",
  ".mark{stroke:var(--mark);stroke-width:1.75;fill:none}.dot{fill:var(--mark);stroke:var(--ground);stroke-width:1}",
  ".range{fill:var(--mark);fill-opacity:.25;stroke:var(--mark);stroke-width:1.25}",
  ".limit{stroke:var(--stop);stroke-width:1.5;fill:none}.limit.race{stroke-dasharray:2 4}.limit.club{stroke-dasharray:8 4}",
  ".halo{paint-order:stroke;stroke:var(--ground);stroke-width:4px;stroke-linejoin:round}",
].join("");

/** Policy of a picture that is opened as a page of its own: nothing is loaded, nothing runs. */
export const pictureHeaders = {
  "content-security-policy": "default-src 'none'; style-src 'unsafe-inline'; frame-ancestors 'none'",
};

export interface Picture {
  /** part of ids, so that several pictures can stand in one page */
  id: string;
  width: number;
  height: number;
  heading: string;
  /** the picture in words, with its numbers */
  description: string;
}

/** The whole picture as text: a root with its text alternative, the style, and what was drawn. */
export function picture({ id, width, height, heading, description }: Picture, ...drawn: Content[]): string {
  const [title, desc] = [`title-${id}`, `desc-${id}`];
  const root = element(
    "svg",
    {
      xmlns: "http://www.w3.org/2000/svg",
      viewBox: `0 0 ${width} ${height}`,
      width,
      height,
      role: "img",
      "aria-labelledby": `${title} ${desc}`,
    },
    element("title", { id: title }, heading),
    element("desc", { id: desc }, description),
    element("style", {}, trusted(style)),
    element("rect", { class: "ground", width, height }),
    ...drawn,
  );
  return `${root.markup}\n`;
}

/** Text broken at spaces to lines of a width, at most `most` of them; the last ends in … where something is left. */
export function brokenLines(text: string, width: number, most = 3): string[] {
  const fits = Math.max(8, Math.floor(width / letter));
  const lines: string[] = [];
  let line = "";
  for (const word of text.split(" ")) {
    const longer = line === "" ? word : `${line} ${word}`;
    if (longer.length <= fits) line = longer;
    else {
      if (line !== "") lines.push(line);
      line = word.length > fits ? `${word.slice(0, fits - 1)}…` : word;
    }
  }
  lines.push(line);
  if (lines.length <= most) return lines;
  const kept = lines.slice(0, most);
  kept[most - 1] = `${kept[most - 1]!.slice(0, fits - 2)} …`;
  return kept;
}

/** The visible heading, and under it what is drawn against what; gives the height it takes. */
export function headingOf(
  heading: string,
  under: string,
  width: number,
): { drawn: Markup[]; height: number } {
  // The heading's letters are larger by 15 to 13, and bold.
  const first = brokenLines(heading, width / 1.25, 2);
  const second = brokenLines(under, width, 3);
  const drawn = [
    ...first.map((text, i) => element("text", { class: "heading", x: 12, y: 22 + i * 19 }, text)),
    ...second.map((text, i) =>
      element("text", { class: "soft", x: 12, y: 22 + first.length * 19 + i * lineHeight }, text),
    ),
  ];
  return { drawn, height: 14 + first.length * 19 + second.length * lineHeight };
}

/** What a sign in the picture means; drawn in a box of 24 by 12 whose corner is the origin. */
export interface Sign {
  text: string;
  sign: Content;
}

/** Signs and their meaning, in as many rows as the width asks for. */
export function legendOf(
  signs: readonly Sign[],
  width: number,
  top: number,
): { drawn: Markup[]; height: number } {
  let [x, row] = [12, 0];
  const drawn: Markup[] = [];
  for (const { text, sign } of signs) {
    const wide = 30 + textWidth(text) + 12;
    if (x > 12 && x + wide > width) [x, row] = [12, row + 1];
    drawn.push(
      element(
        "g",
        { transform: `translate(${Math.round(x)} ${top + row * 20})` },
        element("g", {}, sign),
        element("text", { x: 30, y: 11 }, text),
      ),
    );
    x += wide;
  }
  return { drawn, height: (row + 1) * 20 };
}

/** The box that the data are drawn in. */
export interface Plot {
  left: number;
  right: number;
  top: number;
  bottom: number;
}

export interface Tick {
  at: number;
  text: string;
}

/** Grid, axis lines and their words. Ticks whose words would touch the one before lose them. */
export function axesOf(
  { left, right, top, bottom }: Plot,
  along: { ticks: readonly Tick[]; name: string },
  up: { ticks: readonly Tick[]; name: string },
): Markup[] {
  const drawn: Markup[] = up.ticks.flatMap(({ at, text }) => [
    element("line", { class: "grid", x1: left, x2: right, y1: at, y2: at }),
    element("text", { x: left - 6, y: at + 4.5, "text-anchor": "end" }, text),
  ]);
  let free = -Infinity;
  for (const { at, text } of along.ticks) {
    drawn.push(element("line", { class: "axis", x1: at, x2: at, y1: bottom, y2: bottom + 5 }));
    const half = textWidth(text) / 2;
    if (at - half < free) continue;
    free = at + half + 8;
    drawn.push(element("text", { x: at, y: bottom + 19, "text-anchor": "middle" }, text));
  }
  drawn.push(
    element("path", { class: "axis", d: `M${left},${top}V${bottom}H${right}` }),
    element("text", { class: "soft", x: right, y: bottom + 38, "text-anchor": "end" }, along.name),
    element("text", { class: "soft", x: 12, y: top - 9 }, up.name),
  );
  return drawn;
}

/** Moves labels apart so that each has its line: from the top down, never above where it belongs. */
export function spread<T extends { y: number }>(labels: readonly T[], gap = lineHeight - 1): T[] {
  let above = -Infinity;
  return [...labels]
    .sort((a, b) => a.y - b.y)
    .map((label) => {
      const y = Math.max(label.y, above + gap);
      above = y;
      return { ...label, y };
    });
}

const oneDay = 86_400_000;
/** Words of a day on an axis: day and month, or month and year over long spans. */
export function dayWords(spanMs: number): (date: Date) => string {
  const format = new Intl.DateTimeFormat("en-GB", {
    timeZone: "UTC",
    ...(spanMs > 250 * oneDay ? { month: "short", year: "2-digit" } : { day: "numeric", month: "short" }),
  });
  return (date) => format.format(date);
}
const long = new Intl.DateTimeFormat("en-GB", {
  timeZone: "UTC",
  day: "numeric",
  month: "long",
  year: "numeric",
});
/** A day in words, such as 7 February 2027; which day a moment is, `dayIn` tells. */
export const longDay = (day: string): string => long.format(dateOf(day));

/** @throws {RangeError} for a moment, whose day would be that of UTC and not of the club */
export function dateOf(day: string): Date {
  if (day.length !== 10) throw new RangeError(`dateOf requires a day as YYYY-MM-DD, got "${day}"`);
  return new Date(day);
}

/** A number as a person reads it: three digits that count, and no more. */
export function readable(value: number): string {
  if (value === 0) return "0";
  const digits = Math.max(0, Math.min(6, 2 - Math.floor(Math.log10(Math.abs(value)))));
  return String(Number(value.toFixed(digits)));
}
