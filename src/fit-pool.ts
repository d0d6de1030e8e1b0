import { availableParallelism } from "node:os";
import { Worker } from "node:worker_threads";
import type { FitDone, FitTask, RunFit } from "./services/run-fit.ts";
import type { WearLineFit } from "./stats/index.ts";

/**
 * A few threads that fit lines, so that the thread that answers requests never stands still for a fit. A thread is
 * started when there is work for it, and again after it has died; what kills it is the error of that fit alone.
 */
export interface FitPool {
  run: RunFit;
  /** takes no more fits, rejects those that wait or run, and resolves when no thread is left */
  close: () => Promise<void>;
}

interface Job {
  task: FitTask;
  resolve: (done: FitDone) => void;
  reject: (error: Error) => void;
}

export interface FitPoolOptions {
  /** the module that a thread runs; beside this one if not given */
  worker?: URL;
  /** how many threads there are at most, at least 1 */
  threads?: number;
  /** a fit that takes longer has its thread ended, milliseconds */
  mostMs?: number;
}

const fromSource = import.meta.url.endsWith(".ts");
const besideThis = new URL(fromSource ? "./fit-worker.ts" : "./fit-worker.js", import.meta.url);
/** One core is left to the thread that answers; more than a few threads would only queue for the database. */
const usualThreads = Math.min(4, Math.max(1, availableParallelism() - 1));
/** The largest line fits in a few seconds; what takes minutes hangs. */
const usualMostMs = 120_000;

/**
 * From source (`npm run dev`, tests) a thread has to be given the loader of TypeScript by itself: measured on Node 20,
 * `--import tsx` among the arguments of a thread does not reach it.
 */
const loading = (module: URL) =>
  `require("node:module").register("tsx/esm", ${JSON.stringify(import.meta.url)}, { data: {} }); import(${JSON.stringify(module.href)});`;
const threadFor = (module: URL) =>
  module.pathname.endsWith(".ts") ? new Worker(loading(module), { eval: true }) : new Worker(module);

class FitThread {
  readonly #worker: Worker;
  readonly #mostMs: number;
  #job: Job | null = null;
  #timer: NodeJS.Timeout | undefined;

  constructor(
    module: URL,
    mostMs: number,
    onIdle: (thread: FitThread) => void,
    onGone: (t: FitThread) => void,
  ) {
    this.#mostMs = mostMs;
    this.#worker = threadFor(module);
    // An idle thread does not keep the process alive; one at work does.
    this.#worker.unref();
    this.#worker.on("message", (answer: { wear: string; ms: number } | { error: unknown }) => {
      const job = this.#finish();
      try {
        if ("error" in answer) throw answer.error;
        job?.resolve({ wear: JSON.parse(answer.wear) as WearLineFit, ms: answer.ms });
      } catch (error) {
        job?.reject(error instanceof Error ? error : new Error(String(error)));
      }
      onIdle(this);
    });
    this.#worker.on("error", (error) => this.#finish()?.reject(error));
    this.#worker.on("exit", (code) => {
      this.#finish()?.reject(new Error(`The thread that fitted this line ended with code ${code}`));
      onGone(this);
    });
  }

  begin(job: Job): void {
    this.#job = job;
    this.#worker.ref();
    this.#timer = setTimeout(() => {
      this.#finish()?.reject(new Error(`A fit took longer than ${this.#mostMs} ms`));
      void this.#worker.terminate();
    }, this.#mostMs);
    this.#worker.postMessage(job.task);
  }

  #finish(): Job | null {
    const job = this.#job;
    this.#job = null;
    clearTimeout(this.#timer);
    this.#worker.unref();
    return job;
  }

  async end(): Promise<void> {
    this.#finish()?.reject(new Error("The service is stopping; the fit was not finished"));
    await this.#worker.terminate();
  }
}

/**
 * Starts a pool of threads for fits.
 *
 * @throws {RangeError} if fewer than one thread is asked for
 */
export function startFitPool({
  worker = besideThis,
  threads = usualThreads,
  mostMs = usualMostMs,
}: FitPoolOptions = {}): FitPool {
  if (!(Number.isInteger(threads) && threads >= 1))
    throw new RangeError(`startFitPool requires at least one thread, got ${threads}`);
  const waiting: Job[] = [];
  const idle: FitThread[] = [];
  const all = new Set<FitThread>();
  let closed = false;

  const next = (): void => {
    while (waiting.length > 0) {
      const thread = idle.pop() ?? (all.size < threads ? start() : undefined);
      if (thread === undefined) return;
      thread.begin(waiting.shift()!);
    }
  };
  const start = (): FitThread => {
    const thread = new FitThread(
      worker,
      mostMs,
      (one) => {
        idle.push(one);
        next();
      },
      (one) => {
        all.delete(one);
        if (idle.includes(one)) idle.splice(idle.indexOf(one), 1);
        next();
      },
    );
    all.add(thread);
    return thread;
  };
  const refusal = () => new Error("The service is stopping; no more lines are fitted");
  return {
    run: (task) =>
      new Promise((resolve, reject) => {
        if (closed) return reject(refusal());
        waiting.push({ task, resolve, reject });
        next();
      }),
    close: async () => {
      closed = true;
      for (const job of waiting.splice(0)) job.reject(refusal());
      await Promise.all([...all].map((thread) => thread.end()));
    },
  };
}
