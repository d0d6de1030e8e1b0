import { ledger } from "./0001-ledger.ts";
import { keptAnswers } from "./0002-kept-answers.ts";
import { sharedDemand } from "./0003-shared-demand.ts";
import { shops } from "./0004-shops.ts";
import { changes } from "./0005-changes.ts";
import { calendarFeeds } from "./0006-calendar-feeds.ts";
import { weights } from "./0007-weights.ts";
import { rowsKept } from "./0008-rows-kept.ts";
import { exposure } from "./0009-exposure.ts";
import { statedVersions } from "./0010-stated-versions.ts";
import { practice } from "./0011-practice.ts";
import { rejectedRows } from "./0012-rejected-rows.ts";
import type { Step } from "./types.ts";

export type { Dialect, Step } from "./types.ts";

/** All migrations in the order in which they run. Add at the end; never edit one that was released. */
export const steps: readonly Step[] = [
  ledger,
  keptAnswers,
  sharedDemand,
  shops,
  changes,
  calendarFeeds,
  weights,
  rowsKept,
  exposure,
  statedVersions,
  practice,
  rejectedRows,
];
