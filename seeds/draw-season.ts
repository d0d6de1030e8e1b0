import type { SeasonEvent, SeasonTruth } from "./events.ts";
import type { SeedKind } from "./index.ts";
import type { Scenario, ScenarioCar, ScenarioMeeting } from "./quillbrook.ts";
import { fillBox, prepareForTitle } from "./season/bench.ts";
import { chanceFrom } from "./season/chance.ts";
import { dayOf, daysMs, hoursMs, minutesMs, msOf, newDiary, stamp } from "./season/diary.ts";
import type { Garage, World } from "./season/garage.ts";
import { allowance, passDays, trueRate } from "./season/live-piece.ts";
import { runMeeting } from "./season/meeting-day.ts";
import { attendances, countOwnStock, openGarage } from "./season/opening.ts";
import { openShop } from "./season/shop.ts";
import { newStockroom } from "./season/stockroom.ts";

/** The log opens on this day, with a stocktake; the cars are on the bench two days later. */
const opening = "2026-01-29";

export interface SeasonRequest {
  scenario: Scenario;
  kinds: readonly SeedKind[];
  /** a whole number; the same seed draws the same season */
  seed: number;
  /** keys of the cars to draw; all of them if not given */
  cars?: readonly string[];
}

export interface Season {
  events: SeasonEvent[];
  truth: SeasonTruth;
}

/**
 * Draws the log of the season before the scenario's day: invented, and made as the trade thinks that parts live
 * (common practice, no source). A piece's wear in a run is its kind's rate, times the minutes, a factor of the piece
 * and one of the run, surface, conditions, driver and (for tyres) corner; a run may also break it. Drivers see
 * readings with error and rounding, and grades; they skip looks, slip, and change what they take to be worn.
 *
 * No clock, no chance without the seed, no input or output.
 */
export function drawSeason({ scenario, kinds, seed, cars: wanted }: SeasonRequest): Season {
  const world = newWorld(scenario, kinds, seed);
  const { diary, stock } = world;
  const cars = scenario.cars.filter(({ key }) => wanted === undefined || wanted.includes(key));
  const meetings = scenario.meetings.filter(({ startsOn }) => startsOn < scenario.asOf);
  const comes = attendances(world, cars, meetings);
  const shop = openShop(scenario, stock, diary, world.chance);

  const start = msOf(opening);
  shop.open(start + 9 * hoursMs);
  for (const driver of scenario.drivers)
    if (cars.some((car) => car.driver === driver.key))
      countOwnStock(world, driver, cars, start + 9.5 * hoursMs);
  const garages = cars.map((car, i) => openGarage(world, car, start + 2 * daysMs + i * 15 * minutesMs));

  const end = msOf(scenario.asOf);
  for (let day = start + 3 * daysMs; day < end; day += daysMs) {
    shop.passDay(day);
    for (const meeting of meetings) {
      const there = garages.filter(({ car }) => comes.has(`${car.key} ${meeting.key}`));
      if (meeting.startsOn === dayOf(day + daysMs)) spendNightBefore(world, meeting, garages, there, day);
      if (meeting.startsOn === dayOf(day)) runMeeting(world, meeting, there, day);
    }
  }
  sayWhoTravels(world, cars, end - daysMs);
  for (const garage of garages)
    for (const piece of [...garage.fitted.values(), ...garage.packs]) passDays(piece, end);
  const now = stamp(end);
  return { events: diary.inOrder().filter(({ at }) => at < now), truth: truthOf(world, now) };
}

function newWorld(scenario: Scenario, kinds: readonly SeedKind[], seed: number): World {
  const diary = newDiary();
  return {
    scenario,
    kinds: new Map(kinds.map((kind) => [kind.code, kind])),
    lines: new Map(scenario.lines.map((line) => [line.sku, line])),
    chance: chanceFrom(seed),
    diary,
    stock: newStockroom(diary),
    pieces: [],
    readings: [],
    marks: new Map(),
  };
}

/** Who stays away says so, who comes fills the box, and for a title half-worn tyres come off. */
function spendNightBefore(
  world: World,
  meeting: ScenarioMeeting,
  garages: readonly Garage[],
  there: readonly Garage[],
  day: number,
): void {
  const { carModels } = world.scenario;
  for (const [i, garage] of garages.entries()) {
    const at = day + 9 * hoursMs + i * 10 * minutesMs;
    const { key: car, model } = garage.car;
    if (carModels.find(({ key }) => key === model)!.discipline !== meeting.discipline) continue;
    if (!there.includes(garage)) {
      world.diary.write({ type: "entry", at: stamp(at), car, meeting: meeting.key, attends: false });
      continue;
    }
    if (meeting.days > 1) prepareForTitle(world, garage, at);
    fillBox(world, garage, at + 6 * minutesMs);
  }
}

/** Who does not mean to travel to the titles ahead. */
function sayWhoTravels(world: World, cars: readonly ScenarioCar[], at: number): void {
  const { meetings, asOf } = world.scenario;
  const titles = meetings.filter(({ days, startsOn }) => days > 1 && startsOn >= asOf);
  const travel = attendances(world, cars, titles);
  const { carModels } = world.scenario;
  for (const { key: meeting, discipline } of titles)
    for (const { key: car, model } of cars)
      if (
        carModels.find(({ key }) => key === model)!.discipline === discipline &&
        !travel.has(`${car} ${meeting}`)
      )
        world.diary.write({ type: "entry", at: stamp(at + 9 * hoursMs), car, meeting, attends: false });
}

function truthOf(world: World, now: string): SeasonTruth {
  const pieces = world.pieces.map(({ piece, retiredFor }) => ({
    driver: piece.driver.key,
    piece: piece.mark,
    car: piece.car,
    line: piece.line.sku,
    kind: piece.kind.code,
    asNew: piece.asNew,
    ratePerClock: trueRate(piece),
    usage: piece.usage,
    wear: piece.wear,
    allowance: allowance(piece),
    retiredFor,
  }));
  const readings = world.readings.filter(({ at }) => at < now);
  readings.sort((a, b) => (a.at < b.at ? -1 : a.at > b.at ? 1 : 0));
  return { pieces, readings };
}
