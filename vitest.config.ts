import { defineConfig } from "vitest/config";

export default defineConfig({
  test: {
    include: ["tests/**/*.test.ts"],
    maxWorkers: 2,
    // Files share what they import, which halves the time: nothing that is imported keeps what a test does to it.
    isolate: false,
    testTimeout: 20_000,
    reporters: ["default", "./tests/support/plain-reporter.ts"],
  },
});
