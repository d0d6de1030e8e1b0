import { DomainError } from "../domain/errors.ts";

/** Where a value occurs in what was sent, as JSON pointers. */
function placesOf(value: unknown, wanted: string, at: string): string[] {
  if (value === wanted) return [at];
  if (typeof value !== "object" || value === null) return [];
  return Object.entries(value).flatMap(([name, member]) =>
    placesOf(member, wanted, `${at}/${name.replaceAll("~", "~0").replaceAll("/", "~1")}`),
  );
}

/**
 * The same refusal with the members of the body or query that gave an id which nothing has. An id of the path is said
 * by the path itself.
 */
export function withPlaces(
  error: unknown,
  sent: { params: unknown; query: unknown; body: unknown },
): unknown {
  if (!(error instanceof DomainError) || error.unknownId === null || error.faults.length > 0) return error;
  const { unknownId, code, message } = error;
  if (placesOf(sent.params, unknownId, "#").length > 0) return error;
  const pointers = [...placesOf(sent.query, unknownId, "#"), ...placesOf(sent.body, unknownId, "#")];
  const faults = pointers.map((pointer) => ({ pointer, detail: message }));
  return new DomainError(code, message, faults, unknownId);
}
