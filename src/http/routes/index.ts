import type { Operation } from "../operation.ts";
import { accuracyOperations } from "./accuracy.ts";
import { arrivalOperations } from "./arrivals.ts";
import { benchSheetOperations } from "./bench-sheet.ts";
import { bulkOperations } from "./bulk.ts";
import { lifeCalculators } from "./calculators-life.ts";
import { stockCalculators } from "./calculators-stock.ts";
import { wearCalculators } from "./calculators-wear.ts";
import { calendarOperations } from "./calendar.ts";
import { carModelOperations } from "./car-models.ts";
import { carOperations } from "./cars.ts";
import { changeOperations } from "./changes.ts";
import { clubOperations } from "./club.ts";
import { downloadOperations } from "./downloads.ts";
import { dyingStockOperations } from "./dying-stock.ts";
import { fittingOperations } from "./fittings.ts";
import { forecastOperations } from "./forecasts.ts";
import { inspectionOperations } from "./inspections.ts";
import { kindOperations } from "./kinds.ts";
import { lineOperations } from "./lines.ts";
import { lineWearOperations } from "./line-wear.ts";
import { locationOperations } from "./locations.ts";
import { meetingOperations } from "./meetings.ts";
import { movementOperations } from "./movements.ts";
import { orderProposalOperations } from "./order-proposals.ts";
import { orderOperations } from "./orders.ts";
import { pictureOperations } from "./pictures.ts";
import { pieceOperations } from "./pieces.ts";
import { pitListOperations } from "./pit-list.ts";
import { restockPlanOperations } from "./restock-plan.ts";
import { seasonOperations } from "./season.ts";
import { shelfPlanOperations } from "./shelf-plan.ts";
import { restockOperations } from "./restock.ts";
import { reservationOperations } from "./reservations.ts";
import { runOperations } from "./runs.ts";
import { shopOperations } from "./shops.ts";
import { stockListOperations } from "./stock-lists.ts";
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
  ...fittingOperations,
  ...runOperations,
  ...inspectionOperations,
  ...meetingOperations,
  ...calendarOperations,
  ...forecastOperations,
  ...benchSheetOperations,
  ...lineWearOperations,
  ...accuracyOperations,
  ...restockOperations,
  ...pictureOperations,
  ...downloadOperations,
  ...restockPlanOperations,
  ...pitListOperations,
  ...seasonOperations,
  ...shelfPlanOperations,
  ...locationOperations,
  ...movementOperations,
  ...shopOperations,
  ...stockListOperations,
  ...arrivalOperations,
  ...reservationOperations,
  ...orderProposalOperations,
  ...dyingStockOperations,
  ...orderOperations,
  ...changeOperations,
  ...bulkOperations,
  ...wearCalculators,
  ...lifeCalculators,
  ...stockCalculators,
];
