import { type PlannedMeeting, withoutPractice } from "../domain/calendar.ts";
import { pieceDemand } from "../domain/forecast.ts";
import { isAnyKeptForPractice } from "../storage/pieces.ts";
import type { CarRow } from "../storage/tables.ts";
import { capitalised, inMonth } from "./in-words.ts";
import type { CurrentModel } from "./line-models.ts";
import { piecesOf } from "./pieces-in-scope.ts";
import { keptPieces, oneOf, type PracticeAhead, practiceAhead, practiceInWords } from "./practice-sets.ts";
import type { Work } from "./work.ts";

/** The calendar that a piece follows, and what is kept for practice at its place, if anything is. */
export interface OwnCalendar {
  ahead: readonly PlannedMeeting[];
  practice: (Omit<PracticeAhead, "bears"> & { sentence: string }) | null;
}

/**
 * The calendars of the pieces of a car: of what races beside a set kept for practice, without the runs that set takes
 * while it lasts in the median; of what is kept, its practice runs; of all else, the calendar of the car.
 */
export async function raceCalendars(
  work: Work,
  car: CarRow,
  ahead: readonly PlannedMeeting[],
): Promise<(pieceId: string, model: CurrentModel) => OwnCalendar> {
  const plain = { ahead, practice: null };
  if (!(await isAnyKeptForPractice(work.db, car.driverId))) return () => plain;
  const { inUse } = await piecesOf(work, [car], new Map([[car.id, ahead]]));
  const known = await keptPieces(
    work,
    inUse.flatMap(({ practice }) => practice ?? []),
  );
  return (pieceId, model) => {
    const one = inUse.find(
      ({ piece, practice }) =>
        piece.id === pieceId || practice?.sets.some((set) => set.some(({ id }) => id === pieceId)),
    );
    if (one?.practice === undefined || model.kind.clock === "days")
      return one?.carId === null ? { ahead: one.ahead, practice: null } : plain;
    const { bears, ...told } = practiceAhead(model, one.practice, known, one.ahead);
    const races = one.piece.id === pieceId;
    const until = told.until === null ? "as far as the calendar goes" : `until about ${inMonth(told.until)}`;
    const sentence = races
      ? `${capitalised(practiceInWords(told, oneOf(model.kind)))}: this one wears in the other runs only.`
      : `Kept for practice: it takes the practice runs of its place ${until}.`;
    const own = races ? withoutPractice(pieceDemand(model, one.ahead), bears) : [];
    return { ahead: own, practice: { ...told, sentence } };
  };
}
