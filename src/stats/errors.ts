/** An iteration that did not settle. The message says what to try; `iterations` says how far it went. */
export class ConvergenceError extends Error {
  readonly iterations: number;

  constructor(message: string, iterations: number) {
    super(message);
    this.name = "ConvergenceError";
    this.iterations = iterations;
  }
}
