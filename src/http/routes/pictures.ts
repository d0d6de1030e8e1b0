import { z } from "zod";
import { limitNames } from "../../domain/wear.ts";
import { lineOutlook } from "../../services/line-outlook.ts";
import { restockPlan } from "../../services/restock-plan.ts";
import { shelfLineOutlook } from "../../services/shelf-plan.ts";
import { pictureAxes, wearPicture } from "../../services/wear-picture.ts";
import { scope } from "../answer-schemas.ts";
import { pictureHeaders } from "../charts/frame.ts";
import { ofTheCars, ofTheShelf, outlookChart } from "../charts/outlook-chart.ts";
import { planChart } from "../charts/plan-chart.ts";
import { wearChart } from "../charts/wear-chart.ts";
import { operation } from "../operation.ts";
import { ById, Day, Id, queryInteger } from "../schemas.ts";

/** A picture that is as wide as a phone, unless it is asked for wider: its text keeps its size. */
const usualWidth = 400;
const width = queryInteger(
  320,
  1600,
  "width of the picture in pixels, 400 if not given; text stays at 13 pixels, so that a wider picture shows more",
).optional();

const svg = "image/svg+xml";
const pictureOf = (text: string) => ({ status: 200 as const, body: text, headers: pictureHeaders });
const drawing =
  "An SVG picture with its own text alternative (title and desc, the numbers in sentences), for light and dark screens and for print. It loads nothing and runs nothing.";

export const pictureOperations = [
  operation({
    method: "get",
    path: "/v1/pieces/{id}/wear.svg",
    operationId: "wearPicture",
    summary: "A picture of a piece's wear: readings, band, limits, forecast",
    description:
      `${drawing} Up to now the band (10 to 90 %) and its median show what was known at each moment, from the looks up to then; beyond now they are the forecast, to the limit asked for. ` +
      "A limit that is stated as a size is drawn as a size, one that is stated as a loss as wear. The picture of a retired piece ends when it was retired.",
    tags: ["answers"],
    need: "answers:read",
    params: ById,
    query: z.strictObject({
      axis: z.enum(pictureAxes).optional().meta({
        description:
          "usage (if not given): on the kind's clock, ahead on the surface that its usual life is stated on; date: along the calendar",
      }),
      limit: z
        .enum(limitNames)
        .optional()
        .meta({ description: "which wear limit is forecast to; the club's if not given" }),
      carId: Id.optional().meta({ description: "for a spare: the car whose calendar it would follow" }),
      width,
    }),
    answers: { 200: { description: "The picture.", type: svg } },
    problems: [404, 409],
    example: { query: { axis: "usage", limit: "club" } },
  })(async ({ params, query: { width = usualWidth, ...asked } }, work) =>
    pictureOf(wearChart(await wearPicture(work, params.id, asked), asked.axis ?? "usage", width)),
  ),

  operation({
    method: "get",
    path: "/v1/lines/{id}/outlook.svg",
    operationId: "outlookPicture",
    summary: "A picture of a line's need, month by month",
    description: `${drawing} Each month has its 10th percentile, median and 90th percentile, and its mean.`,
    tags: ["answers"],
    need: "answers:read",
    params: ById,
    query: z.strictObject({ ...scope, through: Day.meta({ description: "last day that counts" }), width }),
    answers: { 200: { description: "The picture.", type: svg } },
    problems: [404, 409],
    example: { query: { through: "2027-06-30" } },
  })(async ({ params, query: { width = usualWidth, ...asked } }, work) =>
    pictureOf(outlookChart(ofTheCars(await lineOutlook(work, params.id, asked)), width)),
  ),

  operation({
    method: "get",
    path: "/v1/lines/{id}/shelf-outlook.svg",
    operationId: "shelfOutlookPicture",
    summary: "A picture of what a line's shelf will be asked for, month by month",
    description: `${drawing} For the shop and the owner: the pooled need of the drivers who share theirs, beyond what they hold themselves, with the 10th percentile, median and 90th percentile of each month, as in the plan of the shelf. It says how many drivers stand behind it, and is refused (409, \`withheld\`) where those are fewer than three.`,
    tags: ["answers"],
    need: "stock:read",
    params: ById,
    query: z.strictObject({ through: Day.meta({ description: "last day that counts" }), width }),
    answers: { 200: { description: "The picture.", type: svg } },
    problems: [404, 409],
    example: { query: { through: "2027-06-30" } },
  })(async ({ params, query: { width = usualWidth, through } }, work) =>
    pictureOf(outlookChart(ofTheShelf(await shelfLineOutlook(work, params.id, { through })), width)),
  ),

  operation({
    method: "get",
    path: "/v1/restock-plan.svg",
    operationId: "restockPlanPicture",
    summary: "A picture of what money buys: chance of no lost run against cost",
    description: `${drawing} The curve goes on beyond the budget; the same numbers are in the restock plan.`,
    tags: ["answers"],
    need: "answers:read",
    query: z.strictObject({
      ...scope,
      through: Day.meta({ description: "last day to get through" }),
      budgetMinorUnits: queryInteger(0, 999_999_999, "money to spend, in minor units of the club's currency"),
      parts: z.enum(["car-stoppers", "all"]).optional().meta({
        description: "car-stoppers: parts without which a run is lost (if not given); all: every part in use",
      }),
      width,
    }),
    answers: { 200: { description: "The picture.", type: svg } },
    problems: [404, 409],
    example: { query: { through: "2027-06-30", budgetMinorUnits: "20000" } },
  })(async ({ query: { width = usualWidth, ...asked } }, work) =>
    pictureOf(planChart(await restockPlan(work, asked), width)),
  ),
];
