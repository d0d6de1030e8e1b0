import type { PastLine, PastPiece } from "../../src/domain/back-test.ts";
import type { Kind } from "../../src/domain/kind.ts";
import { type Series, readSeries } from "../support/measured.ts";
import { packKind } from "../support/garage.ts";

/** Published degradation data as if a club had logged it: all units of a time were looked at on one evening. */
export interface OpenData {
  title: string;
  source: string;
  line: PastLine;
}

const evening = (day: number) =>
  new Date(Date.parse("2020-01-01T20:00:00Z") + day * 86_400_000).toISOString();

function lineOf(
  kind: Partial<Kind>,
  units: readonly Series[],
  { limit, readingSd, asNew }: { limit: number; readingSd: number; asNew: number },
): PastLine {
  const measure = {
    quantity: "level",
    unit: "1",
    direction: "rises" as const,
    asNew: 0,
    asNewSd: asNew,
    miscountStep: null,
    instruments: [{ name: "as published", repeatabilitySd: readingSd, resolution: 0 }],
  };
  const all = { ...packKind, surfaces: {}, id: "open", code: "OPEN", shipped: false, clock: "runs" as const };
  return {
    kind: {
      ...all,
      measure,
      limits: { basis: "size", race: null, club: limit, stop: null },
      ...kind,
    } as Kind,
    overrides: { asNew: null, limits: null, usualLife: null },
    pieces: units.map(
      ({ unit, points }): PastPiece => ({
        id: unit,
        asNew: null,
        priorUsage: null,
        priorUsageSd: null,
        worn: null,
        looks: points.map(({ t, y }, i) => ({
          at: evening(i),
          usage: t,
          bySurface: {},
          value: y,
          sd: readingSd,
          grade: null,
        })),
      }),
    ),
  };
}

/** Fifteen lasers: rise of the operating current in per cent, up to 4000 h, finished at 6 %. */
export function lasers(): OpenData {
  const units = readSeries("laser").map(({ unit, points }) => ({
    unit,
    // One outing of a laser is the 250 hours between two readings.
    points: points.filter(({ t }) => t > 0).map(({ t, y }) => ({ t: t / 250, y })),
  }));
  return {
    title: "Lasers (15 units, finished at a rise of 6 %)",
    source: "Meeker & Escobar 1998, Statistical Methods for Reliability Data, Table C.17",
    line: lineOf({ usualLife: { p10: 6, p90: 32 }, pieceSpread: 0.25, runSpread: 0.3 }, units, {
      limit: 6,
      readingSd: 0.05,
      asNew: 0.01,
    }),
  };
}

/** Four battery cells: fade of capacity in Ah at every sixth cycle, finished at 0.4 Ah. */
export function batteries(): OpenData {
  const units = readSeries("battery").map(({ unit, points }) => ({
    unit,
    points: points.filter((_, i) => i % 6 === 5).map(({ t, y }) => ({ t: t / 6, y: points[0]!.y - y })),
  }));
  return {
    title: "Batteries (4 cells, every sixth cycle, finished at a loss of 0.4 Ah)",
    source: "Saha & Goebel 2007, Battery Data Set, Ames Prognostics Data Repository",
    line: lineOf({ usualLife: { p10: 8, p90: 42 }, pieceSpread: 0.25, runSpread: 0.5 }, units, {
      limit: 0.4,
      readingSd: 0.02,
      asNew: 0.02,
    }),
  };
}
