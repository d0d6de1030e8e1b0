/**
 * Who may do what: the one place that decides. Every HTTP operation declares the need it has (an area and
 * read or write); a role answers each need with a reach. The tables are data, so that a finer matrix can replace them.
 */
export const roles = ["owner", "driver", "shop", "reader"] as const;
export type Role = (typeof roles)[number];

/**
 * club: its name, drivers · catalogue: kinds, car models, venues, meetings · lines: lines and suppliers ·
 * log: cars, pieces, fittings, runs, inspections · stock: locations, movements, orders ·
 * answers: forecasts, bench sheets, restock lists · calculators: sums that touch no log · changes: the feed of
 * what changes · bulk: import and export.
 */
export type Area =
  | "club"
  | "catalogue"
  | "lines"
  | "log"
  | "stock"
  | "answers"
  | "calculators"
  | "changes"
  | "bulk";
export type Need = `${Area}:${"read" | "write"}`;

/** `all` of the club, `own` rows of one driver, the shop's `shelf` only, or `none`. */
export type Reach = "all" | "own" | "shelf" | "none";

/** Whoever holds a key. `driverId` is set for a driver's key, and null otherwise. */
export interface Actor {
  clubId: string;
  keyId: string;
  name: string;
  role: Role;
  driverId: string | null;
}

const reaches: Record<Exclude<Role, "owner" | "reader">, Partial<Record<Need, Reach>>> = {
  driver: {
    "club:read": "all",
    "catalogue:read": "all",
    "lines:read": "all",
    "log:read": "own",
    "log:write": "own",
    "stock:read": "own",
    "stock:write": "own",
    "answers:read": "own",
    "calculators:read": "all",
    "changes:read": "own",
    "bulk:read": "own",
    "bulk:write": "own",
  },
  shop: {
    "club:read": "all",
    "catalogue:read": "all",
    "lines:read": "all",
    "lines:write": "all",
    "stock:read": "shelf",
    "stock:write": "shelf",
    "calculators:read": "all",
    "changes:read": "shelf",
    "bulk:read": "shelf",
    "bulk:write": "shelf",
  },
};

/** How far a role reaches for a need. An owner reaches everything; a reader reads what the owner sees. */
export function reachOf(role: Role, need: Need): Reach {
  if (role === "owner") return "all";
  if (role === "reader") return need.endsWith(":read") ? "all" : "none";
  return reaches[role][need] ?? "none";
}
