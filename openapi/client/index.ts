import createClient, { type Client } from "openapi-fetch";
import type { components, paths } from "./schema.d.ts";

export type Schemas = components["schemas"];

export interface ClientOptions {
  /** where the service is, such as http://127.0.0.1:8377 */
  baseUrl: string;
  /** sent as `Authorization: Bearer KEY` with each request */
  key: string;
  /** another way to send requests; the platform's own fetch if not given */
  fetch?: (request: Request) => Promise<Response>;
}

/**
 * A client whose paths, parameters, bodies and answers are typed from openapi/openapi.json alone: it knows the
 * service only by its published description.
 */
export const makeClient = ({ baseUrl, key, fetch }: ClientOptions): Client<paths> =>
  createClient<paths>({
    baseUrl,
    headers: { authorization: `Bearer ${key}` },
    ...(fetch === undefined ? {} : { fetch }),
  });
