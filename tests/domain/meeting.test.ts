import { expect, test } from "vitest";
import { attends, plannedRuns } from "../../src/domain/meeting.ts";

const touring = { discipline: "touring", plannedRuns: 6 };
const open = { discipline: null, plannedRuns: 5 };

test("without an entry a car attends where the meeting is of its discipline or of none", () => {
  expect(attends(touring, "touring", undefined)).toBe(true);
  expect(attends(touring, "buggy", undefined)).toBe(false);
  expect(attends(touring, null, undefined)).toBe(false);
  expect(attends(open, "buggy", undefined)).toBe(true);
  expect(attends(open, null, undefined)).toBe(true);
});

test("an entry decides against the disciplines, either way", () => {
  expect(attends(touring, "touring", { attends: false, plannedRuns: null })).toBe(false);
  expect(attends(touring, "buggy", { attends: true, plannedRuns: null })).toBe(true);
});

test("planned runs are the entry's, else the meeting's, and none where the car does not attend", () => {
  expect(plannedRuns(touring, "touring", undefined)).toBe(6);
  expect(plannedRuns(touring, "buggy", undefined)).toBe(0);
  expect(plannedRuns(touring, "touring", { attends: true, plannedRuns: 3 })).toBe(3);
  expect(plannedRuns(touring, "touring", { attends: true, plannedRuns: 0 })).toBe(0);
  expect(plannedRuns(touring, "buggy", { attends: true, plannedRuns: null })).toBe(6);
  expect(plannedRuns(touring, "touring", { attends: false, plannedRuns: 3 })).toBe(0);
});
