import { mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import path from "node:path";
import { pathToFileURL } from "node:url";
import { afterAll, afterEach, describe, expect, it } from "vitest";
import { type FitPool, startFitPool } from "../../src/fit-pool.ts";
import { fitHere, type FitTask } from "../../src/services/run-fit.ts";

const task: FitTask = {
  pieces: [0.9, 1.1].map((rate, i) => ({
    id: `p${i}`,
    limit: 1,
    observations: [10, 20, 30].map((usage) => ({ usage, wear: (rate * usage) / 60, sd: 0.02 })),
  })),
  limit: 1,
  prior: {
    life: { p10: 40, p90: 90 },
    pieceSpread: 0.3,
    runSpread: 0.35,
    usagePerRun: 5.5,
    startSd: 0.02,
    readingSd: 0.02,
  },
  start: undefined,
};

const folder = mkdtempSync(path.join(tmpdir(), "fit-pool-"));
/** A thread that does what a file says, instead of fitting. */
function threadThat(name: string, code: string): URL {
  const file = path.join(folder, `${name}.mjs`);
  writeFileSync(file, `import { parentPort } from "node:worker_threads";\n${code}`);
  return pathToFileURL(file);
}
afterAll(() => rmSync(folder, { recursive: true }));

const pools: FitPool[] = [];
const started = (pool: FitPool): FitPool => {
  pools.push(pool);
  return pool;
};
afterEach(async () => {
  await Promise.all(pools.splice(0).map((pool) => pool.close()));
});

describe("startFitPool", () => {
  it("fits on another thread exactly as on this one, and leaves this one free meanwhile", async () => {
    const pool = started(startFitPool({ threads: 1 }));
    let turns = 0;
    const turning = setInterval(() => (turns += 1), 1);
    const { wear } = await pool.run(task);
    clearInterval(turning);
    expect(wear).toEqual((await fitHere(task)).wear);
    expect(turns).toBeGreaterThan(0);
  });

  it("rejects a fit that cannot be made with the error of that fit, and goes on with the next", async () => {
    const pool = started(startFitPool({ threads: 1 }));
    const [bad, good] = await Promise.allSettled([pool.run({ ...task, limit: -1 }), pool.run(task)]);
    expect(bad).toMatchObject({
      status: "rejected",
      reason: { name: "RangeError", message: expect.stringContaining("requires") },
    });
    expect(good.status).toBe("fulfilled");
  });

  it("rejects only the fit whose thread died, and starts another thread for the next", async () => {
    const worker = threadThat(
      "dies",
      `parentPort.on("message", (task) => {
        if (task.limit === 13) process.exit(7);
        if (task.limit === 14) setImmediate(() => { throw new Error("burst"); });
        else parentPort.postMessage({ wear: JSON.stringify(task.limit), ms: 0 });
      });`,
    );
    const pool = started(startFitPool({ threads: 1, worker }));
    const ends = await Promise.allSettled([1, 13, 2, 14, 3].map((limit) => pool.run({ ...task, limit })));
    expect(ends.map((end) => (end.status === "fulfilled" ? end.value.wear : end.reason.message))).toEqual([
      1,
      "The thread that fitted this line ended with code 7",
      2,
      "burst",
      3,
    ]);
  });

  it("rejects a fit of which something came back that cannot be read, and goes on with the next", async () => {
    const worker = threadThat(
      "stammers",
      `parentPort.on("message", (task) => {
        parentPort.postMessage({ wear: task.limit === 13 ? "{" : JSON.stringify(task.limit), ms: 0 });
      });`,
    );
    const pool = started(startFitPool({ threads: 1, worker }));
    const ends = await Promise.allSettled([13, 2].map((limit) => pool.run({ ...task, limit })));
    expect(ends).toMatchObject([
      { status: "rejected", reason: { name: "SyntaxError" } },
      { status: "fulfilled", value: { wear: 2 } },
    ]);
  });

  it("ends a thread that hangs, and rejects its fit", async () => {
    const worker = threadThat(
      "hangs",
      `parentPort.on("message", (task) => {
        while (task.limit === 13);
        parentPort.postMessage({ wear: JSON.stringify(task.limit), ms: 0 });
      });`,
    );
    const pool = started(startFitPool({ threads: 1, worker, mostMs: 300 }));
    const ends = await Promise.allSettled([13, 2].map((limit) => pool.run({ ...task, limit })));
    expect(ends).toMatchObject([
      { status: "rejected", reason: { message: "A fit took longer than 300 ms" } },
      { status: "fulfilled", value: { wear: 2 } },
    ]);
  });

  it("rejects what waits, what runs and what comes later once it is closed", async () => {
    const worker = threadThat("sleeps", `parentPort.on("message", () => {});`);
    const pool = startFitPool({ threads: 1, worker });
    const ends = Promise.allSettled([pool.run(task), pool.run(task)]);
    await pool.close();
    expect((await ends).map((end) => end.status)).toEqual(["rejected", "rejected"]);
    await expect(pool.run(task)).rejects.toThrow("The service is stopping");
  });

  it("requires at least one thread", () => {
    expect(() => startFitPool({ threads: 0 })).toThrow(RangeError);
  });
});
