import type { RetiredFor } from "../../src/domain/piece.ts";
import type { ReadingTruth } from "../events.ts";
import type { SeedKind } from "../index.ts";
import type { Scenario, ScenarioCar, ScenarioDriver, ScenarioLine } from "../quillbrook.ts";
import type { Chance } from "./chance.ts";
import { type Diary, minutesMs, stamp } from "./diary.ts";
import { type LivePiece, newPiece, passDays, share } from "./live-piece.ts";
import { lookAt } from "./look.ts";
import { findSpares, type Occasion, type Spares, type Stockroom } from "./stockroom.ts";
import { type Corner, overGeared, wornMate } from "./ways.ts";

/** Everything that the parts of a season share. */
export interface World {
  scenario: Scenario;
  kinds: ReadonlyMap<string, SeedKind>;
  lines: ReadonlyMap<string, ScenarioLine>;
  chance: Chance;
  diary: Diary;
  stock: Stockroom;
  /** the truth: every piece that ever was, with why it ended, and what each reading should have said */
  pieces: { piece: LivePiece; retiredFor: RetiredFor | null }[];
  readings: ReadingTruth[];
  /** the last number given to a mark, by driver and word */
  marks: Map<string, number>;
}

/** A car with its driver and what is on it. */
export interface Garage {
  car: ScenarioCar;
  driver: ScenarioDriver;
  fitted: Map<string, LivePiece>;
  packs: LivePiece[];
  nextPack: number;
  /** part-worn tyres that came off whole, by position */
  kept: Map<string, LivePiece>;
  meetings: number;
}

type Position = ScenarioCar["positions"][number];

export const cornerOf = (position: string): Corner | null => {
  const match = /^(front|rear)-(left|right) tyre$/.exec(position);
  return match === null ? null : (`${match[1]![0]}${match[2]![0]}`.toUpperCase() as Corner);
};

export const positionOf = ({ car }: Garage, name: string): Position =>
  car.positions.find((position) => position.name === name)!;

/** The positions that are changed together with this one, itself among them. */
export const groupOf = ({ car }: Garage, { name, changedWith }: Position): Position[] =>
  car.positions.filter(
    (other) => other.name === name || (changedWith !== null && other.changedWith === changedWith),
  );

export function nextNumber(world: World, driver: ScenarioDriver, word: string): number {
  const key = `${driver.key} ${word}`;
  const number = (world.marks.get(key) ?? 0) + 1;
  world.marks.set(key, number);
  return number;
}

/** Tyres are marked by set and corner, "3-FL", everything else by position and number. */
function marksFor(world: World, garage: Garage, positions: readonly Position[]): string[] {
  const corners = positions.map(({ name }) => cornerOf(name));
  if (corners[0] === null || corners[0] === undefined)
    return positions.map(({ name }) => `${name} ${nextNumber(world, garage.driver, name)}`);
  const set = nextNumber(world, garage.driver, "tyre set");
  return corners.map((corner) => `${set}-${corner}`);
}

/** What wears a piece faster on this car: a worn pinion under a new spur, too much gear on a motor. */
function dutyOf({ car, fitted }: Garage, { kind }: Position): number {
  const pinion = fitted.get("pinion");
  if (kind.startsWith("SPR")) return pinion !== undefined && share(pinion) > 0.5 ? wornMate : 1;
  if ((kind === "MOT-RPM" || kind === "BRU") && car.model === "THB" && car.pinionTeeth > 28)
    return overGeared;
  return 1;
}

/** Makes pieces for positions, not yet fitted. Their events are the caller's. */
export function makePieces(
  world: World,
  garage: Garage,
  positions: readonly Position[],
  at: number,
): LivePiece[] {
  const marks = marksFor(world, garage, positions);
  return positions.map((position, i) => {
    const given = {
      driver: garage.driver,
      car: garage.car.key,
      mark: marks[i]!,
      kind: world.kinds.get(position.kind)!,
      line: world.lines.get(position.line)!,
      corner: cornerOf(position.name),
      duty: dutyOf(garage, position),
    };
    const piece = newPiece(given, at, world.chance);
    world.pieces.push({ piece, retiredFor: null });
    return piece;
  });
}

export function retire(world: World, piece: LivePiece, reason: RetiredFor): void {
  world.pieces.find((one) => one.piece === piece)!.retiredFor = reason;
}

/** Writes what a look shows, and keeps the truth beside it. */
export function writeLook(
  world: World,
  piece: LivePiece,
  at: number,
  hints: { other?: number | null; meshReset?: boolean } = {},
): { worn: boolean } {
  passDays(piece, at);
  const look = lookAt(piece, stamp(at), world.chance, hints);
  world.diary.write(look.event);
  if (look.truth !== null) world.readings.push(look.truth);
  return look;
}

export function writePiece(world: World, piece: LivePiece, at: number, from: string | null): void {
  world.diary.write({
    type: "piece",
    at: stamp(at),
    driver: piece.driver.key,
    piece: piece.mark,
    line: piece.line.sku,
    priorUsage: piece.priorUsage,
    priorUsageSd: piece.priorUsage === null ? null : Math.max(1, Math.round(0.2 * piece.priorUsage)),
    boughtOn: null,
    from,
  });
}

export function writeFit(
  world: World,
  garage: Garage,
  { name }: Position,
  piece: LivePiece,
  at: number,
  from: string | null,
): void {
  const where = { driver: garage.driver.key, car: garage.car.key, position: name, piece: piece.mark };
  world.diary.write({ type: "fit", at: stamp(at), ...where, from });
  garage.fitted.set(name, piece);
}

export function takeOff(
  world: World,
  garage: Garage,
  { name }: Position,
  at: number,
  retiredFor: RetiredFor | null,
): void {
  const piece = garage.fitted.get(name)!;
  const where = { driver: garage.driver.key, car: garage.car.key, position: name, piece: piece.mark };
  world.diary.write({ type: "remove", at: stamp(at), ...where, retiredFor });
  garage.fitted.delete(name);
  if (retiredFor !== null) retire(world, piece, retiredFor);
}

/**
 * Changes the pieces at some positions for new ones, each with its reason.
 *
 * @returns false if no spares were to be had in time; then nothing of that line is changed
 */
export function change(
  world: World,
  garage: Garage,
  changes: readonly { position: Position; reason: RetiredFor | null }[],
  at: number,
  occasion: Occasion,
): boolean {
  for (const sku of new Set(changes.map(({ position }) => position.line))) {
    const some = changes.filter(({ position }) => position.line === sku);
    const need = { driver: garage.driver, line: world.lines.get(sku)!, quantity: some.length, at };
    const spares = findSpares(world.stock, need, occasion);
    if (spares === null) return false;
    changeLine(world, garage, some, at, spares);
  }
  return true;
}

function changeLine(
  world: World,
  garage: Garage,
  changes: readonly { position: Position; reason: RetiredFor | null }[],
  at: number,
  spares: Spares,
): void {
  const positions = changes.map(({ position }) => position);
  for (const { position, reason } of changes) takeOff(world, garage, position, at, reason);
  const fittedAt = spares.at + minutesMs;
  const pieces = makePieces(world, garage, positions, fittedAt);
  for (const [i, piece] of pieces.entries()) {
    writePiece(world, piece, fittedAt - 1000, null);
    world.stock.take(spares.location, piece.line.sku);
    writeFit(world, garage, positions[i]!, piece, fittedAt, spares.location);
  }
  // The reading on the day of fitting is what wear is counted from.
  for (const piece of pieces) writeLook(world, piece, fittedAt + minutesMs);
}
