import type { Reporter, TestModule } from "vitest/node";

/** Ends a run of the tests with one line that a script can read: `N passed, N failed`. */
export default class PlainReporter implements Reporter {
  onTestRunEnd(modules: readonly TestModule[]): void {
    let passed = 0;
    let failed = 0;
    for (const module of modules) {
      // A file that cannot even be read has no tests to count, and is a failure all the same.
      if (module.state() === "failed" && [...module.children.allTests()].length === 0) failed += 1;
      for (const test of module.children.allTests()) {
        if (test.result().state === "passed") passed += 1;
        if (test.result().state === "failed") failed += 1;
      }
    }
    process.stdout.write(`${passed} passed, ${failed} failed\n`);
  }
}
