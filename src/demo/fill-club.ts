import { v7 } from "uuid";
import type { SeasonEvent } from "../../seeds/events.ts";
import type { Scenario } from "../../seeds/quillbrook.ts";
import { fitPiece, removePiece } from "../services/fit-pieces.ts";
import { addCar } from "../services/keep-cars.ts";
import { foundClub } from "../services/keep-club.ts";
import { addLine, changeLine } from "../services/keep-lines.ts";
import { addLocation } from "../services/keep-locations.ts";
import { addMeeting, enterCar } from "../services/keep-meetings.ts";
import { changeOrder, placeOrder, receiveOrder } from "../services/keep-orders.ts";
import { addPiece, getOwnPiece, retirePiece } from "../services/keep-pieces.ts";
import { makeRecord } from "../services/keep-records.ts";
import { LineModels } from "../services/line-models.ts";
import { logInspection } from "../services/log-inspection.ts";
import { logRun } from "../services/log-runs.ts";
import { recordMovement } from "../services/record-movements.ts";
import { takeNewPiece } from "../services/take-new-piece.ts";
import { takeStock } from "../services/take-stock.ts";
import { together, type Work } from "../services/work.ts";
import type { Db } from "../storage/database.ts";
import { allRecords } from "../storage/records.ts";

/** Ids by the keys of the scenario, so that whoever filled the club can ask for its things by name. */
export interface FilledClub {
  work: Work;
  drivers: Map<string, string>;
  cars: Map<string, string>;
  lines: Map<string, string>;
  meetings: Map<string, string>;
  locations: Map<string, string>;
  /** by driver's key and mark, joined by a space */
  pieces: Map<string, string>;
}

/** A map that says which key was missing. */
class Ids extends Map<string, string> {
  of(key: string): string {
    const id = this.get(key);
    if (id === undefined) throw new Error(`The scenario names ${key}, which it does not define`);
    return id;
  }
}

/**
 * Fills an empty database with a scenario and the log of its season, by the same services that the API calls: what
 * the rules of the ledger refuse, they refuse here too. All in one transaction.
 */
export async function fillClub(
  db: Db,
  scenario: Scenario,
  events: readonly SeasonEvent[],
): Promise<FilledClub> {
  const opened = `${events[0]?.at.slice(0, 10) ?? scenario.asOf}T00:00:00.000Z`;
  const newId = () => v7();
  const { name, currency, timeZone } = scenario.club;
  const club = await foundClub(db, { id: newId(), name, currency, timeZone, at: opened, newId });
  const moment = { now: opened };
  const outside: Work = {
    db,
    actor: { clubId: club.id, keyId: "", name: "demo", role: "owner", driverId: null },
    reach: "all",
    now: () => moment.now,
    newId,
    models: new LineModels(),
  };
  return together(outside, async (work) => {
    const filled = await fillBooks(work, scenario);
    const replay = replayer(work, scenario, filled);
    for (const event of events) {
      moment.now = "loggedAt" in event ? event.loggedAt : event.at;
      await replay(event);
    }
    moment.now = `${scenario.asOf}T00:00:00.000Z`;
    return { ...filled, work: outside };
  });
}

async function fillBooks(work: Work, scenario: Scenario) {
  const ids = () => new Ids();
  const [drivers, models, venues, suppliers, lines, locations, cars, meetings] = [
    ids(),
    ids(),
    ids(),
    ids(),
    ids(),
    ids(),
    ids(),
    ids(),
  ];
  const kinds = new Ids(
    (await allRecords(work.db, "kinds", work.actor.clubId)).map(({ code, id }) => [code, id]),
  );
  for (const { key, name, notes } of scenario.drivers)
    drivers.set(key, (await makeRecord(work, "drivers", "driver", { name, notes, sharesDemand: 1 })).id);
  for (const { key, ...model } of scenario.carModels)
    models.set(key, (await makeRecord(work, "carModels", "car model", model)).id);
  for (const { key, ...venue } of scenario.venues)
    venues.set(key, (await makeRecord(work, "venues", "venue", venue)).id);
  for (const {
    key,
    name,
    leadTimeDays,
    leadTimeSdDays,
    minimumOrderMinorUnits,
    notes,
  } of scenario.suppliers) {
    const supplier = { name, leadTimeDays, leadTimeSdDays, minimumOrderMinorUnits, notes };
    suppliers.set(key, (await makeRecord(work, "suppliers", "supplier", supplier)).id);
  }
  for (const line of scenario.lines) {
    const {
      sku,
      name,
      packSize,
      orderMultiplePacks,
      priceMinorUnits,
      shelfLifeDays,
      weightGrams,
      asNew,
      endedOn,
      notes,
    } = line;
    const added = await addLine(work, {
      ...{
        sku,
        name,
        packSize,
        orderMultiplePacks,
        priceMinorUnits,
        shelfLifeDays,
        weightGrams,
        asNew,
        endedOn,
        notes,
      },
      kindId: kinds.of(line.kind),
      supplierId: suppliers.of(line.supplier),
      fits: line.fits.map((key) => models.of(key)),
      gtin: line.gtin ?? null,
      makersPartNumber: line.makersPartNumber ?? null,
      ...{
        leadTimeDays: null,
        limits: null,
        usualLife: null,
        supersededById: null,
      },
    });
    lines.set(sku, added.id);
  }
  for (const { sku, supersededBy } of scenario.lines)
    if (supersededBy !== null)
      await changeLine(work, lines.of(sku), { supersededById: lines.of(supersededBy) });
  for (const { key, name, sort, driver } of scenario.locations) {
    const driverId = driver === null ? null : drivers.of(driver);
    locations.set(key, (await addLocation(work, { name, sort, driverId })).id);
  }
  for (const { key, driver, model, positions, packs: _, ...car } of scenario.cars) {
    const given = { ...car, driverId: drivers.of(driver), carModelId: models.of(model), notes: null };
    const places = positions.map(({ name, kind, changedWith }) => ({
      name,
      kindId: kinds.of(kind),
      changedWith,
    }));
    cars.set(key, (await addCar(work, given, places)).id);
  }
  for (const { key, venue, ...meeting } of scenario.meetings)
    meetings.set(
      key,
      (await addMeeting(work, { ...meeting, practiceRuns: null, venueId: venues.of(venue), notes: null })).id,
    );
  return { drivers, suppliers, lines, locations, cars, meetings, pieces: ids() };
}

/** Gives each event of the log to the service that it is for. */
function replayer(work: Work, scenario: Scenario, filled: Awaited<ReturnType<typeof fillBooks>>) {
  const { drivers, suppliers, lines, locations, cars, meetings, pieces } = filled;
  const orders = new Ids();
  const driverOf = new Map(scenario.cars.map((car) => [car.key, car.driver]));
  const packSizes = new Map(scenario.lines.map((line) => [line.sku, line.packSize]));
  const take = async (id: string, from: string | null, at: string) => {
    if (from !== null)
      await takeNewPiece(work, { piece: await getOwnPiece(work, id), from: locations.of(from), at });
  };
  return async (event: SeasonEvent): Promise<void> => {
    const { at } = event;
    switch (event.type) {
      case "piece": {
        const { driver, piece: mark, line, priorUsage, priorUsageSd, boughtOn, from } = event;
        const given = { mark, priorUsage, priorUsageSd, boughtOn, asNew: null, notes: null };
        const { id } = await addPiece(work, {
          ...given,
          driverId: drivers.of(driver),
          lineId: lines.of(line),
        });
        pieces.set(`${driver} ${mark}`, id);
        return take(id, from, at);
      }
      case "fit": {
        const pieceId = pieces.of(`${event.driver} ${event.piece}`);
        await take(pieceId, event.from, at);
        await fitPiece(work, cars.of(event.car), { position: event.position, at, piece: { pieceId } });
        return;
      }
      case "remove": {
        await removePiece(work, pieces.of(`${event.driver} ${event.piece}`), {
          at,
          retiredFor: event.retiredFor,
        });
        return;
      }
      case "retire": {
        await retirePiece(work, pieces.of(`${event.driver} ${event.piece}`), {
          at,
          retiredFor: event.retiredFor,
        });
        return;
      }
      case "entry": {
        const stated = { attends: event.attends, plannedRuns: null };
        await enterCar(work, meetings.of(event.meeting), cars.of(event.car), stated);
        return;
      }
      case "run": {
        const { minutes, surface, conditions, knocks, notes } = event;
        const packId = pieces.of(`${driverOf.get(event.car)} ${event.pack}`);
        const run = { at, minutes, surface, conditions, knocks, notes, packId };
        await logRun(work, { ...run, carId: cars.of(event.car), meetingId: meetings.of(event.meeting) });
        return;
      }
      case "inspection": {
        const { readings, grade, findings, services, confirmed } = event;
        const look = { at, readings, grade, findings, services, notes: null, confirmed };
        await logInspection(work, pieces.of(`${event.driver} ${event.piece}`), look);
        return;
      }
      case "movement": {
        const { notes } = event;
        const lineId = lines.of(event.line);
        if (event.reason === "moved") {
          const ends = { locationId: locations.of(event.from), toLocationId: locations.of(event.to) };
          await recordMovement(work, { reason: "moved", lineId, ...ends, pieces: event.quantity, at, notes });
          return;
        }
        const locationId = locations.of(event.location);
        if (event.reason === "received")
          await recordMovement(work, {
            reason: "received",
            lineId,
            locationId,
            pieces: event.quantity,
            at,
            notes,
          });
        else await takeStock(work, { locationId, at, counts: [{ lineId, pieces: event.levelAfter }] });
        return;
      }
      case "order": {
        const order = await placeOrder(work, {
          supplierId: suppliers.of(event.supplier),
          locationId: locations.of(event.location),
          placedAt: at,
          promisedOn: event.promisedOn,
          notes: null,
          lines: event.lines.map(({ line, packs, priceMinorUnits }) => ({
            lineId: lines.of(line),
            packs,
            priceMinorUnits,
          })),
        });
        orders.set(event.order, order.id);
        return;
      }
      case "receipt": {
        const received = event.lines.map(({ line, packs }) => ({
          lineId: lines.of(line),
          pieces: packs * packSizes.get(line)!,
        }));
        const { order } = await receiveOrder(work, orders.of(event.order), { at, lines: received });
        if (event.closes && order.open) await changeOrder(work, order.id, { closed: true });
        return;
      }
    }
  };
}
