import { openApiDocument } from "../../src/http/document.ts";
import { operations } from "../../src/http/routes/index.ts";

/** An answer of the description: its media types, in `content`. */
type Described = Record<string, { content?: Record<string, unknown> }>;

let described: { method: string; path: RegExp; answers: Described }[] | undefined;
/** Built when first asked for; a fixed path stands before one with a parameter, as in the routes. */
const known = () => {
  if (described !== undefined) return described;
  const { paths, components } = JSON.parse(JSON.stringify(openApiDocument(operations, "0.0.0"))) as {
    paths: Record<string, Record<string, { responses: Record<string, { $ref?: string }> }>>;
    components: { responses: Described };
  };
  const answersOf = (responses: Record<string, { $ref?: string }>): Described =>
    Object.fromEntries(
      Object.entries(responses).map(([status, { $ref, ...one }]) => [
        status,
        $ref === undefined ? one : components.responses[$ref.split("/").at(-1)!]!,
      ]),
    );
  described = operations.map(({ spec: { method, path } }) => ({
    method: method.toUpperCase(),
    path: new RegExp(`^${path.replaceAll(".", "\\.").replaceAll(/\{\w+\}/g, "[^/]+")}$`),
    answers: answersOf(paths[path]![method]!.responses),
  }));
  return described;
};

/**
 * Every answer that a test gets of a known operation must be one that the description names, status and media type,
 * or a client made from the description would meet what nobody told it of.
 *
 * @throws Error naming what the description lacks
 */
export function insistOnDocumented(
  method: string,
  path: string,
  { status, headers }: Pick<Response, "status" | "headers">,
): void {
  const bare = path.replace(/[?#].*$/, "");
  const asked = method === "HEAD" ? "GET" : method;
  const found = known().find((one) => one.method === asked && one.path.test(bare));
  if (found === undefined) return;
  const answer = found.answers[status];
  if (answer === undefined) throw new Error(`${method} ${bare} answers ${status}, which is not documented`);
  const plain = (type: string) => type.split(";")[0]!.trim();
  const type = plain(headers.get("content-type") ?? "");
  const types = Object.keys(answer.content ?? {}).map(plain);
  if (type !== "" && !types.includes(type))
    throw new Error(`${method} ${bare} answers ${status} with ${type}; documented: ${types.join(", ")}`);
}
