import { sql } from "kysely";
import type { RunUnderConditions } from "../domain/conditions.ts";
import type { Surface } from "../domain/kind.ts";
import type { ConditionWord } from "../domain/piece.ts";
import type { Queries } from "./database.ts";

export interface ConditionedRun extends RunUnderConditions {
  pieceId: string;
}

interface Row extends Omit<ConditionedRun, "conditions" | "surface"> {
  conditions: string | null;
  surface: string;
}

/** The runs that wore each of the pieces of a line, with conditions, position and direction, in the order of time. */
export async function selectConditionsOfPieces(
  q: Queries,
  lineId: string,
  fromPieceId: string,
): Promise<ConditionedRun[]> {
  const { rows } = await sql<Row>`
    select f."pieceId" as "pieceId", r.at as at, r.minutes as minutes, r.knocks as knocks, r.surface as surface,
        r.conditions as conditions, o.name as position, v.direction as direction
      from pieces p
      join fittings f on f."pieceId" = p.id
      join positions o on o.id = f."positionId"
      join runs r on r."carId" = f."carId" and r.at >= f."fittedAt" and (f."removedAt" is null or r.at < f."removedAt")
      left join meetings m on m.id = r."meetingId"
      left join venues v on v.id = m."venueId"
      where p."lineId" = ${lineId} and p.id >= ${fromPieceId}
    union all
    select p.id as "pieceId", r.at as at, r.minutes as minutes, r.knocks as knocks, r.surface as surface,
        r.conditions as conditions, null as position, v.direction as direction
      from pieces p
      join runs r on r."packId" = p.id
      left join meetings m on m.id = r."meetingId"
      left join venues v on v.id = m."venueId"
      where p."lineId" = ${lineId} and p.id >= ${fromPieceId}
    order by at`.execute(q);
  return rows.map(({ conditions, surface, ...row }) => ({
    ...row,
    surface: surface as Surface,
    conditions: conditions === null ? [] : (JSON.parse(conditions) as ConditionWord[]),
  }));
}
