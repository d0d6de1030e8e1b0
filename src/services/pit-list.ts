import { adviceBy, changeBelow } from "../domain/piece-advice.ts";
import { breakageOf } from "../domain/breakage.ts";
import type { PlannedMeeting } from "../domain/calendar.ts";
import { DomainError } from "../domain/errors.ts";
import { chancesThrough, pieceDemand, pieceForecast } from "../domain/forecast.ts";
import { burdens, dayChance, pitBox, type PitLine } from "../domain/pit-box.ts";
import { pmfCdf, pmfMean } from "../stats/index.ts";
import { selectClub } from "../storage/clubs.ts";
import { allRecords } from "../storage/records.ts";
import { selectFittedOnCars } from "../storage/restock.ts";
import { levelsOf } from "../storage/stock-ledger.ts";
import type { CarRow } from "../storage/tables.ts";
import { aheadThrough, clubDay, meetingsAhead } from "./calendar-ahead.ts";
import { getOwnCar } from "./keep-cars.ts";
import { type BoughtDemand, byBought, practiceOf, sharedBy } from "./bought-demand.ts";
import { type DemandOptions, lineDemands } from "./line-demand.ts";
import { piecesInUse } from "./line-pieces.ts";
import { count, percent } from "./in-words.ts";
import { lineToBuy, totalsOf } from "./needs-ahead.ts";
import { raceCalendars } from "./race-calendars.ts";
import { withShelves } from "./shop-shelves.ts";
import type { Work } from "./work.ts";

const defaultTarget = 0.95;

/**
 * What goes into the box for a meeting, and what is to be changed before leaving. The wear of the meetings in between
 * counts too, if it is not the next one.
 *
 * @throws {DomainError} `not_found`, `not_allowed`, or `nothing_to_forecast` where the car has no such meeting ahead
 */
export async function pitList(
  work: Work,
  carId: string,
  asked: { meetingId?: string | undefined; target?: number | undefined },
) {
  const target = asked.target ?? defaultTarget;
  const car = await getOwnCar(work, carId);
  const ahead = (await meetingsAhead(work, [car])).get(carId) ?? [];
  const through =
    asked.meetingId === undefined
      ? ahead.slice(0, 1)
      : await aheadThrough(work, ahead, asked.meetingId, `"${car.name}"`);
  const meeting = through.at(-1);
  if (meeting === undefined)
    throw new DomainError("nothing_to_forecast", `"${car.name}" has no meeting ahead in the calendar`);
  const { changes, stoppers } = await changesBefore(work, car, through);
  const changed = new Set(changes.map(({ pieceId }) => pieceId));
  const [club, allLines] = await Promise.all([
    selectClub(work.db, work.actor.clubId),
    allRecords(work.db, "lines", work.actor.clubId),
  ]);
  const byId = new Map(allLines.map((line) => [line.id, line]));
  const today = await clubDay(work);
  const demandsWith = async (options: DemandOptions) =>
    byBought(await lineDemands(work, [car], [meeting.startsOn], options), (line) =>
      lineToBuy(line, byId, today),
    );
  const asItIs = await demandsWith({});
  const demands = changed.size === 0 ? asItIs : await demandsWith({ changed });
  const lines = pitLines(demands);
  const box = pitBox(lines, target);
  const nothing = lines.map(() => 0);
  const chances = {
    asItIs: 1 - dayChance(pitLines(asItIs), nothing),
    changed: 1 - dayChance(lines, nothing),
    carried:
      1 -
      dayChance(
        lines,
        box.map(({ pieces }) => pieces),
      ),
  };
  const places = await stockPlaces(work, car);
  const wanted = demands
    .map((demand, i) => ({ demand, line: lines[i]!, ...box[i]! }))
    .filter(({ pieces }) => pieces > 0)
    .map(({ demand, line, pieces, why }) => {
      const { bought, lineIds } = demand;
      const { kind } = demand.parts[0]!.model;
      const has = (place: Map<string, number>) => lineIds.reduce((sum, id) => sum + (place.get(id) ?? 0), 0);
      const inBox = has(places.box);
      const atHome = has(places.home);
      const missing = Math.max(0, pieces - inBox - atHome - demand.spares);
      const packs = Math.ceil(missing / bought.packSize);
      const needed = 1 - pmfCdf(line.needed, 0);
      const practice = practiceOf(demand);
      return {
        lineId: bought.id,
        lineIds,
        sku: bought.sku,
        name: bought.name,
        kindCode: kind.code,
        carStopper: kind.carStopper,
        pieces,
        why: why!,
        chanceNeeded: needed,
        expectedNeed: pmfMean(line.needed),
        inBox,
        atHome,
        spares: demand.spares,
        missing,
        currency: bought.currency,
        costMinorUnits: packs * bought.priceMinorUnits,
        cautions: kind.cautions,
        weightGrams: bought.weightGrams === null ? null : pieces * bought.weightGrams,
        sentence: `Carry ${pieces}: ${reasons[why!]}; the chance that one is needed is ${percent(needed)}, there are ${inBox} in the box, ${atHome} at home and ${demand.spares} part-worn${missing > 0 ? `, so ${missing} must be bought` : ""}.${sharedBy(demand)}${practice === null ? "" : ` ${practice.sentence}`}`,
        practice,
      };
    })
    .sort((a, b) => Number(b.carStopper) - Number(a.carStopper) || b.chanceNeeded - a.chanceNeeded);
  const carry = await withShelves(work, wanted, ({ missing, lineIds }) => ({ pieces: missing, lineIds }), {
    driverId: car.driverId,
    locationIds: [],
  });
  return {
    carId,
    carName: car.name,
    asOf: work.now(),
    meeting,
    meetingsBefore: through.length - 1,
    target,
    currency: club.currency,
    carStoppers: stoppers,
    chanceDayEnds: chances,
    met: chances.carried <= 1 - target + 1e-12,
    changeBy: { rule: "chance" as const, changeBelow },
    change: changes,
    carry,
    totals: totalsOf(carry),
    weight: weightOf(carry),
    sentence: `A part ends the day of ${meeting.name} with a chance of ${percent(chances.asItIs)} as the car is and with nothing in the box; ${changes.length === 0 ? "nothing needs changing before, and" : `with ${count(changes.length, "piece")} changed before leaving it is ${percent(chances.changed)}, and`} with this list in the box ${percent(chances.carried)}.`,
  };
}

const reasons = {
  "car-stopper": "the day is over without it",
  likely: "it is likely to be needed",
  target: "one of it would not be enough for the chance wanted",
} as const;

function pitLines(demands: readonly BoughtDemand[]): PitLine[] {
  const weights = burdens(
    demands.map(({ bought }) => ({
      weightGrams: bought.weightGrams,
      priceOfPiece: bought.priceMinorUnits / bought.packSize,
    })),
  );
  return demands.map(({ parts, needs, perChange }, i) => ({
    needed: needs.at(-1)!.needed,
    carStopper: parts[0]!.model.kind.carStopper,
    perChange,
    burden: weights[i]!,
  }));
}

/** What the list weighs, as far as that is known. */
function weightOf(carry: readonly { weightGrams: number | null }[]) {
  const known = carry.flatMap(({ weightGrams }) => (weightGrams === null ? [] : [weightGrams]));
  return { grams: known.reduce((sum, grams) => sum + grams, 0), linesWithout: carry.length - known.length };
}

/** The pieces that are to be changed before leaving: too likely to be worn out by the end of the meeting. */
async function changesBefore(work: Work, car: CarRow, ahead: readonly PlannedMeeting[]) {
  const fitted = await selectFittedOnCars(work.db, [car.id]);
  const last = ahead.at(-1)!;
  const calendarOf = await raceCalendars(work, car, ahead);
  const days = Math.max(0, Math.floor((Date.parse(last.startsOn) - Date.parse(work.now())) / 86_400_000) + 1);
  const changes = [];
  let stoppers = 0;
  for (const { position, changedWith: _, carId: __, ...piece } of fitted) {
    const model = await work.models.get(work, piece.lineId);
    const use = (await piecesInUse(work, model, [piece])).get(piece.id)!;
    const own = calendarOf(piece.id, model).ahead;
    const runs = own.reduce((sum, one) => sum + one.runs, 0);
    const wearingUsage =
      model.kind.clock === "days" ? days : (pieceDemand(model, own).at(-1)?.throughHere ?? 0);
    const { wearsOut, lasts } = chancesThrough(
      pieceForecast(model, use),
      breakageOf(model.breakage, piece.driverId),
      {
        wearingUsage,
        runs,
      },
    );
    if (model.kind.carStopper) stoppers++;
    if (adviceBy(wearsOut, 0).advice !== "change") continue;
    changes.push({
      position,
      pieceId: piece.id,
      mark: piece.mark,
      lineId: piece.lineId,
      kindCode: model.kind.code,
      carStopper: model.kind.carStopper,
      rule: "chance" as const,
      wearsOut,
      lasts,
      cautions: model.kind.cautions,
      sentence: `By chance of wear, change it before leaving: it is worn out by the end of ${last.name} with a chance of ${percent(wearsOut)} (change from ${percent(1 - changeBelow)} on).`,
    });
  }
  changes.sort((a, b) => Number(b.carStopper) - Number(a.carStopper) || b.wearsOut - a.wearsOut);
  return { changes, stoppers };
}

/** What lies in the driver's pit box, and at home. */
async function stockPlaces(work: Work, car: CarRow) {
  const locations = await allRecords(work.db, "locations", work.actor.clubId, { driverId: car.driverId });
  const sortOf = new Map(locations.map(({ id, sort }) => [id, sort]));
  const places = {
    box: new Map<string, number>(),
    home: new Map<string, number>(),
  };
  for (const { lineId, locationId, pieces } of await levelsOf(work.db, work.actor.clubId, {
    locationIds: [...sortOf.keys()],
  })) {
    const sort = sortOf.get(locationId);
    const place = sort === "pit-box" ? places.box : places.home;
    place.set(lineId, (place.get(lineId) ?? 0) + pieces);
  }
  return places;
}
