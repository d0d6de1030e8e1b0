import { parentPort } from "node:worker_threads";
import { fitHere, type FitTask } from "./services/run-fit.ts";

/** The thread behind `startFitPool`: takes one fit at a time and sends back what came of it. */
parentPort?.on("message", (task: FitTask) => {
  fitHere(task).then(
    (done) => parentPort?.postMessage({ done }),
    (error: unknown) => parentPort?.postMessage({ error }),
  );
});
