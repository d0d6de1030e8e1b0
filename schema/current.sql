-- The schema as the migrations of this folder make it in SQLite, for reading.
-- Written by `UPDATE=1 npm test -- tests/tidy/schema.test.ts`; edit a migration instead.

CREATE TABLE "calendarFeeds" (
  "id" text not null primary key,
  "clubId" text not null references "clubs" ("id"),
  "keyId" text not null references "keys" ("id"),
  "name" text not null,
  "daysAhead" integer not null,
  "hash" text not null unique,
  "createdAt" text not null
) strict;

CREATE INDEX "calendarFeedsByKey" on "calendarFeeds" ("clubId", "keyId");

CREATE TABLE "carModels" (
  "id" text not null primary key,
  "clubId" text not null references "clubs" ("id"),
  "name" text not null,
  "discipline" text not null,
  "internalRatio" real,
  "notes" text,
  "createdAt" text not null,
  "version" integer not null,
  constraint "carModelsUnique1" unique ("clubId", "name")
) strict;

CREATE TABLE "cars" (
  "id" text not null primary key,
  "clubId" text not null references "clubs" ("id"),
  "driverId" text not null references "drivers" ("id"),
  "carModelId" text references "carModels" ("id"),
  "name" text not null,
  "raceClass" text,
  "gearCase" text,
  "spurTeeth" integer,
  "pinionTeeth" integer,
  "meshNote" text,
  "notes" text,
  "createdAt" text not null,
  "version" integer not null,
  constraint "carsUnique1" unique ("driverId", "name"),
  constraint "carsCheck1" check ("gearCase" in ('open', 'vented', 'closed'))
) strict;

CREATE INDEX "carsByDriver" on "cars" ("clubId", "driverId");

CREATE TABLE "changeReaders" (
  "clubId" text not null references "clubs" ("id"),
  "name" text not null,
  "position" integer not null,
  constraint "changeReadersPrimary" primary key ("clubId", "name")
) strict;

CREATE TABLE "changes" (
  "clubId" text not null references "clubs" ("id"),
  "position" integer not null,
  "at" text not null,
  "type" text not null,
  "subjectKind" text not null,
  "subjectId" text not null,
  "audience" text not null,
  "driverId" text references "drivers" ("id"),
  "by" text,
  "data" text not null,
  constraint "changesPrimary" primary key ("clubId", "position")
) strict;

CREATE TABLE "clubs" (
  "id" text not null primary key,
  "name" text not null,
  "currency" text not null,
  "timeZone" text not null,
  "createdAt" text not null,
  "version" integer not null
) strict;

CREATE TABLE "crossings" (
  "clubId" text not null references "clubs" ("id"),
  "subjectKind" text not null,
  "subjectId" text not null,
  "driverId" text not null,
  "at" text not null,
  constraint "crossingsPrimary" primary key ("clubId", "subjectKind", "subjectId", "driverId")
) strict;

CREATE TABLE "drivers" (
  "id" text not null primary key,
  "clubId" text not null references "clubs" ("id"),
  "name" text not null,
  "notes" text,
  "createdAt" text not null,
  "version" integer not null,
  "sharesDemand" integer default 0 not null,
  constraint "driversUnique1" unique ("clubId", "name")
) strict;

CREATE TABLE "entries" (
  "id" text not null primary key,
  "clubId" text not null references "clubs" ("id"),
  "meetingId" text not null references "meetings" ("id"),
  "carId" text not null references "cars" ("id"),
  "attends" integer not null,
  "plannedRuns" integer,
  "version" integer default 1 not null,
  constraint "entriesUnique1" unique ("meetingId", "carId"),
  constraint "entriesCheck1" check ("attends" in (0, 1))
) strict;

CREATE TABLE "fittings" (
  "id" text not null primary key,
  "clubId" text not null references "clubs" ("id"),
  "pieceId" text not null references "pieces" ("id"),
  "carId" text not null references "cars" ("id"),
  "positionId" text not null references "positions" ("id"),
  "fittedAt" text not null,
  "removedAt" text,
  "version" integer not null,
  constraint "fittingsCheck1" check ("removedAt" is null or "removedAt" > "fittedAt")
) strict;

CREATE INDEX "fittingsByPiece" on "fittings" ("pieceId", "fittedAt");

CREATE INDEX "fittingsByPosition" on "fittings" ("positionId", "fittedAt");

CREATE INDEX "fittingsOnCarBefore" on "fittings" ("carId", "removedAt") where "removedAt" is not null;

CREATE INDEX "fittingsOnCarNow" on "fittings" ("carId") where "removedAt" is null;

CREATE UNIQUE INDEX "onePiecePerPosition" on "fittings" ("positionId") where "removedAt" is null;

CREATE UNIQUE INDEX "onePositionPerPiece" on "fittings" ("pieceId") where "removedAt" is null;

CREATE TABLE "inspections" (
  "id" text not null primary key,
  "clubId" text not null references "clubs" ("id"),
  "pieceId" text not null references "pieces" ("id"),
  "at" text not null,
  "grade" integer,
  "findings" text not null,
  "services" text not null,
  "notes" text,
  "version" integer not null,
  constraint "inspectionsCheck1" check ("grade" between 0 and 4)
) strict;

CREATE INDEX "inspectionsByPiece" on "inspections" ("pieceId", "at");

CREATE TABLE "keptAnswers" (
  "id" text not null primary key,
  "clubId" text not null references "clubs" ("id"),
  "keyId" text not null references "keys" ("id"),
  "method" text not null,
  "path" text not null,
  "idempotencyKey" text not null,
  "fingerprint" text not null,
  "status" integer not null,
  "headers" text not null,
  "body" text,
  "answeredAt" text not null,
  constraint "keptAnswersUnique1" unique ("keyId", "method", "path", "idempotencyKey")
) strict;

CREATE INDEX "keptAnswersByTime" on "keptAnswers" ("answeredAt");

CREATE TABLE "keys" (
  "id" text not null primary key,
  "clubId" text not null references "clubs" ("id"),
  "name" text not null,
  "role" text not null,
  "driverId" text references "drivers" ("id"),
  "hash" text not null,
  "createdAt" text not null,
  "revokedAt" text,
  constraint "keysUnique1" unique ("hash"),
  constraint "keysCheck1" check ("role" in ('owner', 'driver', 'shop', 'reader')),
  constraint "keysCheck2" check (("role" = 'driver') = ("driverId" is not null))
) strict;

CREATE TABLE "kinds" (
  "id" text not null primary key,
  "clubId" text not null references "clubs" ("id"),
  "code" text not null,
  "name" text not null,
  "clock" text not null,
  "shipped" integer not null,
  "details" text not null,
  "createdAt" text not null,
  "version" integer not null,
  constraint "kindsUnique1" unique ("clubId", "code"),
  constraint "kindsCheck1" check ("clock" in ('minutes', 'runs', 'cycles', 'knocks', 'days')),
  constraint "kindsCheck2" check ("shipped" in (0, 1))
) strict;

CREATE TABLE "lineFits" (
  "id" text not null primary key,
  "clubId" text not null references "clubs" ("id"),
  "lineId" text not null references "lines" ("id"),
  "carModelId" text not null references "carModels" ("id"),
  constraint "lineFitsUnique1" unique ("lineId", "carModelId")
) strict;

CREATE TABLE "lineModels" (
  "id" text not null primary key,
  "clubId" text not null references "clubs" ("id"),
  "lineId" text not null references "lines" ("id"),
  "evidence" integer not null,
  "fit" text not null,
  "fittedAt" text not null,
  constraint "lineModelsUnique1" unique ("lineId")
) strict;

CREATE TABLE "lines" (
  "id" text not null primary key,
  "clubId" text not null references "clubs" ("id"),
  "sku" text not null,
  "gtin" text,
  "makersPartNumber" text,
  "name" text not null,
  "kindId" text not null references "kinds" ("id"),
  "supplierId" text references "suppliers" ("id"),
  "packSize" integer not null,
  "orderMultiplePacks" integer not null,
  "priceMinorUnits" integer not null,
  "currency" text not null,
  "leadTimeDays" real,
  "shelfLifeDays" integer,
  "asNew" real,
  "limits" text,
  "usualLife" text,
  "supersededById" text references "lines" ("id"),
  "endedOn" text,
  "notes" text,
  "evidence" integer not null,
  "createdAt" text not null,
  "version" integer not null,
  "weightGrams" real,
  "exposure" integer default 0 not null,
  constraint "linesUnique1" unique ("clubId", "sku"),
  constraint "linesCheck1" check ("packSize" >= 1 and "orderMultiplePacks" >= 1 and "priceMinorUnits" >= 0)
) strict;

CREATE INDEX "linesByGtin" on "lines" ("clubId", "gtin");

CREATE INDEX "linesByKind" on "lines" ("clubId", "kindId");

CREATE TABLE "locations" (
  "id" text not null primary key,
  "clubId" text not null references "clubs" ("id"),
  "name" text not null,
  "sort" text not null,
  "driverId" text references "drivers" ("id"),
  "createdAt" text not null,
  "version" integer not null,
  constraint "locationsCheck1" check ("sort" in ('home', 'pit-box', 'shelf')),
  constraint "locationsCheck2" check (("sort" = 'shelf') = ("driverId" is null))
) strict;

CREATE TABLE "meetings" (
  "id" text not null primary key,
  "clubId" text not null references "clubs" ("id"),
  "name" text not null,
  "startsOn" text not null,
  "days" integer not null,
  "venueId" text references "venues" ("id"),
  "surface" text not null,
  "discipline" text,
  "plannedRuns" integer not null,
  "minutesPerRun" real not null,
  "notes" text,
  "createdAt" text not null,
  "version" integer not null,
  "practiceRuns" integer,
  constraint "meetingsCheck1" check ("days" >= 1 and "plannedRuns" >= 0 and "minutesPerRun" > 0)
) strict;

CREATE INDEX "meetingsByDay" on "meetings" ("clubId", "startsOn");

CREATE TABLE "movements" (
  "id" text not null primary key,
  "clubId" text not null references "clubs" ("id"),
  "lineId" text not null references "lines" ("id"),
  "locationId" text not null references "locations" ("id"),
  "quantity" integer not null,
  "reason" text not null,
  "at" text not null,
  "pieceId" text references "pieces" ("id"),
  "orderId" text references "orders" ("id"),
  "undoesId" text references "movements" ("id"),
  "pairId" text,
  "notes" text,
  "recordedAt" text not null,
  constraint "movementsUnique1" unique ("undoesId"),
  constraint "movementsCheck1" check ("reason" in ('received', 'fitted', 'returned', 'counted', 'sold', 'written-off', 'moved', 'undone'))
) strict;

CREATE INDEX "movementsByLine" on "movements" ("lineId", "locationId", "quantity");

CREATE INDEX "movementsByOrder" on "movements" ("orderId") where "orderId" is not null;

CREATE INDEX "movementsByPiece" on "movements" ("pieceId") where "pieceId" is not null;

CREATE TABLE "orderLines" (
  "id" text not null primary key,
  "clubId" text not null references "clubs" ("id"),
  "orderId" text not null references "orders" ("id"),
  "lineId" text not null references "lines" ("id"),
  "packs" integer not null,
  "pieces" integer not null,
  "priceMinorUnits" integer not null,
  constraint "orderLinesUnique1" unique ("orderId", "lineId"),
  constraint "orderLinesCheck1" check ("packs" >= 1 and "pieces" >= 1 and "priceMinorUnits" >= 0)
) strict;

CREATE TABLE "orders" (
  "id" text not null primary key,
  "clubId" text not null references "clubs" ("id"),
  "supplierId" text not null references "suppliers" ("id"),
  "locationId" text not null references "locations" ("id"),
  "placedAt" text not null,
  "promisedOn" text,
  "closedAt" text,
  "notes" text,
  "createdAt" text not null,
  "version" integer not null
) strict;

CREATE INDEX "ordersBySupplier" on "orders" ("clubId", "supplierId");

CREATE TABLE "pieces" (
  "id" text not null primary key,
  "clubId" text not null references "clubs" ("id"),
  "driverId" text not null references "drivers" ("id"),
  "lineId" text not null references "lines" ("id"),
  "mark" text not null,
  "asNew" real,
  "priorUsage" real,
  "priorUsageSd" real,
  "boughtOn" text,
  "retiredAt" text,
  "retiredFor" text,
  "notes" text,
  "createdAt" text not null,
  "version" integer not null,
  "keptFor" text,
  constraint "piecesUnique1" unique ("driverId", "mark"),
  constraint "piecesCheck1" check ("retiredFor" in ('worn', 'broken', 'precaution', 'lost', 'aged', 'rule-change', 'sold')),
  constraint "piecesCheck2" check (("retiredAt" is null) = ("retiredFor" is null))
) strict;

CREATE INDEX "piecesByLine" on "pieces" ("lineId", "id");

CREATE TABLE "positions" (
  "id" text not null primary key,
  "clubId" text not null references "clubs" ("id"),
  "carId" text not null references "cars" ("id"),
  "name" text not null,
  "kindId" text not null references "kinds" ("id"),
  "changedWith" text,
  "createdAt" text not null,
  constraint "positionsUnique1" unique ("carId", "name")
) strict;

CREATE TABLE "readings" (
  "id" text not null primary key,
  "clubId" text not null references "clubs" ("id"),
  "inspectionId" text not null references "inspections" ("id"),
  "pieceId" text not null references "pieces" ("id"),
  "at" text not null,
  "value" real not null,
  "sd" real not null,
  "instrument" text not null,
  "enteredValue" real not null,
  "enteredUnit" text not null,
  "confirmed" integer not null,
  constraint "readingsCheck1" check ("sd" > 0),
  constraint "readingsCheck2" check ("confirmed" in (0, 1))
) strict;

CREATE INDEX "readingsByInspection" on "readings" ("inspectionId");

CREATE INDEX "readingsByPiece" on "readings" ("pieceId", "at");

CREATE TABLE "rejectedRows" (
  "listId" text not null references "stockLists" ("id"),
  "no" integer not null,
  "row" integer not null,
  "column" text,
  "sku" text,
  "detail" text not null,
  constraint "rejectedRowsKey" primary key ("listId", "no")
) strict , without rowid;

CREATE TABLE "reservations" (
  "id" text not null primary key,
  "clubId" text not null references "clubs" ("id"),
  "shopId" text not null references "shops" ("id"),
  "lineId" text not null references "lines" ("id"),
  "driverId" text not null references "drivers" ("id"),
  "pieces" integer not null,
  "forDay" text not null,
  "meetingId" text references "meetings" ("id"),
  "notes" text,
  "state" text not null,
  "answer" text,
  "answeredAt" text,
  "createdAt" text not null,
  "version" integer not null,
  constraint "reservationsCheck1" check ("pieces" >= 1),
  constraint "reservationsCheck2" check ("state" in ('asked', 'confirmed', 'refused', 'withdrawn'))
) strict;

CREATE INDEX "reservationsByShop" on "reservations" ("shopId", "forDay");

CREATE TABLE "runs" (
  "id" text not null primary key,
  "clubId" text not null,
  "carId" text not null references "cars" ("id"),
  "at" text not null,
  "minutes" real not null,
  "surface" text not null,
  "conditions" text,
  "packId" text references "pieces" ("id"),
  "knocks" integer not null,
  "meetingId" text references "meetings" ("id"),
  "notes" text,
  "version" integer not null,
  constraint "runsCheck1" check ("minutes" >= 0 and "knocks" >= 0)
) strict;

CREATE UNIQUE INDEX "runsByCar" on "runs" ("carId", "at");

CREATE INDEX "runsByClub" on "runs" ("clubId", "at", "id");

CREATE INDEX "runsByPack" on "runs" ("packId", "at") where "packId" is not null;

CREATE TABLE "shopFeeds" (
  "id" text not null primary key,
  "clubId" text not null references "clubs" ("id"),
  "listId" text references "stockLists" ("id"),
  "listedAt" text,
  "rows" integer not null,
  "matched" integer not null,
  "unmatched" integer not null,
  "digest" text,
  "catalogueMark" text,
  "etag" text,
  "lastModified" text,
  "pulledAt" text,
  "failures" integer not null,
  "failedAt" text,
  "failedFor" text,
  "nextPullAt" text
) strict;

CREATE TABLE "shopMatches" (
  "id" text not null primary key,
  "clubId" text not null references "clubs" ("id"),
  "shopId" text not null references "shops" ("id"),
  "shopSku" text not null,
  "lineId" text references "lines" ("id"),
  "confirmedAt" text not null,
  "version" integer default 1 not null,
  constraint "shopMatchesUnique1" unique ("shopId", "shopSku")
) strict;

CREATE TABLE "shops" (
  "id" text not null primary key,
  "clubId" text not null references "clubs" ("id"),
  "name" text not null,
  "currency" text not null,
  "locationId" text references "locations" ("id"),
  "pullUrl" text,
  "pullEveryMinutes" integer,
  "pullMode" text not null,
  "columns" text,
  "encoding" text not null,
  "decimal" text not null,
  "separator" text not null,
  "notes" text,
  "createdAt" text not null,
  "version" integer not null,
  constraint "shopsUnique1" unique ("clubId", "name"),
  constraint "shopsCheck1" check ("pullMode" in ('full', 'changes')),
  constraint "shopsCheck2" check ("pullEveryMinutes" >= 5)
) strict;

CREATE TABLE "stockListRows" (
  "listId" text not null references "stockLists" ("id"),
  "sku" text not null,
  "rowNo" integer not null,
  "name" text,
  "gtin" text,
  "mpn" text,
  "onHand" integer,
  "priceMinorUnits" integer,
  "availability" text,
  "leadTimeLeastDays" integer,
  "leadTimeMostDays" integer,
  "minimumOrder" integer,
  "lineId" text references "lines" ("id"),
  "matchedBy" text,
  "saidAt" text,
  constraint "stockListRowsKey" primary key ("listId", "sku"),
  constraint "stockListRowsCheck1" check ("onHand" >= 0 and "priceMinorUnits" >= 0),
  constraint "stockListRowsCheck2" check ("matchedBy" in ('gtin', 'sku', 'mpn', 'confirmed') or ("matchedBy" = 'none' and "lineId" is null))
) strict , without rowid;

CREATE INDEX "stockListRowsByLine" on "stockListRows" ("listId", "lineId") where "lineId" is not null;

CREATE TABLE "stockLists" (
  "id" text not null primary key,
  "clubId" text not null references "clubs" ("id"),
  "shopId" text not null references "shops" ("id"),
  "arrivedAt" text not null,
  "way" text not null,
  "mode" text not null,
  "outcome" text not null,
  "bytes" integer not null,
  "rowsRead" integer not null,
  "rejected" integer not null,
  "added" integer not null,
  "changed" integer not null,
  "gone" integer not null,
  "reason" text,
  constraint "stockListsCheck1" check ("way" in ('push', 'pull') and "mode" in ('full', 'changes')),
  constraint "stockListsCheck2" check ("outcome" in ('arriving', 'kept', 'kept-partly', 'refused', 'failed'))
) strict;

CREATE INDEX "stockListsByShop" on "stockLists" ("shopId", "arrivedAt");

CREATE TABLE "suppliers" (
  "id" text not null primary key,
  "clubId" text not null references "clubs" ("id"),
  "name" text not null,
  "leadTimeDays" real not null,
  "leadTimeSdDays" real not null,
  "minimumOrderMinorUnits" integer not null,
  "notes" text,
  "createdAt" text not null,
  "version" integer not null,
  constraint "suppliersUnique1" unique ("clubId", "name"),
  constraint "suppliersCheck1" check ("leadTimeDays" >= 0 and "leadTimeSdDays" >= 0 and "minimumOrderMinorUnits" >= 0)
) strict;

CREATE TABLE "venues" (
  "id" text not null primary key,
  "clubId" text not null references "clubs" ("id"),
  "name" text not null,
  "surface" text not null,
  "direction" text,
  "notes" text,
  "createdAt" text not null,
  "version" integer not null,
  constraint "venuesUnique1" unique ("clubId", "name"),
  constraint "venuesCheck1" check ("direction" in ('clockwise', 'anticlockwise'))
) strict;
