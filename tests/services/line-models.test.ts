import { afterEach, beforeEach, describe, expect, it } from "vitest";
import { buildApp } from "../../src/app.ts";
import { LineModels } from "../../src/services/line-models.ts";
import { fitHere, type FitTask, type RunFit } from "../../src/services/run-fit.ts";
import { startGarage } from "../support/garage.ts";
import { startTestService, type TestService } from "../support/service.ts";

let service: TestService;
let garage: Awaited<ReturnType<typeof startGarage>>;
beforeEach(async () => {
  service = await startTestService();
  garage = await startGarage(service);
});
afterEach(() => service.close());

/** The same club answered by fits that run as told. */
async function answeringWith(runFit: RunFit, patienceMs: number) {
  const faults: Error[] = [];
  const models = new LineModels({ runFit, patienceMs, onFault: (error) => faults.push(error) });
  const app = buildApp({ db: service.db, clock: () => new Date(service.clock.now), models });
  const key = await service.keyFor("owner");
  const wear = async () => {
    const answer = await app.request(`/v1/lines/${garage.line.id}/wear`, {
      headers: { authorization: `Bearer ${key}` },
    });
    return { status: answer.status, body: (await answer.json()) as any };
  };
  return { wear, faults, models };
}

const patient = 30_000;

let marks = 0;
/** A new spur that was read once, after some use elsewhere. */
async function seenPiece(value: number) {
  marks += 1;
  const piece = await service.owner.must("POST", "/v1/pieces", {
    driverId: garage.driver.id,
    lineId: garage.line.id,
    mark: `S${marks}`,
    asNew: 15.485,
    priorUsage: 300,
  });
  await service.owner.must("POST", `/v1/pieces/${piece.id}/inspections`, {
    at: "2026-11-30T09:00:00Z",
    readings: [{ value, unit: "mm" }],
  });
  return piece.id as string;
}

describe("LineModels", () => {
  it("fits on the calling thread if not told otherwise, and hands over the pieces and the last fit where told", async () => {
    const tasks: FitTask[] = [];
    const { wear } = await answeringWith((task) => {
      tasks.push(task);
      return fitHere(task);
    }, patient);
    await seenPiece(15.45);
    const there = await wear();
    const here = await service.owner.get(`/v1/lines/${garage.line.id}/wear`);
    expect(there.body).toEqual(here.body);
    await seenPiece(15.44);
    expect((await wear()).body.restsOn.pieces).toBe(2);
    expect(tasks.map(({ pieces, start }) => [pieces.length, start === undefined])).toEqual([
      [1, true],
      [2, false],
    ]);
  });

  it("fits a line once, however many ask for it at once", async () => {
    let fits = 0;
    const { wear } = await answeringWith((task) => {
      fits += 1;
      return fitHere(task);
    }, patient);
    await seenPiece(15.45);
    const answers = await Promise.all([wear(), wear(), wear()]);
    expect(answers.map(({ status }) => status)).toEqual([200, 200, 200]);
    expect(fits).toBe(1);
  });

  it("answers from the last fit, and says so, when a refit fails or takes long; and from the new one once it is there", async () => {
    let way: RunFit = fitHere;
    const { wear, faults, models } = await answeringWith((task) => way(task), 20);
    await seenPiece(15.45);
    expect((await wear()).body.restsOn).toMatchObject({ pieces: 1, current: true });
    await seenPiece(15.44);
    way = () => Promise.reject(new Error("thread died"));
    expect((await wear()).body.restsOn).toMatchObject({ pieces: 1, current: false });
    await expect.poll(() => faults.map(({ message }) => message)).toEqual(["thread died"]);

    let begun = () => {};
    let finish = () => {};
    const hasBegun = new Promise<void>((resolve) => (begun = resolve));
    const mayFinish = new Promise<void>((resolve) => (finish = resolve));
    way = async (task) => {
      begun();
      await mayFinish;
      return fitHere(task);
    };
    expect((await wear()).body.restsOn).toMatchObject({ pieces: 1, current: false });
    await hasBegun;
    finish();
    await models.settled();
    expect((await wear()).body.restsOn).toMatchObject({ pieces: 2, current: true });
  });

  it("updates the last fit after one reading more of many, asking for no new one, even of a line that takes long to fit", async () => {
    let fits = 0;
    const { wear } = await answeringWith(async (task) => {
      fits += 1;
      return { ...(await fitHere(task)), ms: 1e6 };
    }, 20);
    const ids: string[] = [];
    for (const value of [15.45, 15.44, 15.455, 15.448, 15.452, 15.446]) ids.push(await seenPiece(value));
    expect((await wear()).body.restsOn).toMatchObject({ pieces: 6, readings: 6, current: true });
    expect(fits).toBe(1);
    await service.owner.must("POST", `/v1/pieces/${ids[0]}/inspections`, {
      at: "2026-11-30T09:30:00Z",
      readings: [{ value: 15.449, unit: "mm" }],
    });
    expect((await wear()).body.restsOn).toMatchObject({ pieces: 6, readings: 7, current: true });
    expect(fits).toBe(1);
  });

  it("takes up a saved fit of this form, and fits anew where it was saved in another", async () => {
    let fits = 0;
    const slowly: RunFit = async (task) => {
      fits += 1;
      return { ...(await fitHere(task)), ms: 1e6 };
    };
    const first = await answeringWith(slowly, patient);
    await seenPiece(15.45);
    const { body } = await first.wear();
    await first.models.settled();
    expect((await (await answeringWith(slowly, patient)).wear()).body).toEqual(body);
    expect(fits).toBe(1);
    const { fit } = await service.db.selectFrom("lineModels").select("fit").executeTakeFirstOrThrow();
    const { wear } = JSON.parse(fit);
    const older = JSON.stringify({ ...JSON.parse(fit), wear: { ...wear, version: wear.version - 1 } });
    await service.db.updateTable("lineModels").set({ fit: older }).execute();
    expect((await (await answeringWith(slowly, patient)).wear()).body).toEqual(body);
    expect(fits).toBe(2);
  });

  it("fails the answer alone when the first fit of a line fails, and fits again when asked again", async () => {
    let way: RunFit = () => Promise.reject(new Error("thread died"));
    const { wear } = await answeringWith((task) => way(task), patient);
    expect((await wear()).status).toBe(500);
    way = fitHere;
    expect((await wear()).status).toBe(200);
  });
});
