/** What a calendar entry says of the cars that run there. */
export interface MeetingPlan {
  /** such as "touring"; null where every car may run */
  discipline: string | null;
  plannedRuns: number;
}

/** What a driver has said of one car and one meeting. */
export interface EntryStated {
  attends: boolean;
  /** null: as many as the meeting plans */
  plannedRuns: number | null;
}

/**
 * Does a car run at a meeting? What its entry says; without one, a car does where the meeting is of its discipline
 * or of none.
 *
 * @param carDiscipline that of the car's model, or null where the car has no model
 */
export const attends = (
  meeting: MeetingPlan,
  carDiscipline: string | null,
  entry: EntryStated | undefined,
): boolean => entry?.attends ?? (meeting.discipline === null || meeting.discipline === carDiscipline);

/** How many runs a car is planned to make at a meeting: 0 where it does not attend. */
export const plannedRuns = (
  meeting: MeetingPlan,
  carDiscipline: string | null,
  entry: EntryStated | undefined,
): number => (attends(meeting, carDiscipline, entry) ? (entry?.plannedRuns ?? meeting.plannedRuns) : 0);

/** Of the six runs of a club meeting one is practice (common practice, no source). */
const usualPracticeShare = 1 / 6;

/**
 * How many of the runs that a car has left at a meeting are practice: practice comes first. Where the meeting does not
 * say, the share of a club meeting; it need not be whole then.
 *
 * @param planned runs that the car is planned to make
 * @param done runs that it has logged there
 */
export const practiceLeft = (
  { practiceRuns }: { practiceRuns: number | null },
  planned: number,
  done: number,
): number => Math.max(0, Math.min(planned, practiceRuns ?? planned * usualPracticeShare) - done);
