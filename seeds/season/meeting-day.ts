import type { Surface } from "../../src/domain/kind.ts";
import type { ConditionWord } from "../../src/domain/piece.ts";
import type { ScenarioMeeting } from "../quillbrook.ts";
import { mendInPits, replacePack, spendEvening } from "./bench.ts";
import { daysMs, hoursMs, minutesMs, stamp } from "./diary.ts";
import type { Garage, World } from "./garage.ts";
import { goOut, type LivePiece, type Outing } from "./live-piece.ts";
import { ways } from "./ways.ts";

/** Of the runs, the share that is logged late, or with the timetable's minutes instead of the clock's. */
const loggedPoorly = 0.06;
/** A day on sealed asphalt sees rain now and then, and half of its runs are wet then. */
const wetDays = 0.12;
const wetRuns = 0.5;
const knocksPerRun = 0.35;

/** How the day of one car went so far. */
interface CarDay {
  garage: Garage;
  conditions: ConditionWord[];
  /** what broke and has to wait for the evening */
  broken: Set<string>;
  hurtPacks: Set<LivePiece>;
  parked: boolean;
}

/** A winter night is short and late; the other meetings fill the day. Times are from midnight UTC, ten in the morning. */
const timetable = (meeting: ScenarioMeeting) =>
  meeting.surface === "carpet"
    ? { first: 8.5 * hoursMs, between: 40 * minutesMs, slot: 3 * minutesMs, evening: 12.25 * hoursMs }
    : { first: 0.5 * hoursMs, between: 65 * minutesMs, slot: 6 * minutesMs, evening: 9 * hoursMs };

/** Runs a meeting over all its days, with the evening after it. `day` is its first midnight UTC. */
export function runMeeting(
  world: World,
  meeting: ScenarioMeeting,
  garages: readonly Garage[],
  day: number,
): void {
  const { first, between, slot, evening } = timetable(meeting);
  const cars = garages.map((garage) => startDay(world, garage));
  let left = meeting.plannedRuns;
  for (let d = 0; d < meeting.days; d++) {
    const today = Math.ceil(left / (meeting.days - d));
    left -= today;
    const wet = meeting.surface === "asphalt" && world.chance.happens(wetDays);
    for (let run = 0; run < today; run++) {
      const surface: Surface = wet && world.chance.happens(wetRuns) ? "wet-asphalt" : meeting.surface;
      for (const [i, car] of cars.entries()) {
        const at = day + d * daysMs + first + run * between + i * slot;
        if (!car.parked) goForRun(world, meeting, car, at, surface, run === 0);
      }
    }
  }
  for (const [i, { garage, broken, conditions, hurtPacks }] of cars.entries()) {
    const meshWrong = conditions.some((word) => word === "mesh-tight" || word === "mesh-loose");
    const at = day + (meeting.days - 1) * daysMs + evening + i * 8 * minutesMs;
    spendEvening(world, garage, at, { broken, meshWrong });
    for (const [index, pack] of garage.packs.entries())
      if (hurtPacks.has(pack)) replacePack(world, garage, index, "broken", at + 7 * minutesMs);
  }
}

function startDay({ chance }: World, garage: Garage): CarDay {
  const conditions: ConditionWord[] = [];
  if (chance.happens(garage.driver.habits.cleans ? 0.03 : 0.85)) conditions.push("not-cleaned");
  if (chance.happens(0.05)) conditions.push(chance.happens(0.6) ? "mesh-tight" : "mesh-loose");
  return { garage, conditions, broken: new Set(), hurtPacks: new Set(), parked: false };
}

function goForRun(
  world: World,
  meeting: ScenarioMeeting,
  car: CarDay,
  at: number,
  surface: Surface,
  practice: boolean,
): void {
  const { chance, scenario } = world;
  const { garage } = car;
  const { direction } = scenario.venues.find((venue) => venue.key === meeting.venue)!;
  const conditions: ConditionWord[] = surface === "wet-asphalt" ? [...car.conditions, "wet"] : car.conditions;
  const minutes = Math.round(((practice ? 6 : 5.5) + 0.2 * chance.normal()) * 10) / 10;
  const poorly = chance.happens(loggedPoorly);
  const fromTimetable = poorly && chance.happens(0.5);
  const loggedMinutes = fromTimetable ? meeting.minutesPerRun : minutes;
  const outing: Outing = { minutes, loggedMinutes, surface, conditions, direction };

  const pack = nextPack(garage, car.hurtPacks);
  if (pack === undefined) {
    car.parked = true;
    return;
  }
  if (goOut(pack, outing, chance)) car.hurtPacks.add(pack);
  const broke = [...garage.fitted]
    .filter(([, piece]) => goOut(piece, outing, chance))
    .filter(([name]) => !car.broken.has(name));
  const knocks = chance.poisson(knocksPerRun * garage.driver.habits.breakageMultiplier);
  const fromHit = broke.some(([, { kind }]) => ["bent", "crack"].includes(ways[kind.code]!.broken));
  world.diary.write({
    type: "run",
    at: stamp(at),
    car: garage.car.key,
    minutes: loggedMinutes,
    surface,
    conditions: [...conditions],
    pack: pack.mark,
    knocks: fromHit ? Math.max(1, knocks) : knocks,
    meeting: meeting.key,
    notes: fromTimetable ? "minutes from the timetable" : null,
    loggedAt: stamp(poorly && !fromTimetable ? at + 3 * daysMs : at + 10 * hoursMs),
  });
  const place = meeting.days > 1 ? "title" : "pits";
  for (const [i, [name, piece]] of broke.entries()) {
    // What came off with another tyre of its set is mended already.
    if (garage.fitted.get(name) !== piece) continue;
    if (mendInPits(world, garage, name, at + (8 + 2.5 * i) * minutesMs, place)) continue;
    car.broken.add(name);
    if (garage.fitted.get(name)!.kind.carStopper) car.parked = true;
  }
}

/** Packs take turns; a hurt one is left out. */
function nextPack(garage: Garage, hurt: ReadonlySet<LivePiece>): LivePiece | undefined {
  for (let tried = 0; tried < garage.packs.length; tried++) {
    const pack = garage.packs[garage.nextPack % garage.packs.length]!;
    garage.nextPack += 1;
    if (!hurt.has(pack)) return pack;
  }
  return undefined;
}
