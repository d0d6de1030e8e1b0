import { parentPort } from "node:worker_threads";
import { fitHere, type FitTask } from "./services/run-fit.ts";

/**
 * The thread behind `startFitPool`: takes one fit at a time and sends back what came of it. The fit goes as JSON, which
 * takes half to three quarters of the memory of copied objects in the thread that answers, where fits are kept.
 */
parentPort?.on("message", (task: FitTask) => {
  fitHere(task).then(
    ({ wear, ms }) => parentPort?.postMessage({ wear: JSON.stringify(wear), ms }),
    (error: unknown) => parentPort?.postMessage({ error }),
  );
});
