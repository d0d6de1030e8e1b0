import { readClub } from "./keep-club.ts";
import { exportedNames, exportRows, mayExport } from "./export-rows.ts";
import { jsonText } from "./tables-out.ts";
import type { Work } from "./work.ts";

export const clubFormat = "wear-and-spares/1";

/** "order-lines" as a member: orderLines */
const member = (resource: string) =>
  resource.replaceAll(/-(\w)/g, (_, letter: string) => letter.toUpperCase());

/** Everything within reach as one JSON document, with an array for each resource that the key may read. */
export async function* clubText(work: Work): AsyncGenerator<string> {
  const { id, name, currency, timeZone, createdAt } = await readClub(work);
  const head = {
    format: clubFormat,
    exportedAt: work.now(),
    club: { id, name, currency, timeZone, createdAt },
  };
  yield JSON.stringify(head).slice(0, -1);
  for (const resource of exportedNames) {
    if (!mayExport(work, resource)) continue;
    yield `,\n"${member(resource)}": `;
    yield* jsonText(resource, exportRows(work, resource));
  }
  yield "}\n";
}
