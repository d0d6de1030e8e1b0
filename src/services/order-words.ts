import type { OrderAdvice } from "../domain/order-advice.ts";
import type { arrivalOf } from "../domain/order-window.ts";

/** The parts of it that are money and names. */
interface Said {
  supplier: string;
  lines: string;
  below: string;
  minimum: string;
  /** what fills it up; "" where nothing does */
  fill: string;
}

const advised = {
  "order-now": ({ by }, { supplier, lines }) => `Order from ${supplier} by ${by}: ${lines}`,
  "order-in-window": ({ by }, { supplier, lines }) =>
    `Order from ${supplier} on any day from today through ${by}: ${lines}`,
  wait: ({ reached, from, by }, { supplier, lines, below, minimum, fill }) =>
    reached
      ? `Wait with ${supplier} until ${from}, and order ${lines} by ${by}: ordered earlier it binds money and comes hardly any surer`
      : `Wait with ${supplier} until ${by}: an order of ${lines} is ${below} below the minimum of ${minimum}, and what sells until then may fill it${fill === "" ? "" : `; who orders today adds ${fill}`}`,
  "top-up": (_, { supplier, lines, below, minimum, fill }) =>
    `Order from ${supplier} now and add ${fill}, which will most likely sell within a year anyway: an order of ${lines} alone is ${below} below the minimum of ${minimum}`,
  "below-minimum": (_, { supplier, lines, below, minimum }) =>
    `Ask ${supplier} for a small order, or buy elsewhere, now: an order of ${lines} is ${below} below the minimum of ${minimum}, and nothing that is likely to sell within a year fills it`,
} satisfies Record<OrderAdvice["advice"], (plan: OrderAdvice, said: Said) => string>;

/** One order in one sentence: what to do, why, and when it is likely to be there. */
export function orderSentence(
  plan: OrderAdvice,
  said: Said,
  { arrival, late }: { arrival: ReturnType<typeof arrivalOf>; late: boolean },
): string {
  return `${advised[plan.advice](plan, said)}; ordered on ${plan.orderOn} it comes between ${arrival.p10} and ${arrival.p90} eight times in ten, as likely as not by ${arrival.median}${late ? ", and some of it may be too late" : ""}.`;
}
