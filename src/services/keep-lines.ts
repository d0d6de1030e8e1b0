import { DomainError, type Fault } from "../domain/errors.ts";
import type { KindDetails, LifeRange, Limits } from "../domain/kind.ts";
import { lifeFaults, limitsFaults } from "../domain/kind-rules.ts";
import { belowZero } from "../domain/piece-size.ts";
import { selectClub } from "../storage/clubs.ts";
import type { Queries } from "../storage/database.ts";
import {
  countEvidenceOfLines,
  type LineFilter,
  type LineShown,
  pageOfLines,
  replaceFits,
} from "../storage/lines.ts";
import { getRecord, insertRecord, type PageRequest, updateRecord } from "../storage/records.ts";
import type { LineRow } from "../storage/tables.ts";
import { clubDay } from "./calendar-ahead.ts";
import { requireConsistent } from "./keep-kinds.ts";
import { noteChange } from "./note-change.ts";
import { together, type Work } from "./work.ts";

/** What a caller says of a line; limits and life in its own words where they differ from the kind's. */
export interface LineMembers {
  sku: string;
  gtin: string | null;
  makersPartNumber: string | null;
  name: string;
  supplierId: string | null;
  packSize: number;
  orderMultiplePacks: number;
  priceMinorUnits: number;
  /** the club's where it is not given */
  currency?: string | undefined;
  leadTimeDays: number | null;
  shelfLifeDays: number | null;
  weightGrams: number | null;
  asNew: number | null;
  limits: Limits | null;
  usualLife: LifeRange | null;
  supersededById: string | null;
  endedOn: string | null;
  notes: string | null;
  fits: readonly string[];
}

const json = (value: object | null) => (value === null ? null : JSON.stringify(value));

/** A line as it is answered: its documents read, and whether it had ended by a day. */
const shown = (today: string, { limits, usualLife, ...line }: LineShown) => ({
  ...line,
  limits: limits === null ? null : (JSON.parse(limits) as Limits),
  usualLife: usualLife === null ? null : (JSON.parse(usualLife) as LifeRange),
  ended: line.endedOn !== null && line.endedOn <= today,
});

/** @throws {DomainError} `not_found` */
export async function readLine(work: Work, id: string) {
  const { items } = await pageOfLines(work.db, work.actor.clubId, { limit: 1, after: null }, { id });
  if (items[0] === undefined) throw new DomainError("not_found", `There is no line with id ${id}`);
  return shown(await clubDay(work), items[0]);
}

/** The texts that one GTIN may have been kept as: it may be printed with fewer leading zeros. */
function gtinsLike(gtin: string): string[] {
  const digits = gtin.replace(/^0+/, "");
  return [8, 12, 13, 14].filter((length) => digits.length <= length).map((l) => digits.padStart(l, "0"));
}

export async function listLines(
  work: Work,
  page: PageRequest,
  { gtin, ...filter }: Omit<LineFilter, "gtins" | "id"> & { gtin?: string | undefined },
) {
  const gtins = gtin === undefined ? undefined : gtinsLike(gtin);
  const found = await pageOfLines(work.db, work.actor.clubId, page, { ...filter, gtins });
  const today = await clubDay(work);
  return { items: found.items.map((line) => shown(today, line)), next: found.next };
}

/** Everything a line refers to must exist in this club, and its own limits and life must make sense for its kind. */
async function requireSound(work: Work, q: Queries, line: LineRow, fits: readonly string[]): Promise<void> {
  const { clubId } = work.actor;
  const kind = await getRecord(q, "kinds", clubId, line.kindId, "kind");
  if (line.supplierId !== null) await getRecord(q, "suppliers", clubId, line.supplierId, "supplier");
  for (const id of fits) await getRecord(q, "carModels", clubId, id, "car model");
  const { measure, limits: kindLimits } = JSON.parse(kind.details) as KindDetails;
  const limits = line.limits === null ? kindLimits : (JSON.parse(line.limits) as Limits);
  const faults: Fault[] = [];
  if (line.usualLife !== null) faults.push(...lifeFaults(JSON.parse(line.usualLife) as LifeRange));
  if (measure === null && (line.limits !== null || line.asNew !== null))
    faults.push({
      pointer: line.limits === null ? "#/asNew" : "#/limits",
      detail: `must be null: pieces of ${kind.code} are only graded, not measured`,
    });
  else if (measure !== null && limits !== null) {
    const negative = line.asNew === null ? null : belowZero(measure, limits, line.asNew);
    if (negative !== null) faults.push({ pointer: "#/asNew", detail: negative });
    faults.push(...limitsFaults(limits, measure, line.asNew ?? measure.asNew));
  }
  requireConsistent(faults);
  await requireNoCircle(work, q, line);
}

/** A chain of superseding lines must end: the walk stops at the first line met twice. */
async function requireNoCircle(work: Work, q: Queries, line: LineRow): Promise<void> {
  const met = new Set([line.id]);
  const path = [line.sku];
  for (let id = line.supersededById; id !== null; ) {
    const next: LineRow = await getRecord(q, "lines", work.actor.clubId, id, "superseding line");
    path.push(next.sku);
    if (met.has(id))
      requireConsistent([
        {
          pointer: "#/supersededById",
          detail: `would make a circle: ${path.join(" → ")}; name the line that is sold last`,
        },
      ]);
    met.add(id);
    id = next.supersededById;
  }
}

const noteLine = (
  work: Work,
  type: "line.added" | "line.changed",
  { id, sku, name }: LineRow,
  data: Record<string, unknown>,
): Promise<void> =>
  noteChange(work, {
    type,
    subject: { kind: "line", id },
    audience: "everyone",
    data: { sku, name, ...data },
  });

/** Adds a line, and says which car models it fits. @throws {DomainError} `not_found`, `inconsistent`, `name_taken` */
export async function addLine(work: Work, given: LineMembers & { kindId: string }) {
  const { fits, limits, usualLife, currency, ...members } = given;
  const { clubId } = work.actor;
  return together(work, async (work) => {
    const trx = work.db;
    const row: LineRow = {
      ...members,
      id: work.newId(),
      clubId,
      currency: currency ?? (await selectClub(trx, clubId)).currency,
      limits: json(limits),
      usualLife: json(usualLife),
      evidence: 0,
      exposure: 0,
      createdAt: work.now(),
      version: 1,
    };
    await requireSound(work, trx, row, fits);
    await insertRecord(trx, "lines", row, "line");
    await replaceFits(trx, clubId, row.id, fits, work.newId);
    await noteLine(work, "line.added", row, {});
    return readLine(work, row.id);
  });
}

/**
 * Changes the members given; the kind stays, for the pieces of a line were measured as that kind. Its fit is out of
 * date where size, limits or life changed.
 *
 * @throws {DomainError} `not_found`, `inconsistent` or `name_taken`
 */
export async function changeLine(
  work: Work,
  id: string,
  changes: { [K in keyof LineMembers]?: LineMembers[K] | undefined },
) {
  const { fits, limits, usualLife, ...members } = changes;
  const { clubId } = work.actor;
  const given = {
    ...Object.fromEntries(Object.entries(members).filter(([, value]) => value !== undefined)),
    ...(limits === undefined ? {} : { limits: json(limits) }),
    ...(usualLife === undefined ? {} : { usualLife: json(usualLife) }),
  } as Partial<LineRow>;
  return together(work, async (work) => {
    const trx = work.db;
    const before = await getRecord(trx, "lines", clubId, id, "line");
    await requireSound(work, trx, { ...before, ...given }, fits ?? []);
    await updateRecord(trx, "lines", clubId, id, given, "line");
    if (fits !== undefined) await replaceFits(trx, clubId, id, fits, work.newId);
    if ("limits" in given || "usualLife" in given || "asNew" in given)
      await countEvidenceOfLines(trx, clubId, { lineId: id });
    const changed = [...Object.keys(given), ...(fits === undefined ? [] : ["fits"])];
    await noteLine(work, "line.changed", { ...before, ...given }, { changed });
    return readLine(work, id);
  });
}
