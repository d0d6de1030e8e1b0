import fc from "fast-check";
import ICAL from "ical.js";
import { afterAll, beforeAll, describe, expect, it } from "vitest";
import { calendarText, contentLine } from "../../src/http/icalendar.ts";
import type { DayEvent } from "../../src/services/club-calendar.ts";
import { startGarage } from "../support/garage.ts";
import { startTestService, type TestService } from "../support/service.ts";

/** The events that another program reads from a calendar: ical.js, a parser that is not ours. */
function eventsIn(text: string) {
  const calendar = new ICAL.Component(ICAL.parse(text));
  return calendar.getAllSubcomponents("vevent").map((component) => {
    const event = new ICAL.Event(component);
    return {
      uid: event.uid,
      summary: event.summary,
      description: event.description,
      location: event.location,
      startsOn: event.startDate.toString(),
      endsBefore: event.endDate.toString(),
      wholeDay: event.startDate.isDate && event.endDate.isDate,
      category: component.getFirstPropertyValue("categories"),
      stamp: String(component.getFirstPropertyValue("dtstamp")),
      sequence: event.sequence,
    };
  });
}

const meeting: DayEvent = {
  ...{ uid: "meeting-1", startsOn: "2027-02-27", days: 2, summary: "Round 1", description: "6 runs" },
  ...{ location: "Ferris Lane", category: "meeting", sequence: 0 },
  changedAt: "2026-12-01T09:00:00.000Z",
};
const textOf = (...events: DayEvent[]) => calendarText({ name: "Club", events });

describe("calendarText", () => {
  it("writes whole days with an exclusive end, over the end of a month too", () => {
    const text = textOf(meeting);
    expect(text).toContain("\r\nDTSTART;VALUE=DATE:20270227\r\nDTEND;VALUE=DATE:20270301\r\n");
    expect(text).toContain("\r\nDTSTAMP:20261201T090000Z\r\n");
    expect(eventsIn(text)).toEqual([
      {
        ...{ uid: "meeting-1", summary: "Round 1", description: "6 runs", location: "Ferris Lane" },
        ...{ startsOn: "2027-02-27", endsBefore: "2027-03-01", wholeDay: true, category: "MEETING" },
        ...{ stamp: "2026-12-01T09:00:00Z", sequence: 0 },
      },
    ]);
  });

  it("gives back any text to the parser as it was: commas, semicolons, backslashes, line breaks, long Unicode", () => {
    const piece = fc.oneof(
      fc.constantFrom(",", ";", "\\", "\n", "\\n", ":", '"', " ", "\t", "é", "日本語", "🏁", "👩‍🔧"),
      fc.string({ unit: "grapheme", maxLength: 30 }),
    );
    const long = fc
      .array(piece, { maxLength: 40 })
      .map((pieces) => pieces.join(""))
      // Of control characters only the tab and the line feed can be written: the others become U+FFFD.
      // biome-ignore lint/suspicious/noControlCharactersInRegex: these are the characters that are left out
      .filter((text) => !/[\0-\x08\x0b-\x1f\x7f]/.test(text));
    fc.assert(
      fc.property(long, long, long, (summary, description, location) => {
        const [event] = eventsIn(textOf({ ...meeting, summary, description, location }));
        expect(event).toMatchObject({ summary, description, location });
      }),
      { numRuns: 300 },
    );
  });

  it("has no line of more than 75 octets, breaks every line by CRLF, and no character in two", () => {
    fc.assert(
      fc.property(fc.string({ unit: "binary", maxLength: 400 }), (summary) => {
        const text = textOf({ ...meeting, summary });
        expect(text.endsWith("\r\n")).toBe(true);
        expect(text.replaceAll("\r\n", "")).not.toMatch(/[\r\n]/);
        for (const line of text.split("\r\n")) {
          expect(Buffer.byteLength(line)).toBeLessThanOrEqual(75);
          expect(Buffer.from(line).toString()).toBe(line);
        }
      }),
    );
  });

  it("folds exactly at 75 octets: RFC 5545, section 3.1", () => {
    expect(contentLine("A", "x".repeat(73))).toBe(`A:${"x".repeat(73)}\r\n`);
    expect(contentLine("A", "x".repeat(74))).toBe(`A:${"x".repeat(73)}\r\n x\r\n`);
    expect(contentLine("A", `${"x".repeat(72)}é`)).toBe(`A:${"x".repeat(72)}\r\n é\r\n`);
  });

  it("is a calendar without events where there are none", () => {
    expect(eventsIn(textOf())).toEqual([]);
    expect(textOf()).toMatch(/^BEGIN:VCALENDAR\r\nVERSION:2\.0\r\n/);
  });
});

describe("the calendar of a club", () => {
  let service: TestService;
  let garage: Awaited<ReturnType<typeof startGarage>>;
  beforeAll(async () => {
    service = await startTestService();
    garage = await startGarage(service);
    const { must } = service.owner;
    const piece = { driverId: garage.driver.id, lineId: garage.line.id, mark: "spur 1", asNew: 15.49 };
    const pieceId = (await must("POST", "/v1/pieces", piece)).id;
    await must("POST", `/v1/cars/${garage.car.id}/fittings`, {
      ...{ position: "spur", at: "2026-11-01T08:00:00Z", piece: { pieceId } },
    });
    for (const startsOn of ["2027-02-07", "2027-03-07"]) {
      const body = { name: `Round; of, ${startsOn}`, startsOn, days: 2, surface: "asphalt", plannedRuns: 90 };
      await must("POST", "/v1/meetings", body);
    }
  });
  afterAll(() => service.close());

  const read = async (path: string, caller = service.owner) => {
    const answer = await caller.get(path);
    expect([path, answer.status, answer.headers.get("content-type")]).toEqual([
      ...[path, 200, "text/calendar; charset=utf-8"],
    ]);
    return eventsIn(answer.body);
  };

  it("has the meetings, and the day to order by that the restock list says", async () => {
    const events = await read("/v1/calendar.ics?daysAhead=120");
    const list = (await service.owner.get("/v1/restock-list?through=2027-03-31")).body;
    const [supplier] = list.suppliers;
    expect(events.map(({ startsOn, endsBefore, category }) => [startsOn, endsBefore, category])).toEqual([
      ["2027-02-07", "2027-02-09", "MEETING"],
      ["2027-03-07", "2027-03-09", "MEETING"],
      [supplier.orderBy, expect.any(String), "ORDER"],
    ]);
    expect(events[0]!.summary).toBe("Round; of, 2027-02-07");
    expect(events[2]!.summary).toMatch(/^Order by today: Gantry Wholesale, 1 line, \d+\.00 AUD$/);
    expect(events[2]!.description).toContain("Spur 87T (T-SP-1)");
  });

  it("keeps the id of an event when its day moves", async () => {
    const before = await read("/v1/calendar.ics");
    const id = before[1]!.uid.replace("meeting-", "");
    await service.owner.must("PATCH", `/v1/meetings/${id}`, { startsOn: "2027-03-14" });
    const after = await read("/v1/calendar.ics");
    expect(after.map(({ uid }) => uid)).toEqual(before.map(({ uid }) => uid));
    expect(after[1]).toMatchObject({ startsOn: "2027-03-14", sequence: 1 });
  });

  it("stamps a meeting with its last change, and an order with when it was worked out (RFC 5545, 3.8.7.2)", async () => {
    const stamps = async () => (await read("/v1/calendar.ics")).map(({ stamp }) => stamp);
    const [, moved, order] = await stamps();
    service.clock.now = "2026-12-02T09:00:00.000Z";
    const id = (await read("/v1/calendar.ics"))[0]!.uid.replace("meeting-", "");
    await service.owner.must("PATCH", `/v1/meetings/${id}`, { notes: "bring a chair" });
    service.clock.now = "2026-12-03T09:00:00.000Z";
    expect([moved, order]).toEqual(["2026-12-01T09:00:00Z", "2026-12-01T09:00:00Z"]);
    expect(await stamps()).toEqual(["2026-12-02T09:00:00Z", "2026-12-01T09:00:00Z", "2026-12-03T09:00:00Z"]);
    service.clock.now = "2026-12-01T09:00:00.000Z";
  });

  it("is sent again only if it says something else", async () => {
    const { url } = (await service.owner.post("/v1/calendar-feeds", {})).body;
    for (const [caller, path] of [
      [service.owner, "/v1/calendar.ics"],
      [service.anyone, new URL(url).pathname],
    ] as const) {
      const etag = (await caller.get(path)).headers.get("etag")!;
      expect(etag).toMatch(/^W\/"/);
      const ask = () => caller.send("GET", path, undefined, { "if-none-match": etag });
      // Worked out anew an hour later it has other stamps, and says the same.
      service.clock.now = "2026-12-01T10:00:00.000Z";
      const same = await ask();
      expect([same.status, same.body, same.headers.get("etag")]).toEqual([304, "", etag]);
      const { startsOn } = await service.owner.must("POST", "/v1/meetings", {
        ...{ name: "Extra", startsOn: "2027-05-02", surface: "asphalt", plannedRuns: 1 },
      });
      const other = await ask();
      expect([other.status, eventsIn(other.body).some((one) => one.startsOn === startsOn)]).toEqual([
        200,
        true,
      ]);
      service.clock.now = "2026-12-01T09:00:00.000Z";
    }
  });

  it("behind an address is worked out once until something changes, and after a quarter of an hour", async () => {
    const { url } = (await service.owner.post("/v1/calendar-feeds", {})).body;
    const order = async () =>
      (await read(new URL(url).pathname, service.anyone)).find(({ category }) => category === "ORDER")!;
    expect((await order()).stamp).toBe("2026-12-01T09:00:00Z");
    service.clock.now = "2026-12-01T09:14:59.000Z";
    expect((await order()).stamp).toBe("2026-12-01T09:00:00Z");
    service.clock.now = "2026-12-01T09:15:00.000Z";
    expect((await order()).stamp).toBe("2026-12-01T09:15:00Z");
    service.clock.now = "2026-12-01T09:16:00.000Z";
    await service.owner.must("POST", "/v1/runs", {
      ...{ carId: garage.car.id, at: "2026-12-01T08:00:00Z", minutes: 5, surface: "asphalt" },
    });
    expect((await order()).stamp).toBe("2026-12-01T09:16:00Z");
    service.clock.now = "2026-12-01T09:00:00.000Z";
  });

  it("has an address at the public one, where the settings say it", async () => {
    const { settingsFrom } = await import("../../src/settings.ts");
    const { publicUrl } = settingsFrom({ PUBLIC_URL: "https://club.example/spares" });
    const { buildApp } = await import("../../src/app.ts");
    const app = buildApp({ db: service.db, clock: () => new Date(service.clock.now), publicUrl });
    const headers = {
      authorization: `Bearer ${await service.keyFor("reader")}`,
      "content-type": "application/json",
    };
    const answer = await app.request("/v1/calendar-feeds", { method: "POST", headers, body: "{}" });
    const { url } = (await answer.json()) as { url: string };
    expect(url).toMatch(/^https:\/\/club\.example\/spares\/feeds\/cal_[\w-]+\/calendar\.ics$/);
    expect(settingsFrom({}).publicUrl).toBe(undefined);
    for (const wrong of ["club.example", "ftp://club.example/", "https://club.example/?a=1"])
      expect(() => settingsFrom({ PUBLIC_URL: wrong })).toThrow("PUBLIC_URL must be");
  });

  it("is read by an address without a key, until that is ended", async () => {
    const reader = await service.as("reader");
    const made = await reader.post("/v1/calendar-feeds", { name: "Racing" });
    expect(made.status).toBe(201);
    const path = new URL(made.body.url).pathname;
    const text = (await service.anyone.get(path)).body as string;
    expect(text).toContain("\r\nNAME:Racing\r\n");
    expect(await read(path, service.anyone)).toEqual(await read("/v1/calendar.ics"));
    const listed = (await reader.get("/v1/calendar-feeds")).body.items;
    expect(listed).toEqual([{ ...made.body, url: undefined }].map(({ url: _, ...feed }) => feed));
    expect((await reader.delete(`/v1/calendar-feeds/${made.body.id}`)).status).toBe(204);
    expect((await service.anyone.get(path)).status).toBe(404);
    expect((await reader.delete(`/v1/calendar-feeds/${made.body.id}`)).status).toBe(404);
  });

  it("is made once however often a request with one Idempotency-Key is sent, and is another for another key", async () => {
    const [reader, other] = [await service.as("reader"), await service.as("reader")];
    const make = (who: typeof reader, name: string, key: string) =>
      who.send("POST", "/v1/calendar-feeds", { name }, { "idempotency-key": `"${key}"` });
    const made = await make(reader, "Racing", "one");
    const again = await make(reader, "Racing", "one");
    expect([again.status, again.body]).toEqual([201, made.body]);
    expect((await reader.get("/v1/calendar-feeds")).body.items).toHaveLength(1);
    const changed = await make(reader, "Orders", "one");
    expect([changed.status, changed.body.type]).toEqual([422, "/problems/key_reused"]);
    const urls = [made, await make(reader, "Racing", "two"), await make(other, "Racing", "one")];
    expect(new Set(urls.map(({ body }) => body.url)).size).toBe(3);
    expect((await make(reader, "Racing", 'o"ne')).status).toBe(400);
    // Ended, the same request makes it anew, under the same address.
    await reader.delete(`/v1/calendar-feeds/${made.body.id}`);
    const anew = await make(reader, "Racing", "one");
    expect(anew.body.url).toBe(made.body.url);
    expect(anew.body.id).not.toBe(made.body.id);
  });

  it("shows by an address only what its key sees: a driver's gets the orders for the own cars", async () => {
    const other = await service.owner.must("POST", "/v1/drivers", { name: "Bo Larkspur" });
    const caller = await service.as("driver", other.id);
    const { url } = (await caller.post("/v1/calendar-feeds", {})).body;
    const events = await read(new URL(url).pathname, service.anyone);
    expect(new Set(events.map(({ category }) => category))).toEqual(new Set(["MEETING"]));
  });

  it("lets a key end and list only its own addresses, and an owner all", async () => {
    const [one, two] = [await service.as("reader"), await service.as("reader")];
    const feed = (await one.post("/v1/calendar-feeds", {})).body;
    expect((await two.get("/v1/calendar-feeds")).body.items).toEqual([]);
    expect((await two.delete(`/v1/calendar-feeds/${feed.id}`)).status).toBe(404);
    const all = (await service.owner.get("/v1/calendar-feeds")).body.items;
    expect(all.map(({ id }: { id: string }) => id)).toContain(feed.id);
    expect((await service.owner.delete(`/v1/calendar-feeds/${feed.id}`)).status).toBe(204);
  });

  it("ends with the key that made the address", async () => {
    const caller = await service.as("reader");
    const made = (await caller.post("/v1/calendar-feeds", {})).body;
    await service.db
      .updateTable("keys")
      .set({ revokedAt: service.clock.now })
      .where("id", "=", made.keyId)
      .execute();
    expect((await service.anyone.get(new URL(made.url).pathname)).status).toBe(404);
  });

  it("keeps no address that could be read: neither in the table of feeds nor among the kept answers", async () => {
    const key = { "idempotency-key": '"once"' };
    const made = await service.owner.send("POST", "/v1/calendar-feeds", {}, key);
    const token = new URL(made.body.url).pathname.split("/")[2]!;
    expect(token).toMatch(/^cal_[\w-]{43}$/);
    const rows = [
      await service.db.selectFrom("calendarFeeds").selectAll().execute(),
      await service.db.selectFrom("keptAnswers").selectAll().execute(),
    ];
    expect(JSON.stringify(rows)).not.toContain(token);
  });

  it("is refused to a shop's key and to a made-up address", async () => {
    const shop = await service.as("shop");
    expect((await shop.get("/v1/calendar.ics")).status).toBe(403);
    expect((await shop.post("/v1/calendar-feeds", {})).status).toBe(403);
    expect((await service.anyone.get("/feeds/cal_made-up/calendar.ics")).status).toBe(404);
    expect((await service.owner.get("/v1/calendar.ics?daysAhead=0")).status).toBe(422);
  });
});

it("the log names a request for a calendar without the secret of its address", async () => {
  const service = await startTestService();
  const { buildApp } = await import("../../src/app.ts");
  const lines: string[] = [];
  const app = buildApp({ db: service.db, log: (...line) => lines.push(JSON.stringify(line)) });
  await app.request("/feeds/cal_secret-word/calendar.ics");
  expect(lines.join("\n")).toContain("/feeds/…/calendar.ics");
  expect(lines.join("\n")).not.toContain("secret-word");
  await service.close();
});
