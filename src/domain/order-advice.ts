/** What belongs into one order to a supplier, and what to do where that is below the supplier's minimum. */

/** A line that is to be bought, with its window and its cost in the currency of the supplier's minimum. */
export interface ToBuy {
  from: string;
  by: string;
  cost: number;
}

/**
 * `order-now`: the window closes before the next look. `order-in-window`: any day from today on will do. `wait`: the
 * window is not open yet, or the order is below the minimum and there is time. `top-up`: below the minimum, no time, and
 * what will sell anyway reaches it. `below-minimum`: nothing sensible does.
 */
export type Advice = "order-now" | "order-in-window" | "wait" | "top-up" | "below-minimum";

export interface OrderAdvice {
  /** places of what the order holds, and of what waits for a later one, each by its latest day */
  now: number[];
  later: number[];
  /** places of those in the order whose window is not open by its last day: the minimum brought them forward */
  broughtForward: number[];
  from: string;
  by: string;
  cost: number;
  reached: boolean;
  advice: Advice;
  /** the day to order on if the advice is followed */
  orderOn: string;
}

/**
 * One order to a supplier: what is due by its last day, and with it whatever has its window open by then, for that
 * spares a second order. Below the minimum the lines that are due next are brought forward, the most urgent first, but
 * no more of them than it takes; a line's quantity is not raised for it.
 *
 * @param toBuy what is to be bought of this supplier, at least one line
 * @param nextLook the day on which the list is looked at next
 * @param canTopUp could the rest be filled with what will sell anyway?
 */
export function orderAdvice(
  toBuy: readonly ToBuy[],
  minimum: number,
  { today, nextLook }: { today: string; nextLook: string },
  canTopUp: (chosen: readonly number[], missing: number) => boolean,
): OrderAdvice {
  const byUrgency = toBuy.map((_, i) => i).sort((a, b) => (toBuy[a]!.by < toBuy[b]!.by ? -1 : 1));
  const by = toBuy[byUrgency[0]!]!.by;
  const now = byUrgency.filter((i) => toBuy[i]!.from <= by);
  const later = byUrgency.filter((i) => toBuy[i]!.from > by);
  const costOf = (places: readonly number[]) => places.reduce((sum, i) => sum + toBuy[i]!.cost, 0);
  const due = costOf(now);
  const broughtForward: number[] = [];
  if (due < minimum && due + costOf(later) >= minimum)
    while (due + costOf(broughtForward) < minimum) broughtForward.push(later.shift()!);
  const chosen = [...now, ...broughtForward];
  const cost = costOf(chosen);
  const reached = cost >= minimum;
  const from = now.map((i) => toBuy[i]!.from).sort()[0]!;
  const urgent = by <= nextLook;
  const advice = reached
    ? adviceInWindow(urgent, from <= today)
    : adviceBelow(urgent, () => canTopUp(chosen, minimum - cost));
  const orderOn = advice !== "wait" ? today : reached ? from : by;
  return { now: chosen, later, broughtForward, from, by, cost, reached, advice, orderOn };
}

const adviceInWindow = (urgent: boolean, open: boolean): Advice =>
  urgent ? "order-now" : open ? "order-in-window" : "wait";

/** Where there is time, what sells until the last day may fill the order by itself. */
const adviceBelow = (urgent: boolean, canTopUp: () => boolean): Advice =>
  !urgent ? "wait" : canTopUp() ? "top-up" : "below-minimum";
