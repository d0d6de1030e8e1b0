import { writeFileSync } from "node:fs";
import { version } from "./app.ts";
import { openApiDocument } from "./http/document.ts";
import { operations } from "./http/routes/index.ts";

/** Writes openapi/openapi.json from the operations. */
writeFileSync("openapi/openapi.json", `${JSON.stringify(openApiDocument(operations, version), null, 2)}\n`);
