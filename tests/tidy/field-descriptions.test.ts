import { readFileSync } from "node:fs";
import { describe, expect, test } from "vitest";
import { byPlace } from "../../src/http/field-words.ts";

type Shape = Record<string, unknown>;
const isShape = (value: unknown): value is Shape =>
  typeof value === "object" && value !== null && !Array.isArray(value);
const listOf = (value: unknown): unknown[] => (Array.isArray(value) ? value : []);
const membersOf = (value: unknown): [string, Shape][] =>
  isShape(value) ? (Object.entries(value) as [string, Shape][]) : [];

const description = JSON.parse(readFileSync("openapi/openapi.json", "utf8")) as {
  paths: Record<string, Record<string, Shape>>;
  components: { schemas: Record<string, Shape>; responses: Record<string, Shape> };
};

interface Field {
  place: string;
  schema: Shape;
  says: string;
}

/** Every field below a schema; array items and alternatives leave no trace in the place. */
function fieldsOf(schema: unknown, place: string): Field[] {
  if (!isShape(schema)) return [];
  const below = membersOf(schema["properties"]).flatMap(([name, member]) => [
    { place: `${place}.${name}`, schema: member, says: String(member["description"] ?? "") },
    ...fieldsOf(member, `${place}.${name}`),
  ]);
  const same = [
    schema["items"],
    schema["additionalProperties"],
    ...["anyOf", "oneOf", "allOf"].flatMap((key) => listOf(schema[key])),
  ];
  return [...below, ...same.flatMap((one) => fieldsOf(one, place))];
}

const mediaOf = (body: unknown): Shape[] =>
  isShape(body) ? membersOf(body["content"]).map(([, media]) => media) : [];
const operations = Object.values(description.paths).flatMap((item) =>
  Object.values(item).filter((one) => one["operationId"] !== undefined),
);
const parameters = operations.flatMap((operation) =>
  (listOf(operation["parameters"]) as Shape[]).map((parameter) => {
    const schema = (parameter["schema"] ?? {}) as Shape;
    const says = String(parameter["description"] ?? schema["description"] ?? "");
    return { place: `${String(operation["operationId"])}.${String(parameter["name"])}`, schema, says };
  }),
);
const fields = [
  ...membersOf(description.components.schemas).flatMap(([name, schema]) => fieldsOf(schema, name)),
  ...operations.flatMap((operation) =>
    [operation["requestBody"], ...Object.values((operation["responses"] ?? {}) as Shape)].flatMap((body) =>
      mediaOf(body).flatMap((media) => fieldsOf(media["schema"], String(operation["operationId"]))),
    ),
  ),
  ...parameters,
];

const wordsOf = (text: string): string =>
  text
    .replace(/[^a-z]+/gi, " ")
    .trim()
    .toLowerCase();
const spaced = (name: string): string => wordsOf(name.replace(/[A-Z]/g, (letter) => ` ${letter}`));
/** What a number may be counted or measured in, or be instead. */
const units =
  /minute|hour|days?\b|moment|year|month|\bruns?\b|\bmm\b|gram|bytes|piece|pack|share|chance|0 to 1|unit|usage|clock|ratio|times|\bages?\b|cost|money|price|degrees|teeth|tooth|modules|factor|deviation|coefficient|power|score|logarithm|percentile|median|number of|how many|grades?\b|reading|things|counts|version|position|lowest|highest|module in|meetings|drivers|cars|lines|items|rows?\b|breakages|wear|limit|lives|life|looks?\b|pages?\b|evenings|forecasts|knock|hits|cycles|seconds|status|shape|scale|variance|supplier|failed|draw|pixels/i;

describe("the description of the interface", () => {
  test("says something of every field and every parameter, and not its name alone", () => {
    expect(fields.length).toBeGreaterThan(2000);
    const silent = fields.filter(
      ({ place, says }) => wordsOf(says).length < 4 || wordsOf(says) === spaced(place.split(".").at(-1)!),
    );
    expect(silent.map(({ place, says }) => `${place}: ${says}`)).toEqual([]);
  });

  test("says of every number what it is counted or measured in", () => {
    const numbers = fields.filter(({ schema }) =>
      [schema["type"]].flat().some((type) => type === "number" || type === "integer"),
    );
    expect(numbers.length).toBeGreaterThan(500);
    const bare = numbers.filter(({ says }) => !units.test(says));
    expect(bare.map(({ place, says }) => `${place}: ${says}`)).toEqual([]);
  });

  test.each([
    [/Minutes$/, /minute/],
    [/Hours$/, /hour/],
    [/Days$/, /day|difference/],
    [/Mm$/, /\bmm\b|millimetre/],
    [/Grams$/, /gram|weigh/],
    [/MinorUnits$/, /minor units|price|cost|save|spen|minimum|money/i],
  ])("names the unit that the field names: %s", (name, unit) => {
    const named = fields.filter(({ place }) => name.test(place));
    expect(named.length).toBeGreaterThan(0);
    expect(
      named.filter(({ says }) => !unit.test(says)).map(({ place, says }) => `${place}: ${says}`),
    ).toEqual([]);
  });

  test("has a use for every description that is kept apart from its field", () => {
    const used = new Map(fields.map(({ place, says }) => [place, says]));
    expect(Object.entries(byPlace).filter(([place, says]) => used.get(place) !== says)).toEqual([]);
  });

  test("says what every operation answers", () => {
    const answers = operations.flatMap(({ responses }) =>
      Object.values((responses ?? {}) as Shape),
    ) as Shape[];
    expect(answers.length).toBeGreaterThan(500);
    expect(answers.filter((one) => one["$ref"] === undefined && !one["description"])).toEqual([]);
    const shared = Object.values(description.components.responses);
    expect(shared.filter((one) => !one["description"])).toEqual([]);
  });
});
