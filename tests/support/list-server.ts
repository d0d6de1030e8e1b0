import { createServer, type IncomingMessage, type RequestListener, type ServerResponse } from "node:http";
import type { AddressInfo } from "node:net";

/** A shop's own server on this machine, which answers as a test says. */
export async function startListServer() {
  let answer: RequestListener = (_, response) => void response.writeHead(404).end();
  const asked: IncomingMessage[] = [];
  const server = createServer((request, response) => {
    asked.push(request);
    answer(request, response);
  });
  await new Promise<void>((resolve) => server.listen(0, "127.0.0.1", resolve));
  const { port } = server.address() as AddressInfo;
  return {
    port,
    url: `http://127.0.0.1:${port}/list.csv`,
    asked,
    answers: (next: (request: IncomingMessage, response: ServerResponse) => void) => {
      answer = next;
      asked.length = 0;
    },
    close: () =>
      new Promise<void>((resolve) => {
        server.closeAllConnections();
        server.close(() => resolve());
      }),
  };
}
