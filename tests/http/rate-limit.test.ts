import fc from "fast-check";
import { afterEach, describe, expect, test } from "vitest";
import { RateLimit } from "../../src/http/rate-limit.ts";
import { settingsFrom } from "../../src/settings.ts";
import { startTestService, type TestService } from "../support/service.ts";

let service: TestService | undefined;
afterEach(() => service?.close());

describe("a key that asks often", () => {
  test("is told with each answer what is left, and refused with 429 when nothing is", async () => {
    service = await startTestService("2026-12-01T09:00:00.000Z", { rateLimit: 3 });
    const owner = service.withKey(await service.keyFor("owner"));
    const left = [];
    for (let i = 0; i < 3; i++) {
      const { status, headers } = await owner.get("/v1/club");
      expect([status, headers.get("ratelimit-policy")]).toEqual([200, '"default";q=3;w=60']);
      left.push(headers.get("ratelimit"));
    }
    expect(left).toEqual(['"default";r=2;t=20', '"default";r=1;t=40', '"default";r=0;t=60']);
    const refused = await owner.get("/v1/club");
    expect([refused.status, refused.body.type]).toEqual([429, "/problems/too_many_requests"]);
    expect(refused.headers.get("content-type")).toBe("application/problem+json");
    expect(refused.headers.get("retry-after")).toBe("20");
    expect(refused.headers.get("ratelimit")).toBe('"default";r=0;t=60');
    // Another key has its own requests.
    expect((await service.withKey(await service.keyFor("owner")).get("/v1/club")).status).toBe(200);
    service.clock.now = "2026-12-01T09:00:19.999Z";
    expect((await owner.get("/v1/club")).status).toBe(429);
    service.clock.now = "2026-12-01T09:00:20.000Z";
    expect((await owner.get("/v1/club")).status).toBe(200);
  });

  test("an address of a calendar has requests of its own, and a made-up one is not counted", async () => {
    service = await startTestService(undefined, { rateLimit: 3 });
    const { url } = (await service.owner.post("/v1/calendar-feeds", {})).body;
    const path = new URL(url).pathname;
    for (let i = 0; i < 3; i++) expect((await service.anyone.get(path)).status).toBe(200);
    const refused = await service.anyone.get(path);
    expect([refused.status, refused.headers.get("retry-after")]).toEqual([429, "20"]);
    expect(refused.body.detail).toContain("This address may ask 3 times a minute");
    expect((await service.owner.get("/v1/club")).status).toBe(200);
    for (let i = 0; i < 5; i++)
      expect((await service.anyone.get("/feeds/cal_made-up/calendar.ics")).status).toBe(404);
  });

  test("changes nothing with a request that is refused", async () => {
    service = await startTestService(undefined, { rateLimit: 1 });
    const owner = service.withKey(await service.keyFor("owner"));
    expect((await owner.post("/v1/drivers", { name: "Una Wickerley" })).status).toBe(201);
    expect((await owner.post("/v1/drivers", { name: "Mara Tindle" })).status).toBe(429);
    expect((await service.owner.get("/v1/drivers")).body.items).toHaveLength(1);
  });

  test("asks as often as it likes where the settings say 0", async () => {
    service = await startTestService(undefined, { rateLimit: 0 });
    const { headers } = await service.owner.get("/v1/club");
    expect(headers.get("ratelimit")).toBe(null);
    expect(settingsFrom({}).rateLimit).toBe(6000);
    expect(settingsFrom({ RATE_LIMIT: "0" }).rateLimit).toBe(0);
    for (const wrong of ["", "-1", "many", "1.5"])
      expect(() => settingsFrom({ RATE_LIMIT: wrong })).toThrow("RATE_LIMIT must be");
  });
});

describe("RateLimit", () => {
  test("never lets more through than the bucket holds and fills, and says truly when the next is taken", () => {
    fc.assert(
      fc.property(
        fc.integer({ min: 1, max: 120 }),
        fc.array(fc.integer({ min: -500, max: 20_000 }), { minLength: 1, maxLength: 200 }),
        (perMinute, steps) => {
          const limit = new RateLimit(perMinute);
          let now = 1_000_000;
          let latest = now;
          let taken = 0;
          for (const step of steps) {
            now += step;
            latest = Math.max(latest, now);
            const answer = limit.take("k", now);
            if (answer.allowed) taken++;
            else {
              // Asked again when told to, it is let through: counted from the latest moment that the bucket has seen.
              now = latest + answer.retrySeconds * 1000;
              latest = now;
              expect(limit.take("k", now).allowed).toBe(true);
              taken++;
            }
            expect(answer.remaining).toBeLessThan(perMinute);
          }
          const refilled = ((latest - 1_000_000) / 60_000) * perMinute;
          expect(taken).toBeLessThanOrEqual(perMinute + refilled + 1e-6);
        },
      ),
      { seed: 5, numRuns: 200 },
    );
  });

  test("requires a whole number of requests", () => {
    for (const wrong of [0, 0.5, -1, Number.NaN])
      expect(() => new RateLimit(wrong)).toThrow("RateLimit requires a whole number");
  });
});
