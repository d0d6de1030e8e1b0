import { serveStatic } from "@hono/node-server/serve-static";
import type { Hono } from "hono";
import { compress } from "hono/compress";
import { createRequire } from "node:module";
import path from "node:path";
import { isAlive } from "../../storage/health.ts";
import type { Db } from "../../storage/database.ts";
import type { AppEnv } from "../operation.ts";

const docsPage = `<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>Wear &amp; Spares: the API</title>
<link rel="icon" href="data:,">
<link rel="stylesheet" href="/docs/swagger-ui.css">
</head>
<body>
<div id="reference"></div>
<noscript>This page needs JavaScript. The same description is at <a href="/openapi.json">/openapi.json</a>.</noscript>
<script src="/docs/swagger-ui-bundle.js"></script>
<script src="/docs/start.js"></script>
</body>
</html>
`;
const docsScript = `SwaggerUIBundle({ url: "/openapi.json", dom_id: "#reference", validatorUrl: null, deepLinking: true, docExpansion: "none", persistAuthorization: true });
`;
/** The page loads nothing from elsewhere; its own style attributes need 'unsafe-inline', its icons data: URLs. */
const docsPolicy =
  "default-src 'none'; script-src 'self'; style-src 'self' 'unsafe-inline'; img-src 'self' data:; connect-src 'self'; frame-ancestors 'none'";

/** What is not part of the API: health, the description, and the page to browse it. None needs a key. */
export function serviceRoutes(
  app: Hono<AppEnv>,
  { db, document }: { db: Db; document: () => unknown },
): void {
  let described: string | undefined;
  // Few and large, and no request of the API: here the ready-made middleware may cost what it costs.
  for (const path of ["/openapi.json", "/docs/*"]) app.use(path, compress());
  app.get("/health", async (c) => {
    const alive = await isAlive(db);
    return c.json({ status: alive ? "ok" : "database unreachable" }, alive ? 200 : 503, {
      "cache-control": "no-store",
    });
  });
  app.get("/openapi.json", (c) => {
    described ??= `${JSON.stringify(document(), null, 2)}\n`;
    return c.body(described, 200, { "content-type": "application/json", "access-control-allow-origin": "*" });
  });
  app.get("/", (c) => c.redirect("/docs"));
  app.get("/docs", (c) => c.html(docsPage, 200, { "content-security-policy": docsPolicy }));
  app.get("/docs/start.js", (c) => c.body(docsScript, 200, { "content-type": "text/javascript" }));
  const assets = path.dirname(createRequire(import.meta.url).resolve("swagger-ui-dist/package.json"));
  for (const file of ["swagger-ui.css", "swagger-ui-bundle.js"])
    app.get(
      `/docs/${file}`,
      serveStatic({ root: path.relative(process.cwd(), assets), rewriteRequestPath: () => `/${file}` }),
    );
}
