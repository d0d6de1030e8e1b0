import type { Operation } from "../operation.ts";
import { carModelOperations } from "./car-models.ts";
import { clubOperations } from "./club.ts";
import { kindOperations } from "./kinds.ts";
import { lineOperations } from "./lines.ts";
import { supplierOperations } from "./suppliers.ts";
import { venueOperations } from "./venues.ts";

/** Every operation of the API, in the order in which the description shows them. */
export const operations: readonly Operation[] = [
  ...clubOperations,
  ...kindOperations,
  ...carModelOperations,
  ...venueOperations,
  ...supplierOperations,
  ...lineOperations,
];
