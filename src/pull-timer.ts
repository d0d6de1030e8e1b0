import { pullDueLists } from "./services/pull-stock-list.ts";
import type { Work } from "./services/work.ts";

/** How often the lists that are due are looked for. */
const everyMs = 60_000;

/**
 * Fetches shops' lists when they are due, until it is stopped. It never keeps the process alive, and one round ends
 * before the next begins.
 */
export function startPullTimer(
  workFor: (clubId: string) => Work,
  onFault: (error: Error) => void,
): { stop: () => Promise<void> } {
  let round: Promise<unknown> = Promise.resolve();
  let running = false;
  const look = () => {
    if (running) return;
    running = true;
    round = pullDueLists(workFor, onFault)
      .catch((error: unknown) => onFault(error as Error))
      .finally(() => {
        running = false;
      });
  };
  const timer = setInterval(look, everyMs);
  timer.unref();
  return {
    stop: async () => {
      clearInterval(timer);
      await round;
    },
  };
}
