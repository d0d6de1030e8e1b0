import { Session } from "node:inspector/promises";
import { v7 } from "uuid";
import { buildApp } from "../../src/app.ts";
import { startFitPool } from "../../src/fit-pool.ts";
import { foundClub, issueKey } from "../../src/services/keep-club.ts";
import { LineModels } from "../../src/services/line-models.ts";
import type { RunFit } from "../../src/services/run-fit.ts";
import { openDatabase } from "../../src/storage/database.ts";
import { bigClubNow, fillBigClub } from "./big-club.ts";
import { inTurn, seconds } from "./measure.ts";
import { sharesOf, type Shares } from "./stages.ts";

/** The measured half of the bench of the restock list: a club of its own in a process of its own. */
export interface RestockFigures {
  lines: number;
  fitted: number;
  runs: number;
  looks: number;
  pieces: number;
  coldSeconds: number;
  coldShares: Shares;
  /** the fits themselves, in their threads */
  fits: number;
  fitSeconds: number;
  warmSeconds: number;
  warmShares: Shares;
  /** nothing logged since the last answer */
  againSeconds: number;
  pitSeconds: { first: number; again: number };
  sheetSeconds: { first: number; again: number };
  /** resident set: before anything was asked, and the most there ever was, MiB */
  beforeMiB: number;
  peakMiB: number;
  answerBytes: number;
}

const through = "2027-07-31";
const warmRounds = 5;
const mib = (bytes: number) => bytes / 2 ** 20;

/** What the thread that answers does while something runs. */
async function profiled(act: () => Promise<unknown>): Promise<Shares> {
  const session = new Session();
  session.connect();
  await session.post("Profiler.enable");
  await session.post("Profiler.setSamplingInterval", { interval: 1000 });
  await session.post("Profiler.start");
  await act();
  const { profile } = await session.post("Profiler.stop");
  session.disconnect();
  return sharesOf(profile);
}

async function measure(folder: string, cars: number): Promise<RestockFigures> {
  const db = await openDatabase(`file:${folder}/restock-${cars}.db`);
  const newId = () => v7();
  const founded = { name: "Our club", currency: "AUD", timeZone: "UTC", at: bigClubNow, newId };
  const { id: clubId } = await foundClub(db, { id: newId(), ...founded });
  const key = await issueKey(db, { name: "bench", role: "owner", driverId: null }, bigClubNow, newId);
  const club = await fillBigClub(db, { clubId, cars, seed: 11 });
  const pool = startFitPool();
  let fits = 0;
  let fitSeconds = 0;
  const runFit: RunFit = async (task) => {
    const done = await pool.run(task);
    fits += 1;
    fitSeconds += done.ms / 1000;
    return done;
  };
  const models = new LineModels({ runFit });
  const app = buildApp({ db, models, clock: () => new Date(bigClubNow) });
  const headers = { authorization: `Bearer ${key}`, "content-type": "application/json" };
  const ask = async (where: string, body?: object) => {
    const sent = body === undefined ? {} : { method: "POST", body: JSON.stringify(body) };
    const answer = await app.request(where, { headers, ...sent });
    if (answer.status >= 300) throw new Error(`${where}: ${answer.status} ${await answer.text()}`);
    return answer.text();
  };
  const list = () => ask(`/v1/restock-list?through=${through}`);
  // The way an answer takes is trodden before anything is measured, and nothing is fitted by it.
  await ask("/v1/lines?limit=1");
  const beforeMiB = mib(process.memoryUsage().rss);
  let coldSeconds = 0;
  const coldShares = await profiled(async () => (coldSeconds = await seconds(list)));
  const coldFits = { fits, fitSeconds };
  let logged = 0;
  const logRun = () =>
    ask("/v1/runs", {
      ...{ carId: club.carIds[(7 * logged) % club.carIds.length], minutes: 5.5, surface: "asphalt" },
      at: new Date(Date.parse(bigClubNow) - 3_600_000 + 60_000 * logged++).toISOString(),
    });
  const warm: number[] = [];
  for (let round = 0; round < warmRounds; round++) {
    await logRun();
    warm.push(await seconds(list));
  }
  await logRun();
  const warmShares = await profiled(list);
  const [againSeconds] = (await inTurn(warmRounds, [list])) as [number];
  const carId = club.carIds[3]!;
  const twice = async (where: string) => ({
    first: await seconds(() => ask(where)),
    again: (await inTurn(warmRounds, [() => ask(where)]))[0]!,
  });
  const pitSeconds = await twice(`/v1/cars/${carId}/pit-list`);
  const sheetSeconds = await twice(`/v1/cars/${carId}/bench-sheet?minutes=30`);
  const answerBytes = (await list()).length;
  await pool.close();
  await models.settled();
  await db.destroy();
  return {
    ...{ lines: club.lines, fitted: club.fitted, pieces: club.counts["pieces"]! },
    ...{ runs: club.counts["runs"]!, looks: club.counts["inspections"]! },
    ...{ coldSeconds, coldShares, ...coldFits, warmShares, againSeconds, pitSeconds, sheetSeconds },
    warmSeconds: warm.sort((a, b) => a - b)[Math.floor(warmRounds / 2)]!,
    ...{ beforeMiB, peakMiB: process.resourceUsage().maxRSS / 1024, answerBytes },
  };
}

const [folder, cars] = process.argv.slice(2);
process.send!(await measure(folder!, Number(cars)));
process.disconnect();
