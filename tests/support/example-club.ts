import { copyFileSync } from "node:fs";
import { createServer } from "node:http";
import type { AddressInfo } from "node:net";
import { buildApp } from "../../src/app.ts";
import { exampleIds as ids } from "../../src/http/example-ids.ts";
import { foundClub, issueKey } from "../../src/services/keep-club.ts";
import { openDatabase } from "../../src/storage/database.ts";
import { packKind, spurKind } from "./garage.ts";

/** When the examples are sent: the first evening of December, by the club's clock. */
export const exampleNow = "2026-12-01T09:00:00.000Z";

/** Ids that repeat from one making to the next; the next ones can be set, so that examples may name them. */
export function repeatingIds(sort: string) {
  let made = 0;
  const wanted: string[] = [];
  return {
    next: (...names: (keyof typeof ids)[]) => wanted.push(...names.map((name) => ids[name])),
    newId: () => wanted.shift() ?? `01930000-0000-7000-${sort}-${String(++made).padStart(12, "0")}`,
  };
}

export async function openExampleClub(file: string) {
  const db = await openDatabase(`file:${file}`);
  const { newId } = repeatingIds("9000");
  const app = buildApp({
    db,
    clock: () => new Date(exampleNow),
    newId,
    newToken: () => "cal_shown-once",
    pulls: { allowPrivate: true },
  });
  return { db, app };
}

/** What rests on three drivers who share their need: alone, the one driver of the club would have all of it withheld. */
const ofThreeDrivers = /^(shelfPlan|shelfOutlook|orderProposals|dyingStock)/;

async function shareAmongThree(app: ReturnType<typeof buildApp>, key: string): Promise<void> {
  const headers = { authorization: `Bearer ${key}`, "content-type": "application/json" };
  const send = async (method: string, path: string, body: object) => {
    const response = await app.request(path, { method, headers, body: JSON.stringify(body) });
    if (response.status >= 300) throw new Error(`${path}: ${response.status} ${await response.text()}`);
    return (await response.json()) as { id: string };
  };
  const found = await app.request("/v1/lines?sku=QB-TY-101", { headers });
  const tyre = ((await found.json()) as { items: { id: string; kindId: string }[] }).items[0]!;
  const drivers: string[] = [ids.driverId];
  for (const name of ["Owen Prask", "Lise Orrowby"]) {
    const driverId = (await send("POST", "/v1/drivers", { name })).id;
    drivers.push(driverId);
    const car = await send("POST", "/v1/cars", {
      ...{ driverId, name: "Thornbill", carModelId: ids.carModelId },
      positions: [
        { name: "spur", kindId: ids.kindId },
        { name: "front-left tyre", kindId: tyre.kindId },
      ],
    });
    const at = "2026-11-01T08:00:00.000Z";
    const puts = [
      { position: "spur", at, piece: { lineId: ids.lineId, mark: "spur 1", asNew: 15.48, from: "none" } },
      {
        position: "front-left tyre",
        at,
        piece: { lineId: tyre.id, mark: "1-FL", asNew: 63.5, from: "none" },
      },
    ];
    for (const put of puts) await send("POST", `/v1/cars/${car.id}/fittings`, put);
  }
  for (const id of drivers) await send("PATCH", `/v1/drivers/${id}`, { sharesDemand: true });
}

/** A server of the shop's own, with its list; its address is set in the copy of the club that the example is sent to. */
export async function prepareExample(
  operationId: string,
  app: ReturnType<typeof buildApp>,
  key: string,
): Promise<() => void> {
  if (ofThreeDrivers.test(operationId)) await shareAmongThree(app, key);
  if (operationId !== "pullStockList") return () => {};
  const server = createServer((_, answer) => {
    answer.setHeader("content-type", "text/csv; charset=utf-8");
    answer.end("sku,inventoryLevel,price\r\nGM-331,1,8.50\r\nQB-SP-487,6,9.00\r\n");
  });
  await new Promise<void>((resolve) => server.listen(0, "127.0.0.1", resolve));
  const { port } = server.address() as AddressInfo;
  await app.request(`/v1/shops/${ids.shopId}`, {
    method: "PATCH",
    headers: { authorization: `Bearer ${key}`, "content-type": "application/json" },
    body: JSON.stringify({ pullUrl: `http://127.0.0.1:${port}/stock.csv` }),
  });
  return () => server.close();
}

export const copyExampleClub = (from: string, to: string) => copyFileSync(from, to);

/**
 * Makes the club in which every id of the examples exists: a driver with a car, its spur, tyres and pack, a spare, a
 * meeting behind and two ahead, stock at home, an open order. Returns an owner's key.
 */
export async function makeExampleClub(file: string): Promise<string> {
  const db = await openDatabase(`file:${file}`);
  const { next, newId } = repeatingIds("8000");
  const founded = "2026-01-10T09:00:00.000Z";
  const club = { name: "Quillbrook Radio Car Club", currency: "AUD", timeZone: "Australia/Brisbane" };
  await foundClub(db, { ...club, id: newId(), at: founded, newId });
  const key = await issueKey(db, { name: "owner", role: "owner", driverId: null }, founded, newId);
  let now = founded;
  const app = buildApp({ db, clock: () => new Date(now), newId, newToken: () => ids.feedToken });
  const headers = { authorization: `Bearer ${key}`, "content-type": "application/json" };
  const post = async (path: string, body: object) => {
    const response = await app.request(path, { method: "POST", headers, body: JSON.stringify(body) });
    if (response.status >= 300) throw new Error(`${path}: ${response.status} ${await response.text()}`);
    return (await response.json()) as { id: string };
  };
  next("driverId");
  await post("/v1/drivers", { name: "Mara Tindle", notes: "careful, keeps notes" });
  next("kindId");
  await post("/v1/kinds", {
    ...spurKind,
    code: "SPR-EX",
    name: "Spur, acetal, 48 DP",
    source: "invented for the examples",
  });
  const tyreKind = {
    ...{
      ...spurKind,
      code: "TYR-EX",
      name: "Rubber touring tyre",
      benchStep: "tyres",
      breakagePerRun: 0.004,
    },
    ...{
      measure: {
        ...spurKind.measure,
        quantity: "outside diameter",
        asNew: 63.5,
        asNewSd: 0.15,
        miscountStep: null,
      },
    },
    ...{ limits: { basis: "size", race: 62.9, club: 61.9, stop: 61.4 }, usualLife: { p10: 145, p90: 200 } },
    ...{
      changeRule: "set",
      changedTogether: 4,
      check: "Diameter at the middle and both edges; glue and tears.",
    },
    cautions: ["Wear eye protection when gluing, and follow the glue maker's instructions."],
  };
  const tyres = await post("/v1/kinds", { ...tyreKind, source: "invented for the examples" });
  const packs = await post("/v1/kinds", {
    ...packKind,
    code: "LIP-EX",
    name: "LiPo pack",
    source: "invented for the examples",
  });
  next("supplierId");
  await post("/v1/suppliers", {
    name: "Harrowmead Trade",
    leadTimeDays: 6,
    leadTimeSdDays: 3,
    minimumOrderMinorUnits: 15000,
  });
  next("carModelId");
  await post("/v1/car-models", { name: "Thornbill", discipline: "touring", internalRatio: 2 });
  next("venueId");
  await post("/v1/venues", { name: "Ferris Lane", surface: "asphalt", direction: "clockwise" });
  const line = { supplierId: ids.supplierId, fits: [ids.carModelId] };
  next("lineId");
  await post("/v1/lines", {
    ...line,
    sku: "QB-SP-487",
    name: "Spur 87T 48 DP",
    kindId: ids.kindId,
    priceMinorUnits: 900,
  });
  const tyreLine = await post("/v1/lines", {
    ...{ ...line, sku: "QB-TY-101", name: "Control slick, set of four", kindId: tyres.id },
    ...{ priceMinorUnits: 5200, packSize: 4 },
  });
  const packLine = await post("/v1/lines", {
    ...line,
    sku: "QB-EL-801",
    name: "LiPo 2S 5000 mAh",
    kindId: packs.id,
    priceMinorUnits: 8500,
  });
  next("carId", "positionId");
  await post("/v1/cars", {
    ...{ driverId: ids.driverId, name: "Thornbill", carModelId: ids.carModelId, raceClass: "Touring club" },
    ...{ gearCase: "vented", spurTeeth: 87, pinionTeeth: 28, meshNote: "paper, motor slot 2" },
    positions: [
      // The one whose id is set has never held a piece.
      { name: "spare place", kindId: ids.kindId },
      { name: "spur", kindId: ids.kindId },
      { name: "second spur", kindId: ids.kindId },
      { name: "front-left tyre", kindId: tyres.id, changedWith: "tyres" },
      { name: "front-right tyre", kindId: tyres.id, changedWith: "tyres" },
    ],
  });
  const piece = { driverId: ids.driverId };
  next("pieceId");
  await post("/v1/pieces", { ...piece, lineId: ids.lineId, mark: "spur 1", asNew: 15.49 });
  next("sparePieceId");
  await post("/v1/pieces", { ...piece, lineId: ids.lineId, mark: "spur 2", asNew: 15.48 });
  next("retiredPieceId");
  await post("/v1/pieces", {
    ...piece,
    lineId: ids.lineId,
    mark: "spur 0",
    priorUsage: 400,
    priorUsageSd: 150,
  });
  next("tyreId");
  await post("/v1/pieces", { ...piece, lineId: tyreLine.id, mark: "2-FL", asNew: 63.4 });
  next("otherTyreId");
  await post("/v1/pieces", { ...piece, lineId: tyreLine.id, mark: "2-FR", asNew: 63.5 });
  next("packId");
  await post("/v1/pieces", { ...piece, lineId: packLine.id, mark: "pack 1", asNew: 101 });

  now = exampleNow;
  const fittedAt = "2026-02-07T08:00:00.000Z";
  const putOn = (position: string, pieceId: string) =>
    post(`/v1/cars/${ids.carId}/fittings`, { position, at: fittedAt, piece: { pieceId } });
  next("fittingId");
  await putOn("spur", ids.pieceId);
  await putOn("front-left tyre", ids.tyreId);
  await putOn("front-right tyre", ids.otherTyreId);
  const meeting = { venueId: ids.venueId, discipline: "touring", plannedRuns: 6, minutesPerRun: 5.5 };
  next("pastMeetingId");
  await post("/v1/meetings", { ...meeting, name: "Round 10", startsOn: "2026-11-29" });
  next("meetingId");
  await post("/v1/meetings", { ...meeting, name: "Round 1", startsOn: "2027-02-07" });
  for (const [i, startsOn] of [
    "2027-02-28",
    "2027-03-21",
    "2027-04-11",
    "2027-05-02",
    "2027-05-23",
  ].entries())
    await post("/v1/meetings", { ...meeting, name: `Round ${i + 2}`, startsOn });

  const days = ["2026-02-08", "2026-03-01", "2026-03-22", "2026-04-12", "2026-05-03"];
  for (const [d, day] of days.entries()) {
    for (let r = 0; r < 6; r++) {
      if (d === days.length - 1 && r === 5) next("runId");
      const at = `${day}T0${r}:10:00.000Z`;
      await post("/v1/runs", {
        carId: ids.carId,
        at,
        minutes: 5.5,
        surface: "asphalt",
        packId: ids.packId,
        knocks: r % 3 === 2 ? 1 : 0,
      });
    }
    const at = `${day}T09:00:00.000Z`;
    if (d === days.length - 1) next("inspectionId");
    await post(`/v1/pieces/${ids.pieceId}/inspections`, {
      at,
      readings: [{ value: 15.485 - 0.006 * (d + 1), unit: "mm" }],
    });
    await post(`/v1/pieces/${ids.tyreId}/inspections`, {
      at,
      readings: [{ value: 63.4 - 0.22 * (d + 1), unit: "mm" }],
    });
    await post(`/v1/pieces/${ids.packId}/inspections`, { at, grade: 1 });
  }
  await post(`/v1/pieces/${ids.retiredPieceId}/inspections`, {
    at: "2026-06-01T09:00:00.000Z",
    grade: 4,
    findings: ["tooth-chipped"],
  });
  await app.request(`/v1/pieces/${ids.retiredPieceId}/retirement`, {
    ...{ method: "PUT", headers },
    body: JSON.stringify({ at: "2026-06-01T10:00:00.000Z", retiredFor: "worn" }),
  });

  next("homeId");
  await post("/v1/locations", { name: "Home", sort: "home", driverId: ids.driverId });
  next("pitBoxId");
  await post("/v1/locations", { name: "Pit box", sort: "pit-box", driverId: ids.driverId });
  next("shelfId");
  await post("/v1/locations", { name: "Club counter", sort: "shelf" });
  const received = { reason: "received", lineId: ids.lineId, at: "2026-10-01T09:00:00.000Z" };
  next("movementId");
  await post("/v1/movements", { ...received, locationId: ids.homeId, pieces: 5 });
  await post("/v1/movements", { ...received, locationId: ids.pitBoxId, pieces: 3 });
  await post("/v1/movements", { ...received, locationId: ids.shelfId, pieces: 4 });
  next("orderId");
  await post("/v1/orders", {
    ...{
      supplierId: ids.supplierId,
      locationId: ids.homeId,
      placedAt: "2026-11-25T09:00:00.000Z",
      promisedOn: "2026-12-03",
    },
    lines: [{ lineId: ids.lineId, packs: 6 }],
  });
  next("shopId");
  await post("/v1/shops", {
    ...{ name: "Gantry Models", locationId: ids.shelfId, pullUrl: "https://shop.example/stock.csv" },
    ...{ pullEveryMinutes: 360, notes: "open on Saturdays" },
  });
  now = "2026-12-01T06:30:00.000Z";
  next("arrivalId");
  const list = await app.request(`/v1/shops/${ids.shopId}/stock-list?acceptPartly=true`, {
    ...{ method: "PUT", headers: { ...headers, "content-type": "text/csv" } },
    body:
      "sku,name,mpn,inventoryLevel,price,deliveryLeadTime\r\n" +
      "GM-101,Control slick touring set of 4,,3,52.00,\r\n" +
      "GM-331,Spur 87 tooth 48 pitch,,2,8.50,\r\n" +
      'QB-SP-487,"Spur gear 87T, 48 DP",SG-4887,4,9.00,3-7\r\n' +
      "GM-340,Pinion 28 tooth 48 pitch,,-1,4.50 AUD,\r\n",
  });
  if (list.status !== 200) throw new Error(`stock list: ${await list.text()}`);
  now = exampleNow;
  next("reservationId");
  await post("/v1/reservations", {
    ...{ shopId: ids.shopId, lineId: ids.lineId, driverId: ids.driverId, pieces: 2 },
    ...{ forDay: "2026-12-06", notes: "I pay at the counter" },
  });
  next("feedId");
  await post("/v1/calendar-feeds", { name: "Club racing" });
  await db.destroy();
  return key;
}
