import { createHash } from "node:crypto";
import { existsSync, readdirSync, readFileSync } from "node:fs";
import { describe, expect, it } from "vitest";
import { version } from "../../src/app.ts";
import { openApiDocument } from "../../src/http/document.ts";
import { operations } from "../../src/http/routes/index.ts";
import { breaksBetween, promisesTheSame } from "./breaking.ts";

const folder = "openapi/released";
const text = JSON.stringify(openApiDocument(operations, version));
/** The present description, each time a new one to be changed. */
const current = () => JSON.parse(text);

/** The sha256 of each released description: a program may have been made from it, so it stays as it is. */
const digests: Record<string, string> = {
  "0.1.0.json": "50607a0b8c4e6f639e19914fe577db2ec5fac4f8dfe74a86fc7f91d0f2d126a7",
  "0.2.0.json": "5ddbf54c0187b0aeb2a363b0aee51044f3485cca4757baa985ecd6f83eb9179b",
};
const digestOf = (content: string | Buffer) => createHash("sha256").update(content).digest("hex");

describe("the description of each released version", () => {
  const files = existsSync(folder) ? readdirSync(folder).filter((name) => name.endsWith(".json")) : [];

  it("is kept, under the version that it describes", () => {
    expect(files.length).toBeGreaterThan(0);
    for (const file of files)
      expect(JSON.parse(readFileSync(`${folder}/${file}`, "utf8")).info.version).toBe(
        file.replace(/\.json$/, ""),
      );
  });

  it("is never rewritten: its digest stands in this test (DEVELOPERS.md says how one is added)", () => {
    const found = files.map((file) => [file, digestOf(readFileSync(`${folder}/${file}`))]);
    expect(Object.fromEntries(found)).toEqual(digests);
  });

  it.each(files)("%s is not broken by the present one, unless its version says that it may be", (file) => {
    const released = JSON.parse(readFileSync(`${folder}/${file}`, "utf8"));
    if (promisesTheSame(released.info.version, version))
      expect(breaksBetween(released, current())).toEqual([]);
  });

  it("is that of the present version where it is the latest, unless something was broken since", () => {
    const [latest] = files
      .map((file) => file.replace(/\.json$/, ""))
      .sort((a, b) => b.localeCompare(a, "en", { numeric: true }));
    const released = JSON.parse(readFileSync(`${folder}/${latest}.json`, "utf8"));
    const raised = !promisesTheSame(latest!, version);
    expect(breaksBetween(released, current()).length > 0).toBe(raised);
    const broken = current();
    delete broken.paths["/v1/restock-list"];
    expect(breaksBetween(released, broken).join("\n")).toContain("GET /v1/restock-list is gone");
  });

  it("may be broken by the next first number only, and before 1.0.0 by the second", () => {
    expect(promisesTheSame("1.2.3", "1.9.0")).toBe(true);
    expect(promisesTheSame("1.2.3", "2.0.0")).toBe(false);
    expect(promisesTheSame("0.1.0", "0.1.7")).toBe(true);
    expect(promisesTheSame("0.1.0", "0.2.0")).toBe(false);
  });
});

const pathOf = (document: any, operationId: string): any =>
  Object.values<any>(document.paths)
    .flatMap((item) => Object.values<any>(item))
    .find((one) => one.operationId === operationId);
const parameter = (operation: any, name: string) =>
  operation.parameters.find((one: any) => one.name === name);
const bodyOf = (operation: any) => operation.requestBody.content["application/json"].schema;
const component = (document: any, name: string) => document.components.schemas[name];

/** Changes of the real description that break something, and what the check has to say about each. */
const planted: [what: string, plant: (document: any) => void, said: string][] = [
  ["a path that is gone", (d) => delete d.paths["/v1/restock-list"], "GET /v1/restock-list is gone"],
  ["a method that is gone", (d) => delete d.paths["/v1/lines/{id}"].patch, "PATCH /v1/lines/{id} is gone"],
  [
    "an operation under another name",
    (d) => {
      pathOf(d, "restockList").operationId = "buyList";
    },
    "operationId restockList became buyList",
  ],
  [
    "a query parameter that is gone",
    (d) => {
      const list = pathOf(d, "restockList");
      list.parameters = list.parameters.filter((one: any) => one.name !== "target");
    },
    "query parameter target is gone",
  ],
  [
    "a parameter that became required",
    (d) => {
      parameter(pathOf(d, "restockList"), "target").required = true;
    },
    "query parameter target is required now",
  ],
  [
    "a new parameter that is required",
    (d) => {
      pathOf(d, "restockList").parameters.push({ name: "shop", in: "query", required: true, schema: {} });
    },
    "query parameter shop is new and required",
  ],
  [
    "a parameter with narrower bounds",
    (d) => {
      parameter(pathOf(d, "restockList"), "target").schema.maximum = 0.9;
    },
    "another maximum",
  ],
  [
    "a parameter that lost a choice",
    (d) => {
      const { schema } = parameter(pathOf(d, "forecastPiece"), "limit");
      schema.enum = schema.enum.filter((one: string) => one !== "stop");
    },
    '"stop"',
  ],
  [
    "a member of a body that is required now",
    (d) => {
      bodyOf(pathOf(d, "addDriver")).required.push("notes");
    },
    "the body.notes is required now",
  ],
  [
    "a member of a body that is gone",
    (d) => {
      delete bodyOf(pathOf(d, "addDriver")).properties.notes;
    },
    "the body.notes is gone",
  ],
  [
    "a shorter text in a body",
    (d) => {
      bodyOf(pathOf(d, "addDriver")).properties.name.maxLength = 3;
    },
    "the body.name has another maxLength",
  ],
  [
    "a body that became another type",
    (d) => {
      bodyOf(pathOf(d, "addDriver")).properties.name = { type: "integer" };
    },
    "the body.name may be string",
  ],
  [
    "an answer that lost a member",
    (d) => {
      delete component(d, "Forecast").properties.cautions;
    },
    "answer 200.cautions is gone",
  ],
  [
    "an answer whose member is not sure any more",
    (d) => {
      const forecast = component(d, "Forecast");
      forecast.required = forecast.required.filter((name: string) => name !== "usage");
    },
    "answer 200.usage is not always there now",
  ],
  [
    "an answer whose member may be null now",
    (d) => {
      component(d, "Forecast").properties.usage = { anyOf: [{ type: "number" }, { type: "null" }] };
    },
    "answer 200.usage may be null now",
  ],
  [
    "an answer with a new word in a list that was closed",
    (d) => {
      component(d, "BenchEntry").properties.advice.enum.push("throw away");
    },
    '"throw away"',
  ],
  [
    "a status that is gone",
    (d) => {
      delete pathOf(d, "addDriver").responses["201"];
    },
    "no longer answers 201",
  ],
  [
    "a media type that is gone",
    (d) => {
      pathOf(d, "wearPicture").responses["200"].content = { "image/png": { schema: { type: "string" } } };
    },
    "200 has no image/svg+xml any more",
  ],
  [
    "an operation that needs a key now",
    (d) => {
      pathOf(d, "readCalendarFeed").security = [{ key: [] }];
    },
    "needs a key now",
  ],
];

describe("the check of what a change breaks", () => {
  it.each(planted)("sees %s", (_, plant, said) => {
    const changed = current();
    plant(changed);
    expect(breaksBetween(current(), changed).join("\n")).toContain(said);
  });

  it("finds nothing in the description itself, in what is added, and in what is allowed more widely", () => {
    const changed = current();
    expect(breaksBetween(current(), changed)).toEqual([]);
    changed.paths["/v1/new"] = { get: { operationId: "new", responses: {} } };
    component(changed, "Forecast").properties.mood = { type: "string" };
    component(changed, "Forecast").required.push("mood");
    bodyOf(pathOf(changed, "addDriver")).properties.name.maxLength = 5000;
    bodyOf(pathOf(changed, "addDriver")).properties.colour = { type: "string" };
    const list = pathOf(changed, "restockList");
    list.parameters.push({ name: "shop", in: "query", schema: { type: "string" } });
    parameter(list, "target").schema.maximum = 1;
    parameter(pathOf(changed, "forecastPiece"), "limit").schema.enum.push("any");
    list.responses["418"] = { description: "new refusal" };
    component(changed, "Forecast").description = "in other words";
    expect(breaksBetween(current(), changed)).toEqual([]);
  });
});
