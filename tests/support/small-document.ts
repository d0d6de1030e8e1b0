/**
 * As much of a document as a page of plain JavaScript needs that makes elements, fills them, and waits for a form to
 * be sent. Not a browser: it does not lay out, and runs no HTML; it lets a page's script be tried where no browser is.
 */
class SmallElement {
  readonly name: string;
  readonly children: SmallElement[] = [];
  #listeners = new Map<string, ((event: { preventDefault(): void }) => unknown)[]>();
  #text = "";
  value = "";
  className = "";
  hidden = false;
  src = "";
  alt = "";
  constructor(name: string) {
    this.name = name;
  }
  get textContent(): string {
    return this.#text + this.children.map((child) => child.textContent).join("");
  }
  set textContent(text: string) {
    this.children.length = 0;
    this.#text = text;
  }
  replaceChildren(...children: SmallElement[]) {
    this.#text = "";
    this.children.splice(0, Infinity, ...children);
  }
  addEventListener(type: string, listener: (event: { preventDefault(): void }) => unknown) {
    this.#listeners.set(type, [...(this.#listeners.get(type) ?? []), listener]);
  }
  /** Tells the listeners, and waits for what they do. */
  async tell(type: string) {
    await Promise.all((this.#listeners.get(type) ?? []).map((listener) => listener({ preventDefault() {} })));
  }
}

/** The elements of a page that have an id, with the values that stand in it. */
export function smallDocument(html: string) {
  const elements = new Map<string, SmallElement>();
  for (const [tag, name] of html.matchAll(/<(\w+)[^<>]*\sid="[^"]+"[^<>]*>/g)) {
    const attribute = (key: string) => new RegExp(`\\s${key}="([^"]*)"`).exec(tag)?.[1];
    const element = new SmallElement(name!);
    element.value = attribute("value") ?? "";
    element.hidden = /\shidden[\s>]/.test(tag);
    elements.set(attribute("id")!, element);
  }
  return {
    getElementById(id: string) {
      const element = elements.get(id);
      if (element === undefined) throw new Error(`The page has no element with the id ${id}`);
      return element;
    },
    createElement: (name: string) => new SmallElement(name),
  };
}
