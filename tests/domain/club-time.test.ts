import { describe, expect, it } from "vitest";
import { dayIn, dayStart } from "../../src/domain/club-time.ts";

describe("days of a club", () => {
  it("a moment is of the day that the club's clock shows", () => {
    expect(dayIn("Australia/Brisbane", "2026-11-29T20:00:00.000Z")).toBe("2026-11-30");
    expect(dayIn("America/Anchorage", "2026-11-30T06:00:00.000Z")).toBe("2026-11-29");
    expect(dayIn("UTC", "2026-11-30T23:59:59.999Z")).toBe("2026-11-30");
  });

  it("a day begins at the first moment whose day it is, also where clocks change that night", () => {
    for (const [timeZone, day, start] of [
      ["UTC", "2026-11-30", "2026-11-30T00:00:00.000Z"],
      ["Australia/Brisbane", "2026-11-30", "2026-11-29T14:00:00.000Z"],
      // Clocks are put forward at midnight there: the day begins at one o'clock (IANA time zone database).
      ["Asia/Beirut", "2026-03-29", "2026-03-28T22:00:00.000Z"],
      ["Pacific/Kiritimati", "2027-01-01", "2026-12-31T10:00:00.000Z"],
      ["Pacific/Pago_Pago", "2027-01-01", "2027-01-01T11:00:00.000Z"],
    ] as const) {
      expect([timeZone, dayStart(timeZone, day)]).toEqual([timeZone, start]);
      const [at, before] = [start, new Date(Date.parse(start) - 1).toISOString()];
      expect(dayIn(timeZone, at)).toBe(day);
      expect(dayIn(timeZone, before) < day).toBe(true);
    }
  });

  it("a day that is none is refused", () => {
    expect(() => dayStart("UTC", "someday")).toThrow(RangeError);
    expect(() => dayIn("Nowhere/None", "2026-11-30T00:00:00.000Z")).toThrow(RangeError);
  });
});
