import { expect } from "vitest";

/**
 * A number of a documented result, compared at the digits shown: 12.98 stands for anything that rounds to it, and so
 * does 1.3e-7. It takes part in vitest's comparisons as an asymmetric matcher, and therefore also inside of lists.
 */
class Digits {
  readonly $$typeof = Symbol.for("jest.asymmetricMatcher");
  readonly text: string;
  constructor(text: string) {
    this.text = text;
  }
  asymmetricMatch(actual: unknown): boolean {
    const [digits = "", exponent = "0"] = this.text.toLowerCase().split("e");
    const unit = 10 ** (Number(exponent) - (digits.split(".")[1]?.length ?? 0));
    // A whole number is a count unless it is written with an exponent: 3 does not stand for 2.9.
    const slack = /[.e]/i.test(this.text) ? unit / 2 : 0;
    return typeof actual === "number" && Math.abs(actual - Number(this.text)) <= slack * (1 + 1e-9);
  }
  toString(): string {
    return this.text;
  }
  toAsymmetricMatcher(): string {
    return this.text;
  }
}

/** Compares a value with the text after `// =>`, which is an expression of TypeScript. */
export function expectShown(actual: unknown, shown: string): void {
  const expression = shown.replaceAll(
    /("(?:\\.|[^"\\])*"|'(?:\\.|[^'\\])*')|(?<![\w.$])-?\d+(?:\.\d+)?(?:e[+-]?\d+)?(?![\w.])/gi,
    (number, string: string | undefined) => string ?? `digits(${JSON.stringify(number)})`,
  );
  const expected: unknown = new Function("digits", `return (${expression});`)(
    (text: string) => new Digits(text),
  );
  expect(actual).toEqual(expected);
}
