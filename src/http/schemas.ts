import { z } from "zod";
import { earliestMoment, tooEarly } from "../domain/moment.ts";

/** Building blocks that every route shares: texts, ids, times, pages. */

/** Text without NUL, which SQLite stores and PostgreSQL refuses; white space at the ends is dropped. */
export const text = (max: number) =>
  z
    .string()
    .trim()
    .min(1, "must not be empty")
    .max(max, `must have at most ${max} characters`)
    .refine((s) => !s.includes("\0"), "must not contain the character NUL");

export const Notes = text(2000).nullable().meta({ description: "free text" });

export const Id = text(64).meta({
  id: "Id",
  description: "identifier",
  example: "0192f0c1-7c1e-7b6a-9c1d-2f6a1b3c4d5e",
});
export const ById = z.object({ id: Id });

/** A moment as sent: RFC 3339 with an offset. It is kept in UTC with milliseconds. */
export const InstantIn = z.iso
  .datetime({
    offset: true,
    error: 'must be an RFC 3339 time with an offset, such as "2026-11-29T18:30:00+11:00"',
  })
  .refine((s) => Date.parse(s) >= Date.parse(earliestMoment), tooEarly)
  .transform((s) => new Date(s).toISOString())
  .meta({
    description: "moment, RFC 3339 with offset; not before 1980",
    example: "2026-11-29T18:30:00+11:00",
  });
export const Instant = z.iso
  .datetime()
  .meta({ description: "moment in UTC, RFC 3339", example: "2026-11-29T07:30:00.000Z" });
export const Day = z.iso
  .date({ error: 'must be a day as YYYY-MM-DD, such as "2027-02-07"' })
  .meta({ description: "calendar day, RFC 3339 full-date", example: "2027-02-07" });

export const Version = z
  .number()
  .int()
  .meta({ description: "counts the changes of this record", example: 1 });
export const MinorUnits = z.number().int().min(0).max(1e12).meta({
  description: "money in whole minor units of the currency (ISO 4217), such as cents",
  example: 900,
});
export const Currency = z
  .string()
  .regex(/^[A-Z]{3}$/, "must be a currency code of ISO 4217 such as AUD")
  .meta({ description: "currency code, ISO 4217", example: "AUD" });

export const positive = z.number().gt(0, "must be greater than 0").max(1e9);

const cursorOf = (next: { key: string | number; id: string } | null) =>
  next === null ? null : Buffer.from(JSON.stringify([next.key, next.id])).toString("base64url");

const Cursor = z
  .string()
  .max(400)
  .transform((s, issues) => {
    try {
      const [key, id] = JSON.parse(Buffer.from(s, "base64url").toString()) as [unknown, unknown];
      if ((typeof key === "string" || typeof key === "number") && typeof id === "string") return { key, id };
    } catch {
      // falls through to the message below
    }
    issues.addIssue({ code: "custom", message: 'must be the "next" of an earlier page' });
    return z.NEVER;
  });

/** Query numbers are digits only: `z.coerce.number` would turn "" into 0 and "0x10" into 16. */
const queryDigits = (form: RegExp, wanted: string, { min, max }: { min: number; max: number }) =>
  z
    .string({ error: ({ input }) => (input === undefined ? `is missing; it must be ${wanted}` : undefined) })
    .regex(form, `must be ${wanted}`)
    .transform(Number)
    .refine((n) => n >= min && n <= max, `must be ${wanted}`);

export const queryInteger = (min: number, max: number, description: string) =>
  queryDigits(/^\d{1,9}$/, `a whole number from ${min} to ${max}`, { min, max }).meta({
    description,
    override: { type: "integer", minimum: min, maximum: max },
  });

export const queryNumber = (min: number, max: number, description: string) =>
  queryDigits(/^\d{1,9}(\.\d{1,9})?$/, `a number from ${min} to ${max}`, { min, max }).meta({
    description,
    override: { type: "number", minimum: min, maximum: max },
  });

/** A query member that is true or false, by those two words only: `z.stringbool` would take a dozen. */
export const queryFlag = (description: string) =>
  z
    .enum(["true", "false"], { error: "must be true or false" })
    .transform((word) => word === "true")
    .optional()
    .meta({ description, override: { type: "boolean" } });

export const PageQuery = {
  limit: queryInteger(1, 500, "how many items a page has at most; 100 if not given").optional(),
  after: Cursor.optional().meta({
    description: "the `next` of the page before",
    override: { type: "string" },
  }),
};

/** The page that a query asks for. */
export const pageFrom = (query: {
  limit?: number | undefined;
  after?: { key: string | number; id: string } | undefined;
}) => ({ limit: query.limit ?? 100, after: query.after ?? null });

export const pageOf = <T extends z.ZodType>(item: T, id: string) =>
  z
    .object({
      items: z.array(item),
      next: z
        .string()
        .nullable()
        .meta({ description: "give it as `after` for the next page; null on the last one" }),
    })
    .meta({ id });

/** A page as it is answered: the items, the cursor, and the same as a Link header (RFC 8288). */
export function pageReply<Row, Item>(
  page: { items: Row[]; next: { key: string | number; id: string } | null },
  item: (row: Row) => Item,
  url: string,
): { status: 200; body: { items: Item[]; next: string | null }; headers: Record<string, string> } {
  const next = cursorOf(page.next);
  const headers: Record<string, string> = {};
  if (next !== null) {
    const { pathname, searchParams } = new URL(url);
    searchParams.set("after", next);
    headers["link"] = `<${pathname}?${searchParams}>; rel="next"`;
  }
  return { status: 200, body: { items: page.items.map(item), next }, headers };
}
