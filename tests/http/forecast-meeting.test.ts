import { afterAll, beforeAll, describe, expect, it } from "vitest";
import { startGarage } from "../support/garage.ts";
import { startTestService, type TestService } from "../support/service.ts";

describe("GET /v1/pieces/{id}/forecast with a meetingId", () => {
  let service: TestService;
  let garage: Awaited<ReturnType<typeof startGarage>>;
  let ids: { fitted: string; spare: string; past: string; rounds: string[] };
  beforeAll(async () => {
    service = await startTestService("2026-12-01T09:00:00.000Z");
    garage = await startGarage(service);
    const { must } = service.owner;
    const { driver, line, car } = garage;
    const piece = async (mark: string) =>
      (await must("POST", "/v1/pieces", { driverId: driver.id, lineId: line.id, mark, priorUsage: 500 })).id;
    const [fitted, spare] = [await piece("spur 1"), await piece("spur 2")];
    const at = "2026-11-01T08:00:00Z";
    await must("POST", `/v1/cars/${car.id}/fittings`, { position: "spur", at, piece: { pieceId: fitted } });
    const meeting = async (name: string, startsOn: string) =>
      (
        await must("POST", "/v1/meetings", {
          ...{ name, startsOn, surface: "asphalt", plannedRuns: 5, minutesPerRun: 6 },
        })
      ).id;
    const past = await meeting("Round 0", "2026-11-15");
    const rounds = [];
    for (const [i, day] of ["2026-12-06", "2026-12-20", "2027-01-10"].entries())
      rounds.push(await meeting(`Round ${i + 1}`, day));
    ids = { fitted, spare, past, rounds };
  });
  afterAll(async () => {
    expect(service.faults).toEqual([]);
    await service.close();
  });
  const ask = (id: string, query = "") => service.owner.must("GET", `/v1/pieces/${id}/forecast${query}`);

  it("gives the chance of lasting from now through that meeting, those before it counted; for the next one it is that of the next one", async () => {
    const plain = await ask(ids.fitted);
    expect(plain.throughMeeting).toBeNull();
    const [first, second, third] = await Promise.all(
      ids.rounds.map(async (id) => (await ask(ids.fitted, `?meetingId=${id}`)).throughMeeting),
    );
    const { sentence, meetingsBefore, ...next } = first;
    expect([next, meetingsBefore]).toEqual([plain.nextMeeting, 0]);
    expect(sentence).toMatch(/^It lasts through Round 1 on 2026-12-06 with a chance of \d+ %: 5 runs\.$/);
    expect(second).toMatchObject({ meetingsBefore: 1, runs: 10, usage: 60 });
    expect(third).toMatchObject({ name: "Round 3", meetingsBefore: 2, runs: 15, usage: 90 });
    expect(third.sentence).toMatch(/: 15 runs, those of the 2 meetings before it included\.$/);
    expect(third.lasts).toBeLessThan(second.lasts);
    expect(second.lasts).toBeLessThan(first.lasts);
    expect(third.lasts).toBeCloseTo((1 - third.wearsOut) * (1 - third.breaks), 12);
  });

  it("agrees with the pit list of that meeting, where the car is worn the same", async () => {
    const [, , last] = ids.rounds;
    const { throughMeeting } = await ask(ids.fitted, `?meetingId=${last}`);
    const { change } = await service.owner.must(
      "GET",
      `/v1/cars/${garage.car.id}/pit-list?meetingId=${last}`,
    );
    expect(change).toMatchObject([{ wearsOut: throughMeeting.wearsOut, lasts: throughMeeting.lasts }]);
  });

  it("leaves out a meeting between that the car does not attend, and counts its planned runs where they are stated", async () => {
    const { must } = service.owner;
    const [first, second, third] = ids.rounds;
    const entry = (meetingId: string | undefined, body: object) =>
      must("PUT", `/v1/meetings/${meetingId}/entries/${garage.car.id}`, body);
    await entry(second, { attends: false });
    await entry(first, { attends: true, plannedRuns: 2 });
    const { throughMeeting } = await ask(ids.fitted, `?meetingId=${third}`);
    expect(throughMeeting).toMatchObject({ meetingsBefore: 1, runs: 7 });
    const refused = await service.owner.get(`/v1/pieces/${ids.fitted}/forecast?meetingId=${second}`);
    expect([refused.status, refused.body.errors[0].pointer]).toEqual([409, "#/meetingId"]);
    expect(refused.body.detail).toContain(
      '"First car" has nothing ahead to drive; enter the car there first',
    );
  });

  it("of a spare asks which car is meant, and follows the calendar of that one", async () => {
    const [first] = ids.rounds;
    const path = `/v1/pieces/${ids.spare}/forecast?meetingId=${first}`;
    const refused = await service.owner.get(path);
    expect([refused.status, refused.body.errors[0].pointer]).toEqual([409, "#/carId"]);
    const { throughMeeting } = (await service.owner.get(`${path}&carId=${garage.car.id}`)).body;
    expect(throughMeeting).toMatchObject({ name: "Round 1", runs: 2 });
  });

  it("refuses a meeting that is not there with 404, and one that is over with its day", async () => {
    const unknown = await service.owner.get(`/v1/pieces/${ids.fitted}/forecast?meetingId=none`);
    expect([unknown.status, unknown.body.errors[0].pointer]).toEqual([404, "#/meetingId"]);
    const over = await service.owner.get(`/v1/pieces/${ids.fitted}/forecast?meetingId=${ids.past}`);
    expect([over.status, over.body.type]).toEqual([409, "/problems/nothing_to_forecast"]);
    expect(over.body.detail).toBe("The meeting was on 2026-11-15 (Round 0); name one that is ahead");
  });
});
