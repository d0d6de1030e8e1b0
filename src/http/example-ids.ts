/**
 * The ids that the examples of the description speak of. The tests prepare a club in which they exist, send every
 * example, and keep what came back as the example of the answer.
 */
export const exampleIds = {
  driverId: "01930000-0000-7000-8000-0000000d0001",
  carId: "01930000-0000-7000-8000-0000000ca001",
  carModelId: "01930000-0000-7000-8000-0000000c0d01",
  kindId: "01930000-0000-7000-8000-00000000ad01",
  positionId: "01930000-0000-7000-8000-000000b05001",
  lineId: "01930000-0000-7000-8000-00000011e001",
  supplierId: "01930000-0000-7000-8000-0000005bb001",
  pieceId: "01930000-0000-7000-8000-00000b1ece01",
  sparePieceId: "01930000-0000-7000-8000-00000b1ece02",
  retiredPieceId: "01930000-0000-7000-8000-00000b1ece03",
  tyreId: "01930000-0000-7000-8000-000000271e01",
  otherTyreId: "01930000-0000-7000-8000-000000271e02",
  packId: "01930000-0000-7000-8000-00000000bac1",
  fittingId: "01930000-0000-7000-8000-000000f17001",
  runId: "01930000-0000-7000-8000-0000000000a1",
  inspectionId: "01930000-0000-7000-8000-000000015b01",
  venueId: "01930000-0000-7000-8000-00000000ea01",
  meetingId: "01930000-0000-7000-8000-00000003ee01",
  pastMeetingId: "01930000-0000-7000-8000-00000003ee02",
  homeId: "01930000-0000-7000-8000-000000000001",
  pitBoxId: "01930000-0000-7000-8000-000000000002",
  shelfId: "01930000-0000-7000-8000-000000000003",
  movementId: "01930000-0000-7000-8000-0000000000e1",
  orderId: "01930000-0000-7000-8000-00000000de01",
  feedId: "01930000-0000-7000-8000-00000000fe01",
  feedToken: "cal_01930000-0000-7000-8000-00000000fe02",
  shopId: "01930000-0000-7000-8000-0000000540b1",
  arrivalId: "01930000-0000-7000-8000-00000000a101",
  reservationId: "01930000-0000-7000-8000-00000000e501",
} as const;

/** Which of them a path parameter `{id}` means, by the word before it in the path. */
const byCollection: Record<string, string> = {
  drivers: exampleIds.driverId,
  cars: exampleIds.carId,
  "car-models": exampleIds.carModelId,
  kinds: exampleIds.kindId,
  positions: exampleIds.positionId,
  lines: exampleIds.lineId,
  suppliers: exampleIds.supplierId,
  pieces: exampleIds.pieceId,
  fittings: exampleIds.fittingId,
  runs: exampleIds.runId,
  inspections: exampleIds.inspectionId,
  venues: exampleIds.venueId,
  meetings: exampleIds.meetingId,
  locations: exampleIds.homeId,
  movements: exampleIds.movementId,
  orders: exampleIds.orderId,
  entries: exampleIds.carId,
  shops: exampleIds.shopId,
  arrivals: exampleIds.arrivalId,
  reservations: exampleIds.reservationId,
};

/** The path parameters of an operation's example: those it states, and else the ids of the prepared club. */
export function exampleParams(spec: {
  path: string;
  example?: { params?: Record<string, string> };
}): Record<string, string> {
  const params: Record<string, string> = {};
  for (const [, before, name] of spec.path.matchAll(/([\w-]+)\/\{(\w+)\}/g)) {
    const id = byCollection[before!];
    if (id !== undefined) params[name!] = id;
  }
  return { ...params, ...spec.example?.params };
}
