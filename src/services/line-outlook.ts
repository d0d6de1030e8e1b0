import { rangeOf } from "../domain/demand-seasons.ts";
import { DomainError } from "../domain/errors.ts";
import { monthsOf } from "../domain/season-spend.ts";
import { pmfMean, pmfQuantile } from "../stats/index.ts";
import { getRecord } from "../storage/records.ts";
import { clubDay } from "./calendar-ahead.ts";
import { lineDemands } from "./line-demand.ts";
import { carsInScope, type Scope } from "./pieces-in-scope.ts";
import { capitalised, likelyNeed, oneDecimal } from "./in-words.ts";
import { beyondCalendar, calendarEnd, requireInReach } from "./needs-ahead.ts";
import type { Work } from "./work.ts";

const seasons = 2000;

/** How many pieces of a line will be needed, month by month and through the end of each. */
export async function lineOutlook(work: Work, lineId: string, asked: Scope & { through: string }) {
  const line = await getRecord(work.db, "lines", work.actor.clubId, lineId, "line");
  const today = await clubDay(work);
  if (asked.through < today)
    throw new DomainError(
      "out_of_order",
      `The outlook goes through ${asked.through}, but today is ${today}`,
      [{ pointer: "#/through", detail: `is past: today is ${today}` }],
    );
  requireInReach("The outlook", today, asked.through);
  const months = monthsOf(today, asked.through);
  const cars = await carsInScope(work, asked);
  const days = months.map(({ lastDay }) => lastDay);
  const [demand] = await lineDemands(work, cars, days, { lineId });
  const needed = demand?.seasons(seasons) ?? days.map(() => new Int32Array(seasons));
  const rows = months.map(({ month, lastDay }, m) => {
    const through = demand?.needs[m]?.needed ?? [1];
    const before = m === 0 ? [1] : (demand?.needs[m - 1]?.needed ?? [1]);
    const inMonth = needed[m]!.map((pieces, season) => pieces - (m === 0 ? 0 : needed[m - 1]![season]!));
    return {
      month,
      lastDay,
      expected: Math.max(0, pmfMean(through) - pmfMean(before)),
      pieces: rangeOf(inMonth),
      through: {
        expected: pmfMean(through),
        pieces: {
          p10: pmfQuantile(through, 0.1),
          median: pmfQuantile(through, 0.5),
          p90: pmfQuantile(through, 0.9),
        },
      },
    };
  });
  const calendarEndsOn = await calendarEnd(work, today);
  const last = rows.at(-1)!.through;
  const peak = rows.reduce((most, row) => (row.expected > most.expected ? row : most), rows[0]!);
  return {
    lineId,
    sku: line.sku,
    asOf: work.now(),
    through: asked.through,
    inUse: demand?.inUse ?? 0,
    calendarEndsOn,
    months: rows,
    sentence: `${capitalised(likelyNeed(last.pieces))} through ${asked.through} (expected ${oneDecimal(last.expected)})${last.pieces.p90 === 0 ? "" : `, most of them in ${peak.month} (${oneDecimal(peak.expected)})`}${beyondCalendar(asked.through, calendarEndsOn)}.`,
  };
}
