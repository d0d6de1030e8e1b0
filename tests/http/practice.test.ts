import { afterAll, beforeAll, describe, expect, it } from "vitest";
import { packKind, spurKind } from "../support/garage.ts";
import { startTestService, type TestService } from "../support/service.ts";

/** A car with a tied pair of tyres: the set that races, a part-worn one that is loose, and a calendar with practice. */
let service: TestService;
let kindId: string;
let lineId: string;
let car: { id: string; driverId: string };
const old: string[] = [];
const racing: string[] = [];
const meetings: { id: string }[] = [];

beforeAll(async () => {
  service = await startTestService("2026-12-01T09:00:00.000Z");
  const { must } = service.owner;
  const kind = await must("POST", "/v1/kinds", {
    ...{ ...spurKind, code: "T-TYRE", name: "Tyre of the tests", changeRule: "pair", changedTogether: 2 },
    limits: { basis: "loss", race: 0.05, club: 0.1, practice: 0.14, stop: 0.15 },
    usualLife: { p10: 120, p90: 190 },
  });
  kindId = kind.id;
  const line = await must("POST", "/v1/lines", {
    ...{ sku: "T-TY-1", name: "Tyre", kindId: kind.id, priceMinorUnits: 900 },
  });
  lineId = line.id;
  const driver = await must("POST", "/v1/drivers", { name: "Ada" });
  car = await must("POST", "/v1/cars", {
    ...{ driverId: driver.id, name: "Ada's car" },
    positions: ["left", "right"].map((name) => ({ name, kindId: kind.id, changedWith: "rear" })),
  });
  const putOn = async (position: string, set: string, at: string) => {
    const piece = await must("POST", "/v1/pieces", {
      driverId: car.driverId,
      lineId,
      mark: `${set} ${position}`,
    });
    await must("POST", `/v1/cars/${car.id}/fittings`, { position, at, piece: { pieceId: piece.id } });
    return piece.id as string;
  };
  for (const position of ["left", "right"]) old.push(await putOn(position, "old", "2026-09-01T08:00:00Z"));
  for (let run = 0; run < 24; run++)
    await must("POST", "/v1/runs", {
      ...{
        carId: car.id,
        at: `2026-09-05T${String(8 + (run % 12)).padStart(2, "0")}:${run < 12 ? "00" : "30"}:00Z`,
      },
      ...{ minutes: 5.5, surface: "asphalt" },
    });
  for (const id of old) await must("POST", `/v1/pieces/${id}/removal`, { at: "2026-10-01T08:00:00Z" });
  for (const position of ["left", "right"]) racing.push(await putOn(position, "new", "2026-10-01T09:00:00Z"));
  for (let month = 1; month <= 10; month++)
    meetings.push(
      await must("POST", "/v1/meetings", {
        ...{ name: `Round ${month}`, startsOn: `2027-${String(month).padStart(2, "0")}-10` },
        ...{ surface: "asphalt", plannedRuns: 6, minutesPerRun: 5.5 },
      }),
    );
});
afterAll(async () => {
  expect(service.faults).toEqual([]);
  await service.close();
});

const entry = async () => {
  const list = await service.owner.must("GET", "/v1/restock-list?through=2027-10-31");
  const all = [...list.suppliers.flatMap((one: any) => one.lines), ...list.enough];
  return all.find((one: any) => one.sku === "T-TY-1");
};
const keep = (id: string, keptFor: string | null) =>
  service.owner.must("PATCH", `/v1/pieces/${id}`, { keptFor });
const practiceRuns = async (runs: number | null) => {
  for (const meeting of meetings) {
    await service.owner.must("PATCH", `/v1/meetings/${meeting.id}`, { practiceRuns: runs });
  }
};

describe("a set kept for practice", () => {
  it("is kept whole: the other piece of the pair goes with the one that was named, and the feed tells both", async () => {
    await keep(old[0]!, "practice");
    const other = await service.owner.must("GET", `/v1/pieces/${old[1]}`);
    expect(other.keptFor).toBe("practice");
    expect((await service.owner.must("GET", `/v1/pieces/${racing[0]}`)).keptFor).toBeNull();
    const { items } = await service.owner.must("GET", "/v1/changes?types=piece.changed");
    expect(items.map((one: any) => [one.subject.id, one.data.changed])).toEqual([
      [old[0], ["keptFor"]],
      [old[1], ["keptFor"]],
    ]);
    await keep(old[1]!, null);
    expect((await service.owner.must("GET", `/v1/pieces/${old[0]}`)).keptFor).toBeNull();
  });

  it("lowers the need of its line where the meetings have practice, and says until when", async () => {
    const before = await entry();
    expect(before.practice).toBeNull();
    await keep(old[0]!, "practice");
    const usual = await entry();
    expect(usual.need.expected).toBeLessThan(before.need.expected);
    expect(usual.practice).toMatchObject({ sets: 1, pieces: 2 });
    expect(usual.spares).toBe(0);
    await practiceRuns(3);
    const half = await entry();
    expect(half.need.expected).toBeLessThan(usual.need.expected);
    // About 132 of the 150 minutes that half of the pairs race are behind it, and 40 % more come for practice.
    expect(half.practice.until).toMatch(/^2027-0[3-8]-10$/);
    expect(half.sentence).toMatch(/Practice on the older pair until about \w+ 2027: what races wears/);
    const page = await service.owner.get("/v1/restock-list.html?through=2027-10-31");
    expect(page.body).toContain(`${half.name}: practice on the older pair until about`);
    await practiceRuns(0);
    const none = await entry();
    expect(none.need.expected).toBeCloseTo(before.need.expected, 9);
  });

  it("moves the day on which what races is finished, on its forecast, the bench sheet and the pit list", async () => {
    await practiceRuns(3);
    const dayOf = async (id: string) =>
      (await service.owner.must("GET", `/v1/pieces/${id}/forecast`)).remaining.date;
    const lastsOf = async () => {
      const sheet = await service.owner.must("GET", `/v1/cars/${car.id}/bench-sheet`);
      return sheet.entries.map((one: any) => one.lasts);
    };
    const kept = await service.owner.must("GET", `/v1/pieces/${racing[0]}/forecast`);
    expect(kept.practice.sentence).toMatch(
      /^Practice on the older pair until about \w+ 2027: this one wears/,
    );
    expect(kept.nextMeeting.runs).toBe(3);
    const lasts = await lastsOf();
    const itself = await service.owner.must("GET", `/v1/pieces/${old[0]}/forecast`);
    expect(itself.practice).toMatchObject({ until: kept.practice.until, sets: 1 });
    expect(itself.practice.sentence).toMatch(
      /^Kept for practice: it takes the practice runs of its place until about/,
    );
    const pit = await service.owner.must("GET", `/v1/cars/${car.id}/pit-list`);
    const carried = pit.carry.find((one: any) => one.sku === "T-TY-1");
    expect(carried?.practice.sets ?? 1).toBe(1);
    await keep(old[0]!, null);
    expect((await dayOf(racing[0]!)).median < kept.remaining.date.median).toBe(true);
    expect((await lastsOf())[0]).toBeLessThanOrEqual(lasts[0]);
    await keep(old[0]!, "practice");
  });

  it("of one piece only, or one that was never fitted, takes no runs", async () => {
    const before = await entry();
    await service.owner.must("PUT", `/v1/pieces/${old[1]}/retirement`, {
      ...{ at: "2026-11-30T08:00:00Z", retiredFor: "lost" },
    });
    expect((await entry()).practice).toBeNull();
    expect((await entry()).need.expected).toBeGreaterThan(before.need.expected);
    await service.owner.must("DELETE", `/v1/pieces/${old[1]}/retirement`);
    expect((await entry()).practice.sets).toBe(1);
  });

  it("is written and read by the export and the import of pieces", async () => {
    const { body } = await service.owner.get("/v1/exports/pieces?format=csv");
    const rows = String(body).trim().split(/\r?\n/);
    const at = rows[0]!.split(",").indexOf("keptFor");
    expect(rows.slice(1).map((row) => row.split(",")[at])).toEqual(["practice", "practice", "", ""]);
  });
});

describe("packs kept for practice", () => {
  it("leave more of the races to the others, and take the practice runs themselves", async () => {
    const { must } = service.owner;
    const kind = await must("POST", "/v1/kinds", {
      ...packKind,
      limits: { basis: "loss", race: 15, club: 20, practice: 30, stop: 30 },
    });
    const line = await must("POST", "/v1/lines", {
      ...{ sku: "T-LP-9", name: "Pack", kindId: kind.id, priceMinorUnits: 8000 },
    });
    const packs = [];
    for (const mark of ["A", "B"])
      packs.push(
        await must("POST", "/v1/pieces", {
          ...{ driverId: car.driverId, lineId: line.id, mark, priorUsage: mark === "A" ? 80 : 0 },
        }),
      );
    const found = async () => {
      const list = await must("GET", "/v1/restock-list?through=2027-10-31");
      return [...list.suppliers.flatMap((one: any) => one.lines), ...list.enough].find(
        (one: any) => one.sku === "T-LP-9",
      );
    };
    expect((await found()).inUse).toBe(2);
    await must("PATCH", `/v1/pieces/${packs[0].id}`, { keptFor: "practice" });
    const kept = await found();
    expect([kept.inUse, kept.practice.sets]).toEqual([1, 1]);
    expect(kept.sentence).toContain("ractice on the older pack");
  });
});

describe("practice runs and limits that cannot be", () => {
  it("are refused with what to change", async () => {
    const { owner } = service;
    const given = { name: "Round", startsOn: "2027-11-10", surface: "asphalt", plannedRuns: 6 };
    const many = await owner.post("/v1/meetings", { ...given, practiceRuns: 7 });
    expect([many.status, many.body.errors[0].pointer]).toEqual([422, "#/practiceRuns"]);
    const fewer = await owner.patch(`/v1/meetings/${meetings[0]!.id}`, { plannedRuns: 2 });
    expect(fewer.status).toBe(422);
    for (const practice of [0.09, 0.2]) {
      const limits = { basis: "loss", race: 0.05, club: 0.1, practice, stop: 0.15 };
      const { status } = await owner.patch(`/v1/kinds/${kindId}`, { limits });
      expect(status).toBe(422);
    }
    const word = await owner.patch(`/v1/pieces/${old[0]}`, { keptFor: "spares" });
    expect(word.status).toBe(422);
  });
});
