/** What a supplier's deliveries have shown so far. */
export interface ObservedLeadTimes {
  count: number;
  /** days; null before the first delivery */
  meanDays: number | null;
  /** sample standard deviation in days (divisor n - 1); null before the second delivery */
  sdDays: number | null;
}

/** Mean and spread of observed lead times, in days of at least 0. */
export function observedLeadTimes(days: readonly number[]): ObservedLeadTimes {
  const count = days.length;
  if (count === 0) return { count, meanDays: null, sdDays: null };
  const meanDays = days.reduce((sum, d) => sum + d, 0) / count;
  if (count === 1) return { count, meanDays, sdDays: null };
  const squares = days.reduce((sum, d) => sum + (d - meanDays) ** 2, 0);
  return { count, meanDays, sdDays: Math.sqrt(squares / (count - 1)) };
}
