import type { BenchStep } from "../../domain/kind.ts";
import { dayIn } from "../../domain/club-time.ts";
import type { benchSheet } from "../../services/bench-sheet.ts";
import { percent } from "../../services/in-words.ts";
import { longDay, readable } from "../charts/frame.ts";
import { type Column, dayOrNone, type Sheet } from "./sheet.ts";

type Bench = Awaited<ReturnType<typeof benchSheet>>;
/** An entry, with the day of the club on which it was last seen. */
type Row = Bench["entries"][number] & { lastSeenOn: string | null };

const chanceOf = (chance: number | null) => (chance === null ? "–" : percent(chance));
const adviceWords = { change: "CHANGE", look: "Look", leave: "Leave" } as const;
/** Wear with its unit, and the limit beside it; a graded kind's as a share of its life. A piece above its line's size is unworn. */
const wearOf = ({ unit, wear, limitWear }: Row) => {
  const worn = (one: number) => readable(Math.max(0, one));
  return unit === null
    ? `${Math.round(Math.max(0, wear.median) * 100)} % of life`
    : `${worn(wear.median)} (${worn(wear.p10)} to ${worn(wear.p90)}) of ${readable(limitWear)}\u00a0${unit}`;
};

const columns: Column<Row>[] = [
  { name: "position", of: (row) => row.position, page: { heading: "Position" } },
  {
    name: "mark",
    of: (row) => row.mark,
    page: { heading: "Piece", of: (row) => `${row.mark} (${row.kindName})` },
  },
  { name: "kind", of: (row) => row.kindName },
  { name: "benchStep", of: (row) => row.benchStep },
  {
    name: "advice",
    of: (row) => row.advice,
    page: { heading: "Do", of: (row) => `☐ ${adviceWords[row.advice]}` },
  },
  { name: "check", of: (row) => row.check, page: { heading: "What to look for" } },
  { name: "checkMinutes", of: (row) => row.checkMinutes, page: { heading: "Minutes", number: true } },
  { name: "carStopper", of: (row) => row.carStopper },
  {
    name: "usage",
    of: (row) => row.usage,
    page: { heading: "Used", of: (row) => `${readable(row.usage)}\u00a0${row.clock}`, number: true },
  },
  { name: "clock", of: (row) => row.clock },
  { name: "wearP10", of: (row) => row.wear.p10 },
  {
    name: "wearMedian",
    of: (row) => row.wear.median,
    page: { heading: "Worn, of its limit", of: wearOf },
  },
  { name: "wearP90", of: (row) => row.wear.p90 },
  { name: "limitWear", of: (row) => row.limitWear },
  { name: "unit", of: (row) => row.unit },
  { name: "wearShareMedian", of: (row) => row.wearShare.median },
  {
    name: "lasts",
    of: (row) => row.lasts,
    page: { heading: "Chance it lasts the meeting", of: (row) => chanceOf(row.lasts), number: true },
  },
  { name: "wearsOut", of: (row) => row.wearsOut },
  { name: "breaks", of: (row) => row.breaks },
  {
    name: "lastSeenAt",
    of: (row) => row.lastSeenAt,
    page: { heading: "Last seen", of: (row) => dayOrNone(row.lastSeenOn) },
  },
  { name: "lastGrade", of: (row) => row.lastGrade },
  { name: "runsSinceSeen", of: (row) => row.runsSinceSeen, page: { heading: "Runs since", number: true } },
  { name: "rule", of: (row) => row.rule },
  { name: "why", of: (row) => row.why },
  { name: "cautions", of: (row) => row.cautions.join(" ") },
  { name: "pieceId", of: (row) => row.pieceId },
];

/** What a step of the bench looks at; where the first word says it all, that. */
const stepWords: Partial<Record<BenchStep, string>> = {
  tyres: "Tyres, wheels and arms",
  cleaning: "Cleaning, shell and bumper",
  fasteners: "Fasteners, posts and clips",
  packs: "Packs, plugs and leads",
};
const words = (step: BenchStep) => stepWords[step] ?? step.replace(/^./, (first) => first.toUpperCase());

/** The bench sheet as a page and a table: one section for each step of the bench. */
export function benchPage(bench: Bench, timeZone: string): Sheet<Row> {
  const { nextMeeting: next, emptyPositions: empty, tonight } = bench;
  const dayOrNull = (at: string | null) => (at === null ? null : dayIn(timeZone, at));
  const steps = [...new Set(bench.entries.map(({ benchStep }) => benchStep))];
  return {
    title: `Bench sheet: ${bench.carName}`,
    facts: [
      next === null
        ? `As of ${longDay(dayIn(timeZone, bench.asOf))}. No meeting is ahead in the calendar.`
        : `As of ${longDay(dayIn(timeZone, bench.asOf))}, for ${next.name} on ${longDay(next.startsOn)}: ${next.runs} runs on ${next.surface}.`,
      bench.ready ? "The car is ready." : "The car is not ready.",
      `What to do goes by the chance of wear: change below a chance of ${percent(bench.adviceBy.changeBelow)} of not being worn out, look below ${percent(bench.adviceBy.lookBelow)} or after ${bench.adviceBy.lookAfterRuns} runs unseen.`,
      `Bench time for all that is to be changed or looked at: ${readable(bench.minutes)} minutes.`,
      ...(tonight === null
        ? []
        : [
            tonight.checks.length === 0
              ? `For ${readable(tonight.minutes)} minutes tonight, by cost: no check pays.`
              : `For ${readable(tonight.minutes)} minutes tonight, by cost: ${tonight.checks.map(({ position, mark }) => `${position} (${mark})`).join(", ")}.`,
          ]),
      ...(empty.length === 0 ? [] : [`Nothing is fitted at: ${empty.join(", ")}.`]),
    ],
    notes: { heading: "Take care", items: bench.cautions },
    columns,
    sections:
      steps.length === 0
        ? [{ caption: "Bench", rows: [], none: "Nothing is fitted to this car." }]
        : steps.map((step) => ({
            caption: words(step),
            rows: bench.entries
              .filter(({ benchStep }) => benchStep === step)
              .map((entry) => ({ ...entry, lastSeenOn: dayOrNull(entry.lastSeenAt) })),
          })),
  };
}
