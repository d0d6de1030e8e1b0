import { afterEach, beforeEach, describe, expect, it } from "vitest";
import { makeClient } from "../../openapi/client/index.ts";
import { startTestService, type TestService } from "../support/service.ts";

/** The main job, done by a program that knows the service by its published description only. */
let service: TestService;
const clientFor = (key: string) =>
  makeClient({
    baseUrl: "http://club.test",
    key,
    fetch: async (request) => service.app.request(request),
  });

beforeEach(async () => {
  service = await startTestService();
});
afterEach(() => service.close());

/** The data of an answer, or the problem as an error: a program that expects success reads no further. */
function given<T>({ data, error }: { data?: T; error?: unknown }): NonNullable<T> {
  if (data === undefined || data === null) throw new Error(JSON.stringify(error));
  return data;
}

describe("a program with the typed client", () => {
  it("reads and changes the club", async () => {
    const client = clientFor(await service.keyFor("owner"));
    expect(given(await client.GET("/v1/club")).name).toBe("Our club");
    const changed = given(await client.PATCH("/v1/club", { body: { currency: "NZD" } }));
    expect(changed).toMatchObject({ name: "Our club", currency: "NZD", version: 2 });
  });

  it("adds drivers and follows the pages of their list to its end", async () => {
    const client = clientFor(await service.keyFor("owner"));
    const names = ["Una Wickerley", "Mara Tindle", "Bo Larkspur"];
    for (const name of names) given(await client.POST("/v1/drivers", { body: { name } }));
    const listed: string[] = [];
    let after: string | undefined;
    for (let page = 0; page < 5; page++) {
      const query = { limit: 2, ...(after === undefined ? {} : { after }) };
      const { items, next } = given(await client.GET("/v1/drivers", { params: { query } }));
      listed.push(...items.map(({ name }) => name));
      if (next === null) break;
      after = next;
    }
    expect(listed).toEqual(names);
  });

  it("is told by a typed problem what it may not do", async () => {
    const client = clientFor(await service.keyFor("reader"));
    const { error, response } = await client.POST("/v1/drivers", { body: { name: "Una Wickerley" } });
    expect(response.status).toBe(403);
    expect(error?.type).toBe("/problems/not_allowed");
  });

  it("has a misspelt member refused by the compiler, before the service refuses it", async () => {
    const client = clientFor(await service.keyFor("owner"));
    // @ts-expect-error: the description knows no member "nmae"
    const { response } = await client.POST("/v1/drivers", { body: { nmae: "Una Wickerley" } });
    expect(response.status).toBe(422);
  });
});
