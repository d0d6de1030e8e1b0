import type { Operation } from "../operation.ts";
import { clubOperations } from "./club.ts";

/** Every operation of the API, in the order in which the description shows them. */
export const operations: readonly Operation[] = [...clubOperations];
