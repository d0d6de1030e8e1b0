import type { Operation } from "../operation.ts";
import { answerOperations } from "./answers.ts";
import { bulkOperations } from "./bulk.ts";
import { carModelOperations } from "./car-models.ts";
import { carOperations } from "./cars.ts";
import { clubOperations } from "./club.ts";
import { inspectionOperations } from "./inspections.ts";
import { kindOperations } from "./kinds.ts";
import { lineOperations } from "./lines.ts";
import { locationOperations } from "./locations.ts";
import { meetingOperations } from "./meetings.ts";
import { movementOperations } from "./movements.ts";
import { orderOperations } from "./orders.ts";
import { pieceOperations } from "./pieces.ts";
import { pitListOperations } from "./pit-list.ts";
import { restockPlanOperations } from "./restock-plan.ts";
import { restockOperations } from "./restock.ts";
import { runOperations } from "./runs.ts";
import { seasonOperations } from "./season.ts";
import { shelfPlanOperations } from "./shelf-plan.ts";
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
  ...carOperations,
  ...pieceOperations,
  ...runOperations,
  ...inspectionOperations,
  ...meetingOperations,
  ...answerOperations,
  ...restockOperations,
  ...restockPlanOperations,
  ...pitListOperations,
  ...seasonOperations,
  ...shelfPlanOperations,
  ...locationOperations,
  ...movementOperations,
  ...orderOperations,
  ...bulkOperations,
];
