import type { Clock, KindDetails } from "../src/domain/kind.ts";
import kinds from "./kinds.json" with { type: "json" };

/** A kind as the service ships it: starting beliefs of the trade, which the log overrules. */
export interface SeedKind extends KindDetails {
  code: string;
  name: string;
  clock: Clock;
}

/**
 * The 45 kinds of kinds.json. A JSON import widens its words to `string`; that each word is one of src/domain/kind.ts
 * and each number in its range is what tests/seeds/kinds.test.ts checks.
 */
export const shippedKinds: SeedKind[] = kinds as SeedKind[];
