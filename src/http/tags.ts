/** The groups of the API description, in the order in which a newcomer reads them. */
export const tags = [
  { name: "club", description: "The club and its drivers" },
  { name: "catalogue", description: "What the trade knows: kinds of part, car models, venues" },
  { name: "lines", description: "Parts as a shop sells them, and who supplies them" },
  { name: "cars", description: "Cars, their positions and the pieces fitted there" },
  { name: "pieces", description: "Single parts: their marks, fittings, usage and end" },
  { name: "runs", description: "Outings of a car, from which all usage follows" },
  { name: "inspections", description: "Readings, grades, findings and services at the bench" },
  { name: "meetings", description: "The calendar behind and ahead" },
  { name: "stock", description: "Locations, movements, levels and stocktakes" },
  { name: "shops", description: "Shops, the stock lists they publish, and what they hold for drivers" },
  { name: "orders", description: "Orders placed, promised and received" },
  { name: "answers", description: "What is wearing out, when, and what to order" },
  { name: "changes", description: "What changes, in order, for programs that follow" },
  { name: "calculators", description: "The statistics directly, with no log needed" },
  { name: "bulk", description: "Import and export" },
  { name: "service", description: "Health and description of the service" },
] as const;
