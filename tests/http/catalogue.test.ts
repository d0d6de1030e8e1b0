import { afterAll, beforeAll, expect, test } from "vitest";
import { shippedKinds } from "../../seeds/index.ts";
import { kindFaults } from "../../src/domain/kind-rules.ts";
import { type Answer, startTestService, type TestService } from "../support/service.ts";

let service: TestService;
beforeAll(async () => {
  service = await startTestService();
});
afterAll(() => service.close());

const wingMount = {
  code: "WING-MNT",
  name: "Rear wing mount bush",
  clock: "minutes",
  benchStep: "fasteners",
  measure: {
    quantity: "play at the wing edge",
    unit: "mm",
    direction: "rises",
    asNew: 0.1,
    asNewSd: 0.03,
    instruments: [{ name: "feeler gauge", repeatabilitySd: 0.05, resolution: 0.05 }],
  },
  limits: { basis: "size", race: 0.8, club: 1, stop: 1.5 },
  usualLife: { p10: 200, p90: 900 },
  pieceSpread: 0.4,
  runSpread: 0.6,
  breakagePerRun: 0.001,
  checkMinutes: 1,
  check: "Rock the wing by its edge.",
};
const pointers = (answer: Answer) => answer.body.errors?.map((e: { pointer: string }) => e.pointer);

test("every kind that ships with the service is free of contradictions", () => {
  expect(shippedKinds.flatMap((kind) => kindFaults(kind).map((fault) => [kind.code, fault]))).toEqual([]);
});

test("GET /v1/kinds answers every shipped kind whole, and one of them by its code", async () => {
  const all = await service.owner.get("/v1/kinds?limit=500");
  expect(all.status).toBe(200);
  expect(all.body.items.map((kind: { code: string }) => kind.code)).toEqual(
    shippedKinds.map((kind) => kind.code),
  );
  const one = await service.owner.get("/v1/kinds?code=SPR-48");
  expect(one.body.items).toHaveLength(1);
  const { id, shipped, createdAt, version, ...rest } = one.body.items[0];
  expect(rest).toEqual(shippedKinds.find((kind) => kind.code === "SPR-48"));
  expect([shipped, version]).toEqual([true, 1]);
  expect((await service.owner.get(`/v1/kinds/${id}`)).body).toEqual({
    ...rest,
    id,
    shipped,
    createdAt,
    version,
  });
});

test("POST /v1/kinds adds a kind of the club's own, and refuses its code a second time with 409", async () => {
  const made = await service.owner.post("/v1/kinds", wingMount);
  expect(made.status).toBe(201);
  expect(made.body).toMatchObject({
    ...wingMount,
    shipped: false,
    mateCode: null,
    changedTogether: 1,
    version: 1,
  });
  const again = await service.owner.post("/v1/kinds", wingMount);
  expect([again.status, again.body.type]).toEqual([409, "/problems/name_taken"]);
});

test.each([
  ["a life range that runs backwards", { usualLife: { p10: 900, p90: 200 } }, "#/usualLife"],
  [
    "a rising measure with a limit below the as-new size",
    { limits: { basis: "size", race: null, club: 0.05, stop: null } },
    "#/limits/club",
  ],
  [
    "a stop limit that is reached before the club limit",
    { limits: { basis: "size", race: null, club: 1, stop: 0.9 } },
    "#/limits/stop",
  ],
  ["a negative loss", { limits: { basis: "loss", race: null, club: -0.2, stop: null } }, "#/limits/club"],
  ["limits without a measure", { measure: null }, "#/limits"],
  ["a measure without limits", { limits: null }, "#/limits"],
  ["a set of one", { changeRule: "set", changedTogether: 1 }, "#/changedTogether"],
  ["a mate that is not named", { changeRule: "with-mate" }, "#/mateCode"],
  ["a mate that no kind has as its code", { changeRule: "with-mate", mateCode: "NO-SUCH" }, "#/mateCode"],
  ["charge cycles of what is not a pack", { clock: "cycles" }, "#/usedBy"],
])("POST /v1/kinds refuses %s, and says which member to change", async (_, wrong, pointer) => {
  const answer = await service.owner.post("/v1/kinds", { ...wingMount, code: "WRONG", ...wrong });
  expect([answer.status, answer.body.type, pointers(answer)]).toEqual([
    422,
    "/problems/inconsistent",
    [pointer],
  ]);
  expect((await service.owner.get("/v1/kinds?code=WRONG")).body.items).toEqual([]);
});

test("a falling measure takes sizes below the as-new size in falling order, and losses in rising order", async () => {
  const measure = { ...wingMount.measure, direction: "falls", asNew: 10 };
  const falling = {
    ...wingMount,
    code: "FALL-1",
    measure,
    limits: { basis: "size", race: 9, club: 8, stop: 7 },
  };
  expect((await service.owner.post("/v1/kinds", falling)).status).toBe(201);
  const losing = { ...falling, code: "FALL-2", limits: { basis: "loss", race: 1, club: 2, stop: 3 } };
  expect((await service.owner.post("/v1/kinds", losing)).status).toBe(201);
  const rising = { ...falling, code: "FALL-3", limits: { basis: "size", race: 7, club: 8, stop: 9 } };
  expect((await service.owner.post("/v1/kinds", rising)).body.errors).toHaveLength(2);
});

test("PATCH /v1/kinds/{id} keeps what is not given, and refuses what contradicts what is kept", async () => {
  const before = (await service.owner.get("/v1/kinds?code=BRU")).body.items[0];
  const path = `/v1/kinds/${before.id}`;
  const changed = await service.owner.patch(path, { usualLife: { p10: 100, p90: 700 } });
  expect(changed.body).toEqual({ ...before, usualLife: { p10: 100, p90: 700 }, version: 2 });
  const refused = await service.owner.patch(path, { measure: null });
  expect([refused.status, refused.body.type]).toEqual([422, "/problems/inconsistent"]);
  expect((await service.owner.get(path)).body).toEqual(changed.body);
  expect((await service.owner.patch(path, { clock: "runs" })).status).toBe(422);
});

test("car models and venues are added, read, listed, changed, and refused under a name that is taken", async () => {
  const cases = [
    {
      path: "/v1/car-models",
      body: { name: "Thornbill", discipline: "touring" },
      change: { internalRatio: 2 },
    },
    {
      path: "/v1/venues",
      body: { name: "Ferris Lane", surface: "asphalt" },
      change: { direction: "clockwise" },
    },
  ];
  for (const { path, body, change } of cases) {
    const made = await service.owner.post(path, body);
    expect([made.status, made.body.notes]).toEqual([201, null]);
    expect((await service.owner.get(`${path}/${made.body.id}`)).body).toEqual(made.body);
    expect((await service.owner.get(path)).body.items).toEqual([made.body]);
    const changed = await service.owner.patch(`${path}/${made.body.id}`, change);
    expect(changed.body).toEqual({ ...made.body, ...change, version: 2 });
    expect((await service.owner.post(path, body)).status).toBe(409);
    expect((await service.owner.get(`${path}/unknown`)).status).toBe(404);
  }
});

test("a discipline is one lower-case word, so that cars and meetings can be matched by it", async () => {
  const answer = await service.owner.post("/v1/car-models", { name: "Currawong", discipline: "Touring Car" });
  expect(answer.status).toBe(422);
  expect(answer.body.detail).toContain("lower-case words joined by hyphens");
});

test("a driver, the shop and a reader read the catalogue, and only an owner writes it", async () => {
  const driver = (await service.owner.must("POST", "/v1/drivers", { name: "Mara Tindle" })).id;
  for (const caller of [
    await service.as("driver", driver),
    await service.as("shop"),
    await service.as("reader"),
  ])
    for (const path of ["/v1/kinds", "/v1/car-models", "/v1/venues"]) {
      expect((await caller.get(path)).status).toBe(200);
      expect((await caller.post(path, {})).status).toBe(403);
    }
});
