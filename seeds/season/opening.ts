import type { Clock } from "../../src/domain/kind.ts";
import type { ScenarioCar, ScenarioDriver, ScenarioMeeting } from "../quillbrook.ts";
import { addPack, boxKinds } from "./bench.ts";
import { minutesMs } from "./diary.ts";
import {
  type Garage,
  groupOf,
  makePieces,
  positionOf,
  type World,
  writeFit,
  writeLook,
  writePiece,
} from "./garage.ts";
import { allowance, type LivePiece, wearIn } from "./live-piece.ts";
import { boxOf, homeOf } from "./stockroom.ts";
import { ways } from "./ways.ts";

/** Of the pieces on a car at the start of the season, the share that is new. */
const newAtStart = 0.2;
/** A car was stripped and rebuilt two seasons ago at most; in the unit of each clock. */
const mostUsedBefore: Record<Clock, number> = {
  minutes: 900,
  runs: 160,
  cycles: 100,
  knocks: 100,
  days: 1000,
};
/** The driver's guess of what a part-worn piece has run is off by about this share. */
const guessError = 0.15;

/** The car as it stands on the bench before the first round: most of it part-worn, everything read once. */
export function openGarage(world: World, car: ScenarioCar, at: number): Garage {
  const driver = world.scenario.drivers.find(({ key }) => key === car.driver)!;
  const garage: Garage = {
    car,
    driver,
    fitted: new Map(),
    packs: [],
    nextPack: 0,
    kept: new Map(),
    meetings: 0,
  };
  for (const position of car.positions) {
    if (garage.fitted.has(position.name)) continue;
    const group = groupOf(garage, position);
    const pieces = makePieces(world, garage, group, at);
    const used = usedBefore(world, pieces[0]!);
    for (const [i, piece] of pieces.entries()) {
      if (used > 0) bringAlong(world, garage, piece, used);
      writePiece(world, piece, at - 1000, null);
      writeFit(world, garage, positionOf(garage, group[i]!.name), piece, at, null);
    }
  }
  for (const [i, piece] of [...garage.fitted.values()].entries())
    writeLook(world, piece, at + minutesMs + i * 10_000);
  openPacks(world, garage, at + 8 * minutesMs);
  return garage;
}

/** What a group has run on average when the season starts; 0 for new. */
function usedBefore({ chance }: World, piece: LivePiece): number {
  if (chance.happens(newAtStart)) return 0;
  const life = allowance(piece) / ways[piece.kind.code]!.rate;
  return chance.between(0.05, 0.7) * Math.min(life, mostUsedBefore[piece.kind.clock] / 0.7);
}

function bringAlong(world: World, garage: Garage, piece: LivePiece, used: number): void {
  const model = world.scenario.carModels.find(({ key }) => key === garage.car.model)!;
  wearIn(piece, used, model.discipline === "touring" ? "asphalt" : "dusty-clay");
  const step = piece.kind.clock === "minutes" ? 5 : 1;
  const guess = piece.usage * Math.exp(guessError * world.chance.normal());
  piece.priorUsage = Math.max(step, Math.round(guess / step) * step);
}

function openPacks(world: World, garage: Garage, at: number): void {
  const line = [...world.lines.values()].find(({ kind }) => kind === "LIP-CAP")!;
  const kind = world.kinds.get(line.kind)!;
  for (let i = 0; i < garage.car.packs; i++) {
    const pack = addPack(world, garage, { kind, line }, at);
    const used = world.chance.between(0, 100);
    if (used > 10) bringAlong(world, garage, pack, used);
    writePiece(world, pack, at, null);
    writeLook(world, pack, at + (i + 1) * 10_000);
    garage.packs.push(pack);
  }
}

/** What a driver keeps: a set of tyres and small parts by the pack at home, one of each car-stopper in the box. */
export function countOwnStock(
  world: World,
  driver: ScenarioDriver,
  cars: readonly ScenarioCar[],
  at: number,
): void {
  const { chance, stock } = world;
  const positions = cars.filter((car) => car.driver === driver.key).flatMap((car) => car.positions);
  for (const sku of new Set(positions.map(({ line }) => line))) {
    const line = world.lines.get(sku)!;
    if (boxKinds.test(line.kind))
      stock.count(boxOf(driver), line, line.kind === "HPN" ? 4 : 1, at, "opening count");
    const packs = /^(TYR|D)/.test(line.kind) || line.packSize > 2 ? 1 : chance.happens(0.25) ? 1 : 0;
    const there = /^D/.test(line.kind)
      ? Math.ceil(chance.between(0.3, 1) * line.packSize)
      : packs * line.packSize;
    stock.count(homeOf(driver), line, there, at, "opening count");
  }
}

/** Who comes to which meeting, drawn before the season. */
export function attendances(
  world: World,
  cars: readonly ScenarioCar[],
  meetings: readonly ScenarioMeeting[],
): Set<string> {
  const { carModels, drivers } = world.scenario;
  const comes = new Set<string>();
  for (const meeting of meetings)
    for (const car of cars) {
      const { discipline } = carModels.find(({ key }) => key === car.model)!;
      const { habits } = drivers.find(({ key }) => key === car.driver)!;
      const chance = meeting.days > 1 ? habits.titleAttendance : habits.attendance;
      if (discipline === meeting.discipline && world.chance.happens(chance))
        comes.add(`${car.key} ${meeting.key}`);
    }
  return comes;
}
