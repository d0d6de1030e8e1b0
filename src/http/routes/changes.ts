import { z } from "zod";
import { changeTypes, subjectKinds } from "../../domain/change.ts";
import { readChanges } from "../../services/read-changes.ts";
import { operation } from "../operation.ts";
import { Id, Instant, queryInteger } from "../schemas.ts";

const Position = z.number().int().min(0).meta({
  description: "counts the changes of the club; it only rises, and what is given once is never given again",
  example: 1482,
});
/** Open, for new ones come: a client passes over what it does not know. */
const ChangeType = z.string().meta({
  description: `what happened: the sort of thing, and what became of it: ${changeTypes.join(", ")}; new ones may come`,
  example: "piece.fitted",
});

const Change = z
  .object({
    position: Position,
    at: Instant.meta({ description: "when it was written down, UTC" }),
    type: ChangeType,
    subject: z
      .object({
        kind: z.string().meta({
          description: `${subjectKinds.join(", ")}; new ones may come`,
          example: "piece",
        }),
        id: Id,
      })
      .meta({ description: "what it happened to; read it by its id for more" }),
    by: z.string().nullable().meta({
      description: "name of the key that did it; null for what the service noticed by itself",
      example: "phone of Una",
    }),
    data: z.record(z.string(), z.unknown()).meta({
      description:
        "what a follower needs at once; which members there are depends on the type, and new ones may come",
      example: {
        mark: "set 2, FL",
        carId: "0192f0c1-7c1e-7b6a-9c1d-2f6a1b3c4d03",
        position: "front-left tyre",
      },
    }),
  })
  .meta({ id: "Change", description: "one entry of the feed of changes" });

const ChangeFeed = z
  .object({
    items: z.array(Change),
    next: Position.meta({
      description:
        "position in the feed: give it as `after` to go on, at once if `more` is true and later if not: nothing is missed or repeated",
      example: 1482,
    }),
    more: z.boolean().meta({ description: "are there further changes already?" }),
  })
  .meta({ id: "ChangeFeed" });

const Types = z
  .string()
  .max(1000)
  .transform((list, issues) => {
    const words = list.split(",").map((word) => word.trim());
    const unknown = words.find((word) => !changeTypes.includes(word as (typeof changeTypes)[number]));
    if (unknown === undefined) return words as (typeof changeTypes)[number][];
    issues.addIssue({ code: "custom", message: `"${unknown}" is none of ${changeTypes.join(", ")}` });
    return z.NEVER;
  })
  .meta({
    description: "only these types, with commas between them",
    override: { type: "string" },
    example: "piece.near-limit,car.not-ready",
  });

export const changeOperations = [
  operation({
    method: "get",
    path: "/v1/changes",
    operationId: "listChanges",
    summary:
      "Follow what changes: pieces, cars, lines, stock levels, orders, and thresholds that are crossed",
    description:
      "Every change in the order in which it was kept. Start without `after` for everything, keep `next`, and go on " +
      "from there as often as you like. A driver sees what happens to their own things and to what is shared, the shop " +
      "lines, shelf stock and orders for shelves. An import tells each thing that it added or changed. Thresholds are looked at shortly after what may " +
      "cross them was logged, and each crossing is told once: a piece that is not likely to last the next meeting " +
      "(`piece.near-limit`), a car with something to change or an empty position (`car.not-ready`), a line to be ordered " +
      "now (`line.below-reorder-point`).",
    tags: ["changes"],
    need: "changes:read",
    query: z.strictObject({
      after: queryInteger(0, 999_999_999, "the position that was dealt with last; 0 if not given").optional(),
      limit: queryInteger(1, 500, "how many items an answer has at most; 100 if not given").optional(),
      types: Types.optional(),
    }),
    answers: { 200: { description: "The changes after that position.", body: ChangeFeed } },
    example: { query: { after: "0", limit: "20" } },
  })(async ({ query }, work) => {
    const { after = 0, limit = 100, types } = query;
    return {
      status: 200,
      body: (await readChanges(work, { after, limit, types })) as z.input<typeof ChangeFeed>,
    };
  }),
];
