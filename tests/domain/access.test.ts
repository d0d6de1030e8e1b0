import { expect, test } from "vitest";
import { reachOf, roles } from "../../src/domain/access.ts";

test("every role may use the calculators: they touch nobody's log", () => {
  expect(roles.map((role) => reachOf(role, "calculators:read"))).toEqual(["all", "all", "all", "all"]);
});

test("a shop asks no forecasts, a driver their own, and a reader changes nothing", () => {
  expect(reachOf("shop", "answers:read")).toBe("none");
  expect(reachOf("driver", "answers:read")).toBe("own");
  expect(reachOf("reader", "log:write")).toBe("none");
});
