import { sql } from "kysely";
import type { Queries } from "./database.ts";
import type { Page, PageRequest } from "./records.ts";
import type { LineRow } from "./tables.ts";

/** A line with what people know its kind and supplier by, and the car models it fits. */
export interface LineShown extends LineRow {
  kindCode: string;
  supplierName: string | null;
  fits: string[];
}

export interface LineFilter {
  id?: string | undefined;
  kindId?: string | undefined;
  sku?: string | undefined;
  /** any of these texts of one number */
  gtins?: readonly string[] | undefined;
  carModelId?: string | undefined;
  supplierId?: string | undefined;
}

/** A page of lines that meet the filter, in the order in which they were added. */
export async function pageOfLines(
  q: Queries,
  clubId: string,
  { limit, after }: PageRequest,
  filter: LineFilter = {},
): Promise<Page<LineShown>> {
  const { id, kindId, sku, gtins, carModelId, supplierId } = filter;
  const rows = await q
    .selectFrom("lines")
    .innerJoin("kinds", "kinds.id", "lines.kindId")
    .leftJoin("suppliers", "suppliers.id", "lines.supplierId")
    .selectAll("lines")
    .select(["kinds.code as kindCode", "suppliers.name as supplierName"])
    .where("lines.clubId", "=", clubId)
    .$if(id !== undefined, (s) => s.where("lines.id", "=", id!))
    .$if(kindId !== undefined, (s) => s.where("lines.kindId", "=", kindId!))
    .$if(sku !== undefined, (s) => s.where("lines.sku", "=", sku!))
    .$if(gtins !== undefined, (s) => s.where("lines.gtin", "in", gtins!))
    .$if(supplierId !== undefined, (s) => s.where("lines.supplierId", "=", supplierId!))
    .$if(carModelId !== undefined, (s) =>
      s.where("lines.id", "in", (e) =>
        e.selectFrom("lineFits").select("lineId").where("carModelId", "=", carModelId!),
      ),
    )
    .$if(after !== null, (s) => s.where("lines.id", ">", after!.id))
    .orderBy("lines.id")
    .limit(limit + 1)
    .execute();
  const shown = rows.slice(0, limit);
  const fits = await fitsOf(
    q,
    shown.map((line) => line.id),
  );
  const items = shown.map((line) => ({ ...line, fits: fits.get(line.id) ?? [] }));
  const last = items.at(-1);
  return {
    items,
    next: rows.length > limit && last !== undefined ? { key: last.id, id: last.id } : null,
  };
}

async function fitsOf(q: Queries, lineIds: readonly string[]): Promise<Map<string, string[]>> {
  const fits = new Map<string, string[]>();
  if (lineIds.length === 0) return fits;
  const rows = await q
    .selectFrom("lineFits")
    .select(["lineId", "carModelId"])
    .where("lineId", "in", lineIds)
    .orderBy("id")
    .execute();
  for (const { lineId, carModelId } of rows) fits.set(lineId, [...(fits.get(lineId) ?? []), carModelId]);
  return fits;
}

/** Says anew which car models a line fits. */
export async function replaceFits(
  q: Queries,
  clubId: string,
  lineId: string,
  carModelIds: readonly string[],
  newId: () => string,
): Promise<void> {
  await q.deleteFrom("lineFits").where("lineId", "=", lineId).execute();
  if (carModelIds.length === 0) return;
  const rows = carModelIds.map((carModelId) => ({ id: newId(), clubId, lineId, carModelId }));
  await q.insertInto("lineFits").values(rows).execute();
}

/** Says that what the fits of these lines rest on has changed: one line, or every line of a kind. */
export async function countEvidenceOfLines(
  q: Queries,
  clubId: string,
  of: { lineId: string } | { kindId: string },
): Promise<void> {
  await q
    .updateTable("lines")
    .set((e) => ({ evidence: e("evidence", "+", 1) }))
    .where("clubId", "=", clubId)
    .where("lineId" in of ? "id" : "kindId", "=", "lineId" in of ? of.lineId : of.kindId)
    .execute();
}

/** Was any piece of the kind ever measured? Then its unit and direction are settled. */
export async function isKindMeasured(q: Queries, kindId: string): Promise<boolean> {
  const found = await q
    .selectFrom("readings")
    .innerJoin("pieces", "pieces.id", "readings.pieceId")
    .innerJoin("lines", "lines.id", "pieces.lineId")
    .select(sql<number>`1`.as("found"))
    .where("lines.kindId", "=", kindId)
    .limit(1)
    .executeTakeFirst();
  return found !== undefined;
}
