import fc from "fast-check";
import { expect, it } from "vitest";
import { element, escaped, trusted } from "../../src/http/markup.ts";

const names: Record<string, string> = { amp: "&", lt: "<", gt: ">", quot: '"', "#39": "'" };
const read = (text: string) => text.replaceAll(/&(amp|lt|gt|quot|#39);/g, (_, name: string) => names[name]!);

it("a text comes back as it was from an element and from an attribute, and never opens a tag there", () => {
  fc.assert(
    fc.property(fc.string({ unit: "grapheme" }), (text) => {
      const { markup } = element("text", { title: text }, text);
      const [, attribute, content] = /^<text title="([^"<>]*)">([^<>]*)<\/text>$/s.exec(markup)!;
      expect([read(attribute!), read(content!)]).toEqual([text, text]);
    }),
  );
});

it("what XML has no form for becomes U+FFFD: control characters and halves of pairs", () => {
  expect(escaped("a\0b\u001fc\ud800d\udc00e\ufffff\tg\nh😀")).toBe(
    "a\ufffdb\ufffdc\ufffdd\ufffde\ufffdf\tg\nh😀",
  );
});

it("elements are not escaped again, and attributes without a value are left out", () => {
  expect(element("g", { id: null, hidden: false, x: 1.23456 }, element("b", {}, "&"), null, 2).markup).toBe(
    '<g x="1.23"><b>&amp;</b>2</g>',
  );
  expect(element("style", {}, trusted("a>b{}")).markup).toBe("<style>a>b{}</style>");
  expect(element("meta", { charset: "utf-8" }).markup).toBe('<meta charset="utf-8">');
});
