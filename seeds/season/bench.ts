import type { RetiredFor } from "../../src/domain/piece.ts";
import { minutesMs, stamp } from "./diary.ts";
import {
  change,
  type Garage,
  groupOf,
  positionOf,
  retire,
  takeOff,
  type World,
  writeFit,
  writeLook,
  writePiece,
} from "./garage.ts";
import { type LivePiece, newPiece, passDays, trueSize } from "./live-piece.ts";
import { boxOf, findSpares, homeOf } from "./stockroom.ts";
import { ways } from "./ways.ts";

/** Of the usual looks, the share that even a careful driver skips, and what carelessness adds. */
const skipped = 0.12;
const skippedIfCareless = 0.3;
/** A pinion that looks more than half worn goes with its spur; a tyre that is, comes off before a title. */
const halfWorn = 0.5;

type Changes = Map<string, RetiredFor | null>;

const isSkipped = (world: World, { driver }: Garage) =>
  world.chance.happens(skipped + skippedIfCareless * (1 - driver.habits.care));

/** The evening after a meeting: looks, changes, packs to storage. */
export function spendEvening(
  world: World,
  garage: Garage,
  at: number,
  day: { broken: ReadonlySet<string>; meshWrong: boolean },
): void {
  garage.meetings += 1;
  for (const piece of [...garage.fitted.values(), ...garage.packs]) passDays(piece, at);
  const changes: Changes = new Map([...day.broken].map((name) => [name, "broken"]));
  let lookAtMs = at;
  for (const [i, { name, kind }] of garage.car.positions.entries()) {
    const piece = garage.fitted.get(name);
    const due = (garage.meetings + i) % ways[kind]!.looksEvery === 0;
    if (piece === undefined || day.broken.has(name) || !due || isSkipped(world, garage)) continue;
    lookAtMs += 10_000;
    const hints = { other: sizeOfAnother(garage, piece), meshReset: day.meshWrong };
    if (writeLook(world, piece, lookAtMs, hints).worn) changes.set(name, "worn");
  }
  widen(garage, changes);
  const changed = [...changes].map(([name, reason]) => ({ position: positionOf(garage, name), reason }));
  change(world, garage, changed, lookAtMs + minutesMs, "bench");
  tendPacks(world, garage, lookAtMs + 3 * minutesMs);
}

/** What a reading would say if the wrong corner was taken. */
function sizeOfAnother(garage: Garage, piece: LivePiece): number | null {
  if (piece.corner === null) return null;
  const other = [...garage.fitted.values()].find(
    (one) => one !== piece && one.corner !== null && one.kind.code === piece.kind.code,
  );
  return other === undefined ? null : trueSize(other);
}

/** Sets and pairs are changed together, and a tired pinion goes with its spur. */
function widen(garage: Garage, changes: Changes): void {
  const reasonAlong = (name: string): RetiredFor =>
    (garage.fitted.get(name)?.seenShare ?? 0) > halfWorn ? "worn" : "precaution";
  for (const [name, reason] of [...changes]) {
    const position = positionOf(garage, name);
    // One that broke by accident is changed alone, except tyres and brushes.
    const together = reason === "worn" || /^(TYR|BRU)/.test(position.kind);
    if (together)
      for (const other of groupOf(garage, position))
        if (!changes.has(other.name) && garage.fitted.has(other.name))
          changes.set(other.name, reasonAlong(other.name));
  }
  const pinion = garage.fitted.get("pinion");
  if (changes.has("spur") && !changes.has("pinion") && pinion !== undefined && pinion.seenShare > halfWorn)
    changes.set("pinion", "precaution");
}

/** A piece broke in a run: in the pits, with what is in the box. @returns whether the car can go on */
export function mendInPits(
  world: World,
  garage: Garage,
  name: string,
  at: number,
  place: "pits" | "title",
): boolean {
  const position = positionOf(garage, name);
  const piece = garage.fitted.get(name)!;
  world.diary.write({
    type: "inspection",
    at: stamp(at),
    driver: garage.driver.key,
    piece: piece.mark,
    readings: [],
    grade: null,
    findings: [ways[piece.kind.code]!.broken],
    services: [],
    confirmed: false,
  });
  const spare = garage.kept.get(name);
  if (spare !== undefined) {
    garage.kept.delete(name);
    takeOff(world, garage, position, at + 1000, "broken");
    writeFit(world, garage, position, spare, at + minutesMs, null);
    return true;
  }
  const group = /^(TYR|BRU)/.test(position.kind) ? groupOf(garage, position) : [position];
  const before = group.map((one) => ({ one, old: garage.fitted.get(one.name)! }));
  const changes = before.map(({ one, old }) => {
    const good = old.corner !== null && old.seenShare < halfWorn;
    const along: RetiredFor | null = good ? null : "precaution";
    return { position: one, reason: one.name === name ? ("broken" as const) : along };
  });
  if (!change(world, garage, changes, at + 1000, place)) return false;
  for (const [i, { one, old }] of before.entries())
    if (changes[i]!.reason === null) garage.kept.set(one.name, old);
  return true;
}

/** The evening before a title: nothing nearly finished on the car. */
export function prepareForTitle(world: World, garage: Garage, at: number): void {
  const changes: Changes = new Map();
  for (const [name, piece] of garage.fitted)
    if (piece.corner !== null && piece.seenShare > halfWorn) changes.set(name, "precaution");
  for (const name of [...changes.keys()])
    for (const other of groupOf(garage, positionOf(garage, name))) changes.set(other.name, "precaution");
  const changed = [...changes].map(([name, reason]) => ({ position: positionOf(garage, name), reason }));
  change(world, garage, changed, at, "night-before");
}

/** Packs are measured now and then, and given up when finished or hurt. */
function tendPacks(world: World, garage: Garage, at: number): void {
  for (const [i, pack] of garage.packs.entries()) {
    const due = (garage.meetings + i) % ways[pack.kind.code]!.looksEvery === 0;
    if (!due || isSkipped(world, garage)) continue;
    if (writeLook(world, pack, at + i * 10_000).worn) replacePack(world, garage, i, "worn", at + minutesMs);
  }
}

export function replacePack(
  world: World,
  garage: Garage,
  index: number,
  retiredFor: RetiredFor,
  at: number,
): void {
  const old = garage.packs[index]!;
  const head = { driver: garage.driver.key, piece: old.mark };
  world.diary.write({ type: "retire", at: stamp(at), ...head, retiredFor });
  retire(world, old, retiredFor);
  const { driver, line } = old;
  const spares = findSpares(world.stock, { driver, line, quantity: 1, at }, "bench")!;
  const pack = addPack(world, garage, old, spares.at);
  world.stock.take(spares.location, line.sku);
  writePiece(world, pack, spares.at + minutesMs, spares.location);
  writeLook(world, pack, spares.at + 2 * minutesMs);
  garage.packs[index] = pack;
}

export function addPack(
  world: World,
  garage: Garage,
  like: Pick<LivePiece, "kind" | "line">,
  at: number,
): LivePiece {
  const { driver, car } = garage;
  const number = (world.marks.get(`${driver.key} pack`) ?? 0) + 1;
  world.marks.set(`${driver.key} pack`, number);
  const { kind, line } = like;
  const given = { driver, car: car.key, mark: `pack ${number}`, kind, line, corner: null, duty: 1 };
  const pack = newPiece(given, at, world.chance);
  world.pieces.push({ piece: pack, retiredFor: null });
  return pack;
}

/** Kinds of which one belongs in the box at all times: the day is over without it. */
export const boxKinds = /^(SPR|PIN|ARM-F|HPN|HUB|SAV|CUP|CVD|BLT)/;

/** The night before a meeting: what belongs in the box goes in. */
export function fillBox(world: World, { car, driver }: Garage, at: number): void {
  const [home, box] = [homeOf(driver), boxOf(driver)];
  for (const sku of new Set(
    car.positions.filter(({ kind }) => boxKinds.test(kind)).map(({ line }) => line),
  )) {
    if (world.stock.level(box, sku) > 0) continue;
    const line = world.lines.get(sku)!;
    if (world.stock.level(home, sku) > 0 && world.stock.readyAt(home, sku) <= at)
      world.stock.move(line, home, box, 1, at);
    else if (world.stock.level("shelf", sku) >= line.packSize && world.chance.happens(0.6))
      world.stock.move(line, "shelf", box, line.packSize, at);
  }
}
