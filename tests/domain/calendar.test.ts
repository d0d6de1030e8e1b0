import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { calendarPoint, dayAfter, demandOfMeetings, type PlannedMeeting } from "../../src/domain/calendar.ts";

const meeting = (
  startsOn: string,
  runs: number,
  surface: PlannedMeeting["surface"] = "asphalt",
): PlannedMeeting => ({
  meetingId: startsOn,
  name: startsOn,
  startsOn,
  surface,
  runs,
  minutesPerRun: 5,
});
const ahead = [meeting("2027-02-07", 6), meeting("2027-02-28", 6, "carpet"), meeting("2027-03-21", 4)];
const half = (surface: string) => (surface === "carpet" ? 0.5 : 1);

describe("the calendar ahead", () => {
  it("turns meetings into usage, and usage on every surface into usage on the surface of multiplier 1", () => {
    const demand = demandOfMeetings("minutes", ahead, half);
    expect(demand.map(({ usage, wearingUsage, throughHere }) => [usage, wearingUsage, throughHere])).toEqual([
      [30, 30, 30],
      [30, 15, 45],
      [20, 20, 65],
    ]);
    expect(demandOfMeetings("runs", ahead, () => 1).map(({ usage }) => usage)).toEqual([6, 6, 4]);
  });

  it("a bearable usage is read off as whole runs, whole meetings, and the day of the meeting at which it is used up", () => {
    const demand = demandOfMeetings("minutes", ahead, half);
    expect(calendarPoint(0, demand)).toEqual({ runs: 0, meetings: 0, date: "2027-02-07" });
    expect(calendarPoint(12, demand)).toEqual({ runs: 2, meetings: 0, date: "2027-02-07" });
    expect(calendarPoint(30, demand)).toEqual({ runs: 6, meetings: 1, date: "2027-02-28" });
    expect(calendarPoint(35, demand)).toEqual({ runs: 8, meetings: 1, date: "2027-02-28" });
  });

  it("beyond the last meeting runs go on at the calendar's average, and no date is made up", () => {
    const demand = demandOfMeetings("minutes", ahead, half);
    const { runs, date } = calendarPoint(130, demand);
    expect([runs, date]).toEqual([32, null]);
    expect(calendarPoint(null, demand)).toMatchObject({ runs: null, date: null });
    expect(calendarPoint(50, [])).toMatchObject({ runs: null, date: null });
  });

  it("what can be borne longer is never finished earlier", () => {
    const demand = demandOfMeetings("minutes", ahead, half);
    fc.assert(
      fc.property(
        fc.double({ min: 0, max: 200, noNaN: true }),
        fc.double({ min: 0, max: 200, noNaN: true }),
        (a, b) => {
          const [less, more] = [Math.min(a, b), Math.max(a, b)].map((x) => calendarPoint(x, demand));
          expect(more!.runs!).toBeGreaterThanOrEqual(less!.runs!);
          expect(more!.date ?? "9999").toSatisfy((day: string) => day >= (less!.date ?? "9999"));
        },
      ),
      { seed: 7 },
    );
  });

  it("counts days across the turn of a year and a leap day", () => {
    expect(dayAfter("2026-12-31T00:00:00.000Z", 1)).toBe("2027-01-01");
    expect(dayAfter("2028-02-28T00:00:00.000Z", 1)).toBe("2028-02-29");
    expect(dayAfter("2027-03-01T00:00:00.000Z", -1)).toBe("2027-02-28");
  });
});
