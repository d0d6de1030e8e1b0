import { validate, version } from "uuid";
import { expect, it } from "vitest";
import { newId } from "../src/new-id.ts";

it("new ids are UUIDs of version 7 that never repeat and sort as they were made, also within a millisecond", () => {
  const before = Date.now();
  const ids = Array.from({ length: 50_000 }, newId);
  expect(ids.every((id) => validate(id) && version(id) === 7)).toBe(true);
  expect(new Set(ids).size).toBe(ids.length);
  expect([...ids].sort()).toEqual(ids);
  const made = Number.parseInt(ids[0]!.replaceAll("-", "").slice(0, 12), 16);
  expect(made).toBeGreaterThanOrEqual(before);
  expect(made).toBeLessThanOrEqual(Date.now());
});

it("the random part of new ids differs in every bit", () => {
  let always = 2n ** 48n - 1n;
  let ever = 0n;
  for (let i = 0; i < 200; i++) {
    const tail = BigInt(`0x${newId().slice(-12)}`);
    always &= tail;
    ever |= tail;
  }
  // The last 40 bits are random; a bit that is the same in 200 ids would be so by chance with 2^-199.
  expect(always & (2n ** 40n - 1n)).toBe(0n);
  expect(ever & (2n ** 40n - 1n)).toBe(2n ** 40n - 1n);
});
