import { z } from "zod";
import { keptFor, retirements } from "../domain/piece.ts";
import { Id, Instant, text, Version } from "./schemas.ts";

/** What pieces, their fittings and the answers about them share. */

export const RetiredFor = z.enum(retirements).meta({ description: "why a piece was taken off for good" });
export const KeptFor = z.enum(keptFor).nullable().meta({
  description:
    "practice: not fitted, it takes the practice runs of the place it came off last, with the rest of its pair or set, until its kind's limit for practice; it is then no spare for races. A pack takes its driver's. null: it races",
});
export const Mark = text(60).meta({
  description: "what is written on it; unique for the driver",
  example: "set 2, FL",
});
export const AsNew = z
  .number()
  .min(-1e9)
  .max(1e9)
  .nullable()
  .meta({ description: "reading when new, in the kind's unit; null if it was not taken" });
/** Where a piece is now. */
export const fittedNow = {
  carId: Id.nullable().meta({ description: "the car that it is fitted to now; null where it is not fitted" }),
  positionId: Id.nullable().meta({
    description: "the position of that car where it is; null where it is not fitted",
  }),
};
export const Fitting = z
  .object({
    id: Id,
    pieceId: Id,
    carId: Id,
    positionId: Id,
    fittedAt: Instant,
    removedAt: Instant.nullable().meta({ description: "null while it is fitted" }),
    version: Version,
  })
  .meta({ id: "Fitting" });
