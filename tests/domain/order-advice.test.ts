import { describe, expect, it } from "vitest";
import { orderAdvice } from "../../src/domain/order-advice.ts";

const days = { today: "2026-12-01", nextLook: "2026-12-08" };
const line = (from: string, by: string, cost: number) => ({ from: `2026-${from}`, by: `2026-${by}`, cost });
const never = () => false;
const always = () => true;
const soon = line("12-01", "12-04", 300);
const open = line("12-01", "12-20", 200);
const ahead = line("12-15", "12-24", 500);
const farther = line("12-18", "12-30", 100);

describe("an order to a supplier", () => {
  it("holds what is due by its last day and what has its window open by then; the rest waits", () => {
    const plan = orderAdvice([ahead, soon, open], 0, days, never);
    expect([plan.now, plan.later, plan.from, plan.by]).toEqual([[1, 2], [0], "2026-12-01", "2026-12-04"]);
    expect(plan).toMatchObject({ cost: 500, reached: true, advice: "order-now", orderOn: "2026-12-01" });
  });

  it("may be placed on any day of an open window, and waits for one that is not open", () => {
    expect(orderAdvice([open], 100, days, never)).toMatchObject({
      advice: "order-in-window",
      orderOn: "2026-12-01",
    });
    expect(orderAdvice([ahead, farther], 100, days, never)).toMatchObject({
      ...{ advice: "wait", orderOn: "2026-12-15", from: "2026-12-15", by: "2026-12-24" },
      now: [0, 1],
    });
  });

  it("below the minimum brings forward what is due next, the most urgent first and no more than it takes", () => {
    const plan = orderAdvice([farther, soon, ahead], 700, days, never);
    expect(plan).toMatchObject({ now: [1, 2], later: [0], broughtForward: [2], cost: 800, reached: true });
    expect(orderAdvice([farther, soon, ahead], 850, days, never)).toMatchObject({
      ...{ now: [1, 2, 0], later: [], broughtForward: [2, 0], reached: true },
    });
  });

  it("brings nothing forward where that would not reach the minimum either", () => {
    const plan = orderAdvice([farther, soon, ahead], 901, days, never);
    expect(plan).toMatchObject({ now: [1], later: [2, 0], broughtForward: [], reached: false });
  });

  it("below the minimum waits to its last day while there is time, and is filled up or small once there is none", () => {
    expect(orderAdvice([open], 201, days, always)).toMatchObject({ advice: "wait", orderOn: "2026-12-20" });
    expect(orderAdvice([soon], 301, days, always)).toMatchObject({
      advice: "top-up",
      orderOn: "2026-12-01",
    });
    expect(orderAdvice([soon], 301, days, never)).toMatchObject({ advice: "below-minimum" });
    const asked: [readonly number[], number][] = [];
    orderAdvice([soon, open], 550, days, (chosen, missing) => asked.push([chosen, missing]) > 0);
    expect(asked).toEqual([[[0, 1], 50]]);
  });
});
