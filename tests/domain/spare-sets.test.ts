import { describe, expect, it } from "vitest";
import { type LoosePiece, piecesInWholeSets } from "../../src/domain/spare-sets.ts";

const off = (fittedAt: string, removedAt: string, more: { driverId?: string; carId?: string } = {}) =>
  ({
    driverId: more.driverId ?? "ada",
    last: { carId: more.carId ?? "car", tiedBy: "tyres", fittedAt, removedAt },
  }) satisfies LoosePiece;
const unused = (driverId: string): LoosePiece => ({ driverId, last: null });
const four = <T>(make: (i: number) => T) => Array.from({ length: 4 }, (_, i) => make(i));

describe("whole sets among loose pieces", () => {
  it("are pieces that were fitted together last, a few minutes apart", () => {
    expect(
      piecesInWholeSets(
        four((i) => off(`2026-03-14T09:0${i}`, `2026-04-01T10:0${i}`)),
        4,
      ),
    ).toBe(4);
  });

  it("are none of four pieces that four old sets left", () => {
    expect(
      piecesInWholeSets(
        four((i) => off(`2026-0${i + 1}-01`, `2026-0${i + 1}-20`)),
        4,
      ),
    ).toBe(0);
  });

  it("are none of the pieces of two drivers, or of two cars", () => {
    const drivers = four((i) => off("2026-03-14", "2026-04-01", { driverId: i < 2 ? "ada" : "ben" }));
    const cars = four((i) => off("2026-03-14", "2026-04-01", { carId: i < 2 ? "one" : "other" }));
    expect([piecesInWholeSets(drivers, 4), piecesInWholeSets(cars, 4)]).toEqual([0, 0]);
    expect([piecesInWholeSets(drivers, 2), piecesInWholeSets(cars, 2)]).toEqual([4, 4]);
  });

  it("of unused pieces are counted by driver, and do not fill up an old set", () => {
    const three = ["ada", "ada", "ada"].map(unused);
    expect(piecesInWholeSets([...three, unused("ben")], 4)).toBe(0);
    expect(piecesInWholeSets([...three, off("2026-03-14", "2026-04-01")], 4)).toBe(0);
    expect(piecesInWholeSets([...three, unused("ada"), unused("ada")], 4)).toBe(4);
  });

  it("of one place are two where one set followed the other at the same moment", () => {
    const sets = ["2026-01-01", "2026-02-01"].flatMap((from) =>
      four(() => off(from, from === "2026-01-01" ? "2026-02-01" : "2026-03-01")),
    );
    expect(piecesInWholeSets(sets, 4)).toBe(8);
    expect(piecesInWholeSets(sets.slice(1), 4)).toBe(4);
  });
});
