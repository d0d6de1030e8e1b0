import { afterAll, beforeAll, describe, expect, it } from "vitest";
import { startGarage } from "../support/garage.ts";
import { startTestService, type TestService } from "../support/service.ts";
import { nestingFaults, textOf } from "../support/well-formed.ts";

let service: TestService;
let garage: Awaited<ReturnType<typeof startGarage>>;
let pieceId: string;
const mark = 'spur <1> & "co"';

beforeAll(async () => {
  service = await startTestService();
  garage = await startGarage(service);
  const { must } = service.owner;
  const piece = { driverId: garage.driver.id, lineId: garage.line.id, mark, asNew: 15.49 };
  pieceId = (await must("POST", "/v1/pieces", piece)).id;
  const fitting = { position: "spur", at: "2026-11-01T08:00:00Z", piece: { pieceId } };
  await must("POST", `/v1/cars/${garage.car.id}/fittings`, fitting);
  for (const day of ["08", "15", "22"]) {
    for (const hour of ["10", "12"])
      await must("POST", "/v1/runs", {
        ...{ carId: garage.car.id, at: `2026-11-${day}T${hour}:00:00Z`, minutes: 60, surface: "asphalt" },
      });
    const value = 15.49 - (Number(day) / 7) * 0.012;
    const inspection = {
      at: `2026-11-${day}T19:00:00Z`,
      grade: day === "22" ? 1 : null,
      readings: [{ value, unit: "mm" }],
    };
    await must("POST", `/v1/pieces/${pieceId}/inspections`, inspection);
  }
  for (const startsOn of ["2027-02-07", "2027-03-07", "2027-04-04"])
    await must("POST", "/v1/meetings", { name: startsOn, startsOn, surface: "asphalt", plannedRuns: 12 });
});
afterAll(() => service.close());

const drawn = async (path: string) => {
  const answer = await service.owner.get(path);
  expect([path, answer.status, answer.headers.get("content-type")]).toEqual([path, 200, "image/svg+xml"]);
  return { svg: answer.body as string, headers: answer.headers };
};
const paths = () => [
  `/v1/pieces/${pieceId}/wear.svg`,
  `/v1/pieces/${pieceId}/wear.svg?axis=date&limit=race&width=900`,
  `/v1/lines/${garage.line.id}/outlook.svg?through=2027-06-30`,
  "/v1/restock-plan.svg?through=2027-06-30&budgetMinorUnits=5000&parts=all",
];

describe("pictures", () => {
  it("are well-formed, carry their numbers as text, and load and run nothing", async () => {
    for (const path of paths()) {
      const { svg, headers } = await drawn(path);
      expect([path, nestingFaults(svg)]).toEqual([path, []]);
      expect(svg).toMatch(/^<svg xmlns="http:\/\/www\.w3\.org\/2000\/svg" viewBox="0 0 \d+ \d+"/);
      expect(svg).toContain('role="img"');
      expect(textOf(svg, "title")).not.toBe("");
      expect(textOf(svg, "desc")).toMatch(/\d/);
      expect(svg).toContain("prefers-color-scheme:dark");
      expect(svg).not.toMatch(/NaN|Infinity|undefined|<script|href|\son\w+=|url\((?!#)/);
      expect(headers.get("content-security-policy")).toMatch(
        /^default-src 'none'; style-src 'unsafe-inline'/,
      );
    }
  });

  it("keep every point inside their frame", async () => {
    for (const path of paths()) {
      const { svg } = await drawn(path);
      const [, width, height] = /viewBox="0 0 (\d+) (\d+)"/.exec(svg)!.map(Number);
      const places = [
        ...svg.matchAll(
          /<(?:text|circle|line)[^>]*?\s(?:x|cx|x1)="(-?[\d.]+)"[^>]*?\s(?:y|cy|y1)="(-?[\d.]+)"/g,
        ),
      ];
      expect(places.length).toBeGreaterThan(5);
      for (const [, x, y] of places) {
        expect(Number(x)).toBeGreaterThanOrEqual(0);
        expect(Number(x)).toBeLessThanOrEqual(width!);
        expect(Number(y)).toBeLessThanOrEqual(height!);
      }
    }
  });

  it("of wear say what the forecast says", async () => {
    const forecast = (await service.owner.get(`/v1/pieces/${pieceId}/forecast`)).body;
    const { svg } = await drawn(`/v1/pieces/${pieceId}/wear.svg`);
    const words = textOf(svg, "desc");
    expect(textOf(svg, "title")).toBe(`${mark}: Spur 87T`);
    expect(words).toContain(`after ${forecast.usage} minutes`);
    expect(words).toContain(`worn ${Number(forecast.wear.median.toPrecision(3))} mm`);
    const { p10, p90 } = forecast.remaining.usage;
    expect(words).toContain(`${Math.round(p10)} to ${Math.round(p90)} minutes`);
    // The as-new reading, three readings and a grade.
    expect(words).toContain("4 readings and 1 grade are drawn");
    expect(svg.match(/<circle class="dot"[^>]*r="3.5"/g)).toHaveLength(4 + 1);
    expect(svg).toContain("club limit 0.1 mm");
  });

  it("of wear show the limit as a size where it is stated as one", async () => {
    const { must } = service.owner;
    const [kind] = (await must("GET", "/v1/kinds?limit=500")).items.filter(
      ({ code }: { code: string }) => code === "TYR-RT",
    );
    const line = { sku: "T-TY", name: "Tyres", kindId: kind.id, priceMinorUnits: 900 };
    const lineId = (await must("POST", "/v1/lines", line)).id;
    const piece = { driverId: garage.driver.id, lineId, mark: "1-FL", asNew: kind.measure.asNew };
    const { id } = await must("POST", "/v1/pieces", piece);
    const { svg } = await drawn(`/v1/pieces/${id}/wear.svg`);
    expect(kind.limits.basis).toBe("size");
    expect(svg).toContain(`club limit ${kind.limits.club} ${kind.measure.unit}`);
    expect(svg).toContain(`size, ${kind.measure.unit}`);
  });

  it("of an outlook and of a plan say the numbers of the answers beside them", async () => {
    const outlook = (await service.owner.get(`/v1/lines/${garage.line.id}/outlook?through=2027-06-30`)).body;
    const drawnOutlook = await drawn(`/v1/lines/${garage.line.id}/outlook.svg?through=2027-06-30`);
    expect(textOf(drawnOutlook.svg, "desc")).toContain(outlook.sentence);
    const query = "through=2027-06-30&budgetMinorUnits=5000&parts=all";
    const plan = (await service.owner.get(`/v1/restock-plan?${query}`)).body;
    const words = textOf((await drawn(`/v1/restock-plan.svg?${query}`)).svg, "desc");
    expect(words).toContain(
      `${(plan.spentMinorUnits / 100).toFixed(2)} of ${(plan.budgetMinorUnits / 100).toFixed(2)} AUD`,
    );
  });

  it("of a retired piece's wear end on its last day, with what was read until then", async () => {
    const { must, get } = service.owner;
    const given = { driverId: garage.driver.id, lineId: garage.line.id, mark: "spur 0", asNew: 15.5 };
    const { id } = await must("POST", "/v1/pieces", given);
    await must("POST", `/v1/pieces/${id}/inspections`, {
      ...{ at: "2026-10-20T19:00:00Z", readings: [{ value: 15.44, unit: "mm" }] },
    });
    await must("PUT", `/v1/pieces/${id}/retirement`, { at: "2026-10-25T19:00:00Z", retiredFor: "worn" });
    expect((await get(`/v1/pieces/${id}/forecast`)).status).toBe(409);
    for (const query of ["", "?axis=date&width=700"]) {
      const { svg } = await drawn(`/v1/pieces/${id}/wear.svg${query}`);
      expect(nestingFaults(svg)).toEqual([]);
      expect(svg).not.toMatch(/NaN|Infinity|undefined/);
      expect(textOf(svg, "desc")).toContain("It was retired on 25 October 2026 (worn)");
      expect(textOf(svg, "desc")).toContain("2 readings and 0 grades");
      expect(svg).toContain(">retired</text>");
      expect(svg).not.toContain("8 in 10, forecast");
      expect(svg).toContain('class="ahead" d=""');
      // The same whenever it is asked for.
      service.clock.now = "2027-05-01T09:00:00.000Z";
      expect((await drawn(`/v1/pieces/${id}/wear.svg${query}`)).svg).toBe(svg);
      service.clock.now = "2026-12-01T09:00:00.000Z";
    }
  });

  it("refuse what the answers refuse: an unknown piece, another driver's key, a silly width", async () => {
    const other = await service.owner.must("POST", "/v1/drivers", { name: "Bo Larkspur" });
    const stranger = await service.as("driver", other.id);
    expect((await service.owner.get("/v1/pieces/nothing/wear.svg")).status).toBe(404);
    expect((await stranger.get(`/v1/pieces/${pieceId}/wear.svg`)).status).toBe(403);
    expect((await service.owner.get(`/v1/pieces/${pieceId}/wear.svg?width=9`)).status).toBe(422);
    expect((await service.anyone.get(`/v1/pieces/${pieceId}/wear.svg`)).status).toBe(401);
  });
});

it("the check of nesting sees what is wrong", () => {
  expect(nestingFaults('<a><b x="1"></b></a>')).toEqual([]);
  expect(nestingFaults("<a><b></a></b>")).toEqual(["</a> closes b", "</b> closes a"]);
  expect(nestingFaults("<a>1 < 2</a>")).toEqual(["a bare <"]);
  expect(nestingFaults("<a>")).toEqual(["a is never closed"]);
});
