/** Reads a document of elements tag by tag, and says what is wrong with their nesting; nothing, where all is well. */
export function nestingFaults(document: string, empty: readonly string[] = []): string[] {
  const open: string[] = [];
  const faults: string[] = [];
  const body = document.replace(/^<!doctype html>/i, "");
  const tags = /<(\/?)([a-zA-Z][\w-]*)((?:\s+[\w:-]+="[^"<>]*")*)\s*>|[<>]/g;
  for (const [tag, slash, name] of body.matchAll(tags)) {
    if (name === undefined) faults.push(`a bare ${tag}`);
    else if (slash === "/") {
      const last = open.pop();
      if (last !== name) faults.push(`</${name}> closes ${last ?? "nothing"}`);
    } else if (!empty.includes(name)) open.push(name);
  }
  return [...faults, ...open.map((name) => `${name} is never closed`)];
}

/** The text of the first element of a name, with its entities read. */
export function textOf(document: string, name: string): string {
  const inside = new RegExp(`<${name}[^>]*>(.*?)</${name}>`, "s").exec(document)?.[1] ?? "";
  return inside
    .replaceAll(/<[^>]*>/g, "")
    .replaceAll("&lt;", "<")
    .replaceAll("&gt;", ">")
    .replaceAll("&quot;", '"')
    .replaceAll("&#39;", "'")
    .replaceAll("&amp;", "&");
}
