import { setTimeout as pause } from "node:timers/promises";
import { lookAtThresholds } from "./services/watch-thresholds.ts";
import type { Work } from "./services/work.ts";

/** Changes that come within this time of each other are looked at together. */
const gatherMs = 200;
/** After a look of some length, this many times as long is left to the requests. */
const restFactor = 4;
/** Wear goes on by the calendar too: everything is looked at anew after this time, and once soon after the start. */
const everythingMs = 6 * 3_600_000;
const afterStartMs = 20_000;

export interface WatchOptions {
  /** the work of the service itself for a club, on nobody's behalf */
  workFor: (clubId: string) => Work;
  onFault: (error: Error) => void;
  gatherMs?: number;
}

/**
 * Looks at thresholds beside the requests: soon after something changed, never two looks at once, and never more than
 * a fifth of the time.
 */
export class Watch {
  readonly #options: Required<WatchOptions>;
  readonly #waiting = new Map<string, { all: boolean }>();
  #running: Promise<void> | null = null;
  readonly #stopping = new AbortController();
  readonly #timers: NodeJS.Timeout[] = [];

  constructor(options: WatchOptions) {
    this.#options = { gatherMs, ...options };
  }

  /** Something has changed in a club. */
  wake(clubId: string, all = false): void {
    if (this.#stopping.signal.aborted) return;
    this.#waiting.set(clubId, { all: all || this.#waiting.get(clubId)?.all === true });
    this.#running ??= this.#run().finally(() => {
      this.#running = null;
      // Woken just as the last look ended.
      for (const [id, { all: everything }] of this.#waiting) this.wake(id, everything);
    });
  }

  /** Looks at everything of some clubs when the first answers are given, and again every few hours. */
  start(clubIds: () => Promise<readonly string[]>): void {
    const look = () => {
      clubIds().then((ids) => {
        for (const id of ids) this.wake(id, true);
      }, this.#options.onFault);
    };
    this.#timers.push(setTimeout(look, afterStartMs).unref(), setInterval(look, everythingMs).unref());
  }

  /** Resolves when nothing is waiting to be looked at. */
  async settled(): Promise<void> {
    while (this.#running !== null) await this.#running;
  }

  /** Ends the look that is under way, and takes no new ones. What was not looked at is found in the feed next time. */
  async stop(): Promise<void> {
    this.#stopping.abort();
    this.#timers.forEach(clearTimeout);
    await this.settled();
  }

  /** @throws {Error} when the watch is stopped, and at once: nobody should wait for a pause to end */
  #pause(ms: number): Promise<void> {
    return pause(ms, undefined, { ref: false, signal: this.#stopping.signal });
  }

  async #run(): Promise<void> {
    while (this.#waiting.size > 0) {
      try {
        await this.#pause(this.#options.gatherMs);
        const waiting = [...this.#waiting];
        this.#waiting.clear();
        for (const [clubId, { all }] of waiting) await this.#look(clubId, all);
      } catch (error) {
        if (this.#stopping.signal.aborted) return;
        this.#options.onFault(error instanceof Error ? error : new Error(String(error)));
      }
    }
  }

  async #look(clubId: string, all: boolean): Promise<void> {
    let since = performance.now();
    const rest = async () => {
      const passed = performance.now() - since;
      await this.#pause(this.#options.gatherMs === 0 ? 0 : passed * restFactor);
      since = performance.now();
    };
    await lookAtThresholds(this.#options.workFor(clubId), { all, rest });
  }
}
