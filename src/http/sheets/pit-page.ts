import { dayIn } from "../../domain/club-time.ts";
import { count, percent } from "../../services/in-words.ts";
import type { pitList } from "../../services/pit-list.ts";
import { longDay } from "../charts/frame.ts";
import { amounts, decimal, shelvesOf } from "./restock-sheet.ts";
import { type Column, type Sheet, yesNo } from "./sheet.ts";

type List = Awaited<ReturnType<typeof pitList>>;
type Change = List["change"][number];
type Carry = List["carry"][number];
/** A line of the list: something to change before leaving, or something to carry. */
type Row = { change: Change; carry: null } | { change: null; carry: Carry };

const ofCarry =
  <T>(of: (row: Carry) => T) =>
  ({ carry }: Row): T | null =>
    carry === null ? null : of(carry);
const number = (heading: string) => ({ heading, number: true as const });

/** What is fitted already has no number, no place and no price: a change is one piece of the car. */
const ofCarryAlone = [
  ...["sku", "pieces", "grams", "inBox", "atHome", "spares", "onShelf"],
  ...["shelves", "missing", "cost"],
];

const columns: Column<Row>[] = [
  { name: "do", of: ({ change }) => (change === null ? "carry" : "change before leaving") },
  {
    name: "what",
    of: ({ change, carry }) => (change === null ? carry.name : `${change.position}: ${change.mark}`),
    page: { heading: "What" },
  },
  {
    name: "sku",
    of: ofCarry(({ sku }) => sku),
    page: { heading: "SKU" },
  },
  { name: "pieces", of: ofCarry(({ pieces }) => pieces), page: number("Pieces") },
  { name: "grams", of: ofCarry(({ weightGrams }) => weightGrams), page: number("Grams") },
  {
    name: "carStopper",
    of: ({ change, carry }) => (change ?? carry).carStopper,
    page: { heading: "Day over without it", of: ({ change, carry }) => yesNo((change ?? carry).carStopper) },
  },
  {
    name: "chance",
    of: ({ change, carry }) => (change === null ? carry.chanceNeeded : change.wearsOut),
    page: {
      ...number("Chance"),
      of: ({ change, carry }) => percent(change === null ? carry.chanceNeeded : change.wearsOut),
    },
  },
  { name: "inBox", of: ofCarry(({ inBox }) => inBox), page: number("In the box") },
  { name: "atHome", of: ofCarry(({ atHome }) => atHome), page: number("At home") },
  { name: "spares", of: ofCarry(({ spares }) => spares), page: number("Part-worn") },
  { name: "onShelf", of: ofCarry(({ onShelf }) => onShelf), page: number("On the shelf") },
  { name: "shelves", of: ofCarry(shelvesOf), page: { heading: "On shops' shelves" } },
  { name: "missing", of: ofCarry(({ missing }) => missing), page: number("To buy") },
  {
    name: "cost",
    of: ofCarry(({ costMinorUnits, currency }) => decimal(costMinorUnits, currency)),
    page: {
      ...number("Cost"),
      of: ofCarry(({ costMinorUnits, currency }) => `${decimal(costMinorUnits, currency)}\u00a0${currency}`),
    },
  },
  { name: "currency", of: ofCarry(({ currency }) => currency) },
  { name: "why", of: ({ change, carry }) => (change ?? carry).sentence },
  { name: "cautions", of: ({ change, carry }) => (change ?? carry).cautions.join(" ") },
];

const weight = ({ grams, linesWithout }: List["weight"]): string =>
  `It weighs ${Math.round(grams)} g${linesWithout === 0 ? "." : `, and ${count(linesWithout, "line")} of unknown weight.`}`;

/** The pit list as a page and a table: what to change before leaving, then what goes into the box. */
export function pitPage(list: List, timeZone: string): Sheet<Row> {
  const { meeting } = list;
  return {
    title: `Pit list: ${list.carName}, ${meeting.name}`,
    facts: [
      `${longDay(meeting.startsOn)}: ${meeting.runs} runs on ${meeting.surface}. As of ${longDay(dayIn(timeZone, list.asOf))}.`,
      list.sentence,
      list.met
        ? `That keeps the wanted chance of ${percent(list.target)} that no part ends the day.`
        : `The wanted chance of ${percent(list.target)} that no part ends the day is not reached.`,
      `To buy: ${amounts(list.totals)}. ${weight(list.weight)}`,
    ],
    columns,
    cautions: [...list.change, ...list.carry].flatMap(({ cautions }) => cautions),
    sections: [
      {
        caption: "Change before leaving (chance: worn out by the end)",
        rows: list.change.map((change) => ({ change, carry: null })),
        without: ofCarryAlone,
        none: "Nothing.",
      },
      {
        caption: "Carry (chance: needed)",
        rows: list.carry.map((carry) => ({ change: null, carry })),
        none: "Nothing.",
      },
    ],
  };
}
