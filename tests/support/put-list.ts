import type { TestService } from "./service.ts";

/** Sends a list as it is, whatever its bytes are. */
export async function putList(
  service: TestService,
  key: string,
  shopId: string,
  body: string | Uint8Array | ReadableStream<Uint8Array>,
  { query = "", headers = {} }: { query?: string; headers?: Record<string, string> } = {},
): Promise<{ status: number; body: any }> {
  const answer = await service.app.request(`/v1/shops/${shopId}/stock-list${query}`, {
    ...{ method: "PUT", body, duplex: "half" },
    headers: { authorization: `Bearer ${key}`, "content-type": "text/csv", ...headers },
  } as RequestInit);
  return { status: answer.status, body: JSON.parse(await answer.text()) };
}
