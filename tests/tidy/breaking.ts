/**
 * What a change of the API's description breaks for a program that was made from an earlier one: things that are gone,
 * requests that are no longer taken, answers that may be other than was said. What is only added breaks nothing, for
 * clients let pass what they do not know.
 */

type Json = Record<string, any>;

const methods = ["get", "put", "post", "patch", "delete"] as const;

/** Every break between two descriptions, in words; nothing where the later one keeps all that the earlier one said. */
export function breaksBetween(before: Json, after: Json): string[] {
  const breaks: string[] = [];
  for (const [path, item] of Object.entries<Json>(before["paths"]))
    for (const method of methods) {
      const was: Json | undefined = item[method];
      if (was === undefined) continue;
      const name = `${method.toUpperCase()} ${path}`;
      const is: Json | undefined = after["paths"][path]?.[method];
      if (is === undefined) breaks.push(`${name} is gone`);
      else breaks.push(...new Operations(before, after).compared(was, is).map((what) => `${name}: ${what}`));
    }
  return breaks;
}

class Operations {
  readonly #before: Json;
  readonly #after: Json;
  /** pairs of components that are being compared already: a schema may contain itself */
  readonly #underWay = new Set<string>();
  constructor(before: Json, after: Json) {
    this.#before = before;
    this.#after = after;
  }

  compared(was: Json, is: Json): string[] {
    return [
      ...(was["operationId"] === is["operationId"]
        ? []
        : [`its operationId ${was["operationId"]} became ${is["operationId"]}`]),
      ...((was["security"]?.length ?? 0) === 0 && (is["security"]?.length ?? 0) > 0
        ? ["needs a key now"]
        : []),
      ...this.#parameters(was["parameters"] ?? [], is["parameters"] ?? []),
      ...this.#body(was["requestBody"], is["requestBody"]),
      ...this.#answers(was["responses"], is["responses"]),
    ];
  }

  #parameters(was: Json[], is: Json[]): string[] {
    const key = (one: Json) => `${one["in"]} parameter ${one["name"]}`;
    const now = new Map(is.map((one) => [key(one), one]));
    const known = new Set(was.map(key));
    return [
      ...was.flatMap((one) => {
        const same = now.get(key(one));
        if (same === undefined) return [`${key(one)} is gone`];
        const tighter =
          same["required"] === true && one["required"] !== true ? [`${key(one)} is required now`] : [];
        return [...tighter, ...this.#asked(one["schema"], same["schema"], key(one))];
      }),
      ...is
        .filter((one) => one["required"] === true && !known.has(key(one)))
        .map((one) => `${key(one)} is new and required`),
    ];
  }

  #body(was: Json | undefined, is: Json | undefined): string[] {
    if (was === undefined) return is?.["required"] === true ? ["a body is required now"] : [];
    if (is === undefined) return ["takes no body any more"];
    return Object.entries<Json>(was["content"]).flatMap(([type, { schema }]) => {
      const same = is["content"][type];
      return same === undefined
        ? [`takes no ${type} any more`]
        : this.#asked(schema, same.schema, "the body");
    });
  }

  #answers(was: Json, is: Json): string[] {
    return Object.entries<Json>(was).flatMap(([status, one]) => {
      const same = is[status];
      // A refusal that no longer happens is no loss.
      if (same === undefined) return Number(status) >= 400 ? [] : [`no longer answers ${status}`];
      const [old, young] = [this.#resolved(one, "before"), this.#resolved(same, "after")];
      return Object.entries<Json>(old["content"] ?? {}).flatMap(([type, { schema }]) => {
        const now = young["content"]?.[type];
        return now === undefined
          ? [`${status} has no ${type} any more`]
          : this.#told(schema, now.schema, `answer ${status}`);
      });
    });
  }

  /** What a client sends: all that was taken before must be taken now. */
  #asked = (was: Json, is: Json, where: string) =>
    this.#within({ schema: is, side: "after" }, { schema: was, side: "before" }, where);
  /** What a client reads: nothing may come that could not come before. */
  #told = (was: Json, is: Json, where: string) =>
    this.#within({ schema: was, side: "before" }, { schema: is, side: "after" }, where);

  #document = (side: Side): Json => (side === "before" ? this.#before : this.#after);

  #resolved(value: Json, side: Side): Json {
    let found = value;
    for (let hop = 0; hop < 10 && typeof found["$ref"] === "string"; hop++) {
      const { $ref, ...beside } = found;
      const target = ($ref as string)
        .slice(2)
        .split("/")
        .reduce<Json>((at, part) => at[part], this.#document(side));
      found = { ...target, ...beside };
    }
    return found;
  }

  /** The forms that a value may take: the branches of anyOf and oneOf, and each type of a list of types. */
  #forms(schema: Json, side: Side): Json[] {
    const plain = this.#resolved(schema, side);
    const branches: Json[] | undefined = plain["anyOf"] ?? plain["oneOf"];
    if (branches !== undefined) return branches.flatMap((branch) => this.#forms(branch, side));
    return Array.isArray(plain["type"]) ? plain["type"].map((type: string) => ({ ...plain, type })) : [plain];
  }

  /** What `narrow` may be that `wide` may not, in words. */
  #within(wide: Sided, narrow: Sided, where: string): string[] {
    // Only a component can contain itself, by its name.
    const [one, other] = [wide.schema["$ref"], narrow.schema["$ref"]];
    const pair = one === undefined || other === undefined ? undefined : `${wide.side} ${one} ${other}`;
    if (pair !== undefined && this.#underWay.has(pair)) return [];
    if (pair !== undefined) this.#underWay.add(pair);
    const allowed = this.#forms(wide.schema, wide.side);
    const found = this.#forms(narrow.schema, narrow.side).flatMap((form) => {
      const tries = allowed.map((one) => this.#formWithin(one, wide.side, form, narrow.side, where));
      // The branch that comes nearest says best what is wrong.
      return tries.sort((a, b) => a.length - b.length)[0] ?? [];
    });
    if (pair !== undefined) this.#underWay.delete(pair);
    return found;
  }

  #formWithin(wide: Json, wideSide: Side, narrow: Json, narrowSide: Side, where: string): string[] {
    if (wide["type"] !== undefined && wide["type"] !== narrow["type"]) {
      const number = wide["type"] === "number" && narrow["type"] === "integer";
      if (!number)
        return [
          `${where} may be ${narrow["type"] ?? "anything"}${wideSide === "after" ? ", which is not taken now" : " now"}`,
        ];
    }
    return [
      ...valuesWithin(wide, narrow, where),
      ...boundsWithin(wide, narrow, where),
      ...this.#membersWithin(wide, wideSide, narrow, narrowSide, where),
      ...(wide["items"] && narrow["items"]
        ? this.#within(
            { schema: wide["items"], side: wideSide },
            { schema: narrow["items"], side: narrowSide },
            `${where}[]`,
          )
        : []),
    ];
  }

  #membersWithin(wide: Json, wideSide: Side, narrow: Json, narrowSide: Side, where: string): string[] {
    const [mine, theirs]: [Json, Json] = [wide["properties"] ?? {}, narrow["properties"] ?? {}];
    const [was, is] = wideSide === "before" ? [mine, theirs] : [theirs, mine];
    const sure = new Set<string>(narrow["required"] ?? []);
    return [
      ...Object.keys(was)
        .filter((name) => !(name in is))
        .map((name) => `${where}.${name} is gone`),
      ...((wide["required"] ?? []) as string[])
        .filter((name) => !sure.has(name) && (wideSide === "after" || name in theirs))
        .map(
          (name) => `${where}.${name} is ${wideSide === "after" ? "required now" : "not always there now"}`,
        ),
      ...Object.keys(mine)
        .filter((name) => name in theirs)
        .flatMap((name) =>
          this.#within(
            { schema: mine[name], side: wideSide },
            { schema: theirs[name], side: narrowSide },
            `${where}.${name}`,
          ),
        ),
    ];
  }
}

type Side = "before" | "after";
interface Sided {
  schema: Json;
  side: Side;
}

function valuesWithin(wide: Json, narrow: Json, where: string): string[] {
  const valuesOf = (schema: Json): unknown[] | undefined =>
    "const" in schema ? [schema["const"]] : schema["enum"];
  const [allowed, found] = [valuesOf(wide), valuesOf(narrow)];
  if (allowed === undefined) return [];
  if (found === undefined) return [`${where} is limited to ${allowed.join(", ")} on one side only`];
  return found
    .filter((value) => !allowed.includes(value))
    .map((value) => `${where} may be ${JSON.stringify(value)} on one side only`);
}

const lowest = ["minimum", "exclusiveMinimum", "minLength", "minItems"];
const highest = ["maximum", "exclusiveMaximum", "maxLength", "maxItems"];

function boundsWithin(wide: Json, narrow: Json, where: string): string[] {
  const tighter = (names: readonly string[], beyond: (bound: number, other: number) => boolean) =>
    names
      .filter((name) => typeof wide[name] === "number")
      .filter((name) => typeof narrow[name] !== "number" || beyond(wide[name], narrow[name]))
      .map((name) => `${where} has another ${name}`);
  const words = ["pattern", "format"]
    .filter((name) => wide[name] !== undefined && wide[name] !== narrow[name])
    .map((name) => `${where} has another ${name}`);
  return [...tighter(lowest, (a, b) => a > b), ...tighter(highest, (a, b) => a < b), ...words];
}

/** May two versions differ in what they promise? The first number says so, and before 1.0.0 the second (semver.org, 4 and 8). */
export function promisesTheSame(released: string, current: string): boolean {
  const [a, b] = [released, current].map((version) => version.split("."));
  return a![0] === b![0] && (a![0] !== "0" || a![1] === b![1]);
}
