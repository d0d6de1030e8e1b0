import { drawSeason } from "../../seeds/draw-season.ts";
import type { SeasonTruth } from "../../seeds/events.ts";
import { shippedKinds } from "../../seeds/index.ts";
import { quillbrook } from "../../seeds/quillbrook.ts";
import { fillClub, type FilledClub } from "../../src/demo/fill-club.ts";
import { openDatabase } from "../../src/storage/database.ts";

/** The demo club with one past season in its log, and the truth behind it that no part of the service sees. */
export async function demoClub(seed: number): Promise<{ filled: FilledClub; truth: SeasonTruth }> {
  const { events, truth } = drawSeason({ scenario: quillbrook, kinds: shippedKinds, seed });
  const db = await openDatabase("file::memory:");
  return { filled: await fillClub(db, quillbrook, events), truth };
}
