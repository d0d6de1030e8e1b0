import type { TestService } from "./service.ts";

/** A measured kind, small enough to follow by hand: a spur's span falls with minutes, worn out after a loss of 0.1 mm. */
export const spurKind = {
  code: "T-SPUR",
  name: "Spur of the tests",
  clock: "minutes",
  benchStep: "drivetrain",
  measure: {
    quantity: "span over 10 teeth",
    unit: "mm",
    direction: "falls",
    asNew: 15.485,
    asNewSd: 0.02,
    miscountStep: 1.5622,
    instruments: [{ name: "calliper", repeatabilitySd: 0.018, resolution: 0.01 }],
  },
  limits: { basis: "loss", race: 0.05, club: 0.1, stop: 0.15 },
  usualLife: { p10: 480, p90: 1030 },
  pieceSpread: 0.3,
  runSpread: 0.35,
  surfaces: { asphalt: 1, carpet: 0.5, "dusty-clay": 2 },
  usedBy: "fitting",
  changeRule: "alone",
  changedTogether: 1,
  mateCode: null,
  breakagePerRun: 0.004,
  shelfLifeDays: null,
  carStopper: true,
  checkMinutes: 3,
  check: "Span over ten teeth at three places; look for chips.",
  cautions: ["Unplug the pack before fingers go near the gears."],
  source: "invented for the tests",
};
export const packKind = {
  ...spurKind,
  code: "T-PACK",
  name: "Pack of the tests",
  clock: "cycles",
  benchStep: "packs",
  measure: {
    quantity: "capacity",
    unit: "percent",
    direction: "falls",
    asNew: 100,
    asNewSd: 1.5,
    instruments: [{ name: "charger", repeatabilitySd: 1.5, resolution: 0.1 }],
  },
  limits: { basis: "loss", race: 15, club: 20, stop: 30 },
  usualLife: { p10: 75, p90: 113 },
  surfaces: {},
  usedBy: "pack",
  breakagePerRun: 0.0006,
};

/** A driver with one car (spur position, worn by minutes), a line of spurs, a line of packs, stock and a calendar. */
export async function startGarage(service: TestService) {
  const { must } = service.owner;
  const driver = await must("POST", "/v1/drivers", { name: "Una Wickerley" });
  const kind = await must("POST", "/v1/kinds", spurKind);
  const pack = await must("POST", "/v1/kinds", packKind);
  const supplier = await must("POST", "/v1/suppliers", {
    name: "Gantry Wholesale",
    leadTimeDays: 6,
    leadTimeSdDays: 3,
    minimumOrderMinorUnits: 0,
  });
  const model = await must("POST", "/v1/car-models", { name: "Test tourer", discipline: "touring" });
  const line = await must("POST", "/v1/lines", {
    sku: "T-SP-1",
    name: "Spur 87T",
    kindId: kind.id,
    supplierId: supplier.id,
    priceMinorUnits: 900,
    fits: [model.id],
  });
  const packLine = await must("POST", "/v1/lines", {
    sku: "T-LP-1",
    name: "Pack 5000",
    kindId: pack.id,
    supplierId: supplier.id,
    priceMinorUnits: 8000,
  });
  const car = await must("POST", "/v1/cars", {
    driverId: driver.id,
    name: "First car",
    carModelId: model.id,
    positions: [
      { name: "spur", kindId: kind.id },
      { name: "second spur", kindId: kind.id },
    ],
  });
  const home = await must("POST", "/v1/locations", { name: "Home", sort: "home", driverId: driver.id });
  return { driver, kind, pack, supplier, model, line, packLine, car, home };
}
