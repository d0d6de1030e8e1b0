import { fork } from "node:child_process";
import { Agent, request } from "node:http";
import { inFolder, median } from "./measure.ts";

/** What each convention of the API costs: CPU time of the server for a request, with and without it, in turn. */
interface Way {
  name: string;
  server: string;
  method?: string;
  path: string;
  headers?: Record<string, string>;
  body?: () => string;
  /** only so many requests of it in a round: writes wait for the disk */
  requests?: number;
}

const agent = new Agent({ keepAlive: true, maxSockets: 16 });
const rounds = 9;
const warm = 100;
let count = 0;
const unique = () => `${process.pid}-${count++}`;

function ask(
  port: number,
  way: Way,
  key: string,
  headers: Record<string, string>,
): Promise<{ status: number; etag?: string }> {
  return new Promise((resolve, reject) => {
    const body = way.body?.();
    const sent = request(
      {
        port,
        agent,
        host: "127.0.0.1",
        method: way.method ?? "GET",
        path: way.path,
        headers: {
          authorization: `Bearer ${key}`,
          ...(body !== undefined && {
            "content-type": "application/json",
            "content-length": Buffer.byteLength(body),
          }),
          ...headers,
        },
      },
      (answer) => {
        answer.resume();
        const { etag } = answer.headers;
        answer.on("end", () => resolve({ status: answer.statusCode!, ...(etag !== undefined && { etag }) }));
      },
    );
    sent.on("error", reject);
    sent.end(body);
  });
}

const driver = () => JSON.stringify({ name: `Driver ${unique()}` });
const small = { path: "/v1/a" };
const bare = (server: string, more: Partial<Way> = {}): Way => ({ name: server, server, ...small, ...more });
const club = { path: "/v1/club" };
const post = { server: "service", method: "POST", path: "/v1/drivers", body: driver, requests: 200 };
const ways: Way[] = [
  bare("bare"),
  bare("our common headers"),
  bare("our common headers, CORS on", { headers: { origin: "https://club.example" } }),
  bare("our rate limit"),
  bare("hono secureHeaders"),
  bare("hono cors", { headers: { origin: "https://club.example" } }),
  bare("hono etag"),
  bare("hono compress", { headers: { "accept-encoding": "gzip" } }),
  bare("bare", { name: "bare, POST", method: "POST", body: () => '{"name":"x"}' }),
  bare("hono bodyLimit", { method: "POST", body: () => '{"name":"x"}' }),
  { name: "GET the club", server: "service", ...club },
  { name: "GET the club, rate limit", server: "service, limited", ...club },
  {
    name: "GET the club, CORS",
    server: "service, CORS on",
    ...club,
    headers: { origin: "https://club.example" },
  },
  { name: "GET the club, known: 304", server: "service", ...club, headers: { "if-none-match": '"1"' } },
  { name: "GET 36 kinds, plain", server: "service", path: "/v1/kinds?limit=100", requests: 100 },
  {
    name: "GET 36 kinds, gzip",
    server: "service",
    path: "/v1/kinds?limit=100",
    requests: 100,
    headers: { "accept-encoding": "gzip" },
  },
  { name: "POST a driver", ...post },
  { name: "POST a driver, Idempotency-Key", ...post, headers: { "idempotency-key": "unique" } },
];

export async function benchConventions(say: (line: string) => void): Promise<void> {
  await inFolder(async (folder) => {
    const child = fork("tests/bench/conventions-server.ts", [folder], { execArgv: ["--import", "tsx"] });
    const message = <T>() =>
      new Promise<T>((resolve) => child.once("message", (value) => resolve(value as T)));
    const { ports, key } = await message<{ ports: Record<string, number>; key: string }>();
    const cpu = async () => {
      child.send("cpu");
      const { cpu } = await message<{ cpu: NodeJS.CpuUsage }>();
      return cpu.user + cpu.system;
    };
    const spend = async (way: Way, requests: number) => {
      const one = async (n: number) => {
        for (let i = 0; i < n; i++) {
          const headers = way.headers?.["idempotency-key"]
            ? { "idempotency-key": `"${unique()}"` }
            : (way.headers ?? {});
          const { status } = await ask(ports[way.server]!, way, key, headers);
          if (status >= 400) throw new Error(`${way.name}: ${status}`);
        }
      };
      const started = performance.now();
      const before = await cpu();
      await Promise.all(Array.from({ length: 10 }, () => one(requests / 10)));
      return {
        micros: ((await cpu()) - before) / requests,
        perSecond: (requests / (performance.now() - started)) * 1000,
      };
    };
    for (const way of ways) await spend(way, warm);
    const spent = ways.map(() => [] as { micros: number; perSecond: number }[]);
    for (let round = 0; round < rounds; round++)
      for (const [i, way] of ways.entries()) spent[i]!.push(await spend(way, way.requests ?? 400));
    say("| request | CPU µs, median (least) | requests/s, best |\n|---|---|---|");
    for (const [i, { name }] of ways.entries()) {
      const micros = spent[i]!.map((one) => one.micros);
      const best = Math.max(...spent[i]!.map((one) => one.perSecond));
      say(
        `| ${name} | ${Math.round(median(micros))} (${Math.round(Math.min(...micros))}) | ${Math.round(best)} |`,
      );
    }
    child.kill();
    agent.destroy();
  });
}
