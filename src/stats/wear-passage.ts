/** First passage of a path whose level now is uncertain and whose rate is known, in closed form up to one average. */
import { tailErfcx } from "./wear-tail.ts";

/**
 * Probability that a level N(·, variance), `distance` below the limit on average, has passed it after moving by
 * `travel` on average and gaining the variance `gained`. A level already past the limit counts.
 *
 * With S² = gained, V = variance + S² and z = (travel - distance) / sqrt(V) it is
 * Φ(z) + S / (2 sqrt(V)) exp(-z² / 2) E erfcx((travel + |Y|) / (S sqrt(2))), where Y is the distance still to go at the
 * start given that the path ends at the limit: normal with mean (S² distance + variance travel) / V and variance
 * S² variance / V. (The first-passage law integrated over the level; derived for this module. The reflected term and
 * what the first term counts too little beyond the limit are mirror images, which is why |Y| appears.) The average over Y takes
 * a few nodes.
 */
export function passageChance(distance: number, variance: number, travel: number, gained: number): number {
  const total = variance + gained;
  if (!(total > 0)) return travel >= distance ? 1 : 0;
  const root = Math.sqrt(total);
  const u = (distance - travel) / root;
  if (u > 38) return 0;
  if (u < -8.5) return 1;
  const half = 0.5 * Math.exp(-0.5 * u * u);
  let reflected = 0;
  if (gained > 0) {
    // E erfcx((travel + |Y|) / sqrt(2 gained)), Y = distance covered by the level given that the path ends at the limit.
    const scale = Math.SQRT1_2 / Math.sqrt(gained);
    const centre = Math.abs((gained * distance + variance * travel) / total);
    const sd = Math.sqrt((variance * gained) / total);
    const mean = centre > 2.5 * sd ? unfolded(centre, sd, travel, scale) : folded(centre, sd, travel, scale);
    reflected = Math.sqrt(gained / total) * mean;
  }
  return u >= 0
    ? half * (tailErfcx(u * Math.SQRT1_2) + reflected)
    : 1 - half * (tailErfcx(-u * Math.SQRT1_2) - reflected);
}

/** E erfcx((travel + Y) scale) for Y normal and almost surely positive: three Gauss-Hermite nodes, one where they agree. */
function unfolded(centre: number, sd: number, travel: number, scale: number): number {
  const middle = tailErfcx((travel + centre) * scale);
  const away = Math.sqrt(3) * sd;
  if (away * scale < 0.02) return middle;
  const below = tailErfcx((travel + Math.max(0, centre - away)) * scale);
  return (4 * middle + below + tailErfcx((travel + centre + away) * scale)) / 6;
}

// Six-point Gauss-Legendre rule on (0, 1).
const NODES = [
  0.03376524289842399, 0.1693953067668677, 0.3806904069584015, 0.6193095930415985, 0.8306046932331324,
  0.966234757101576,
];
const WEIGHTS = [
  0.08566224618958516, 0.1803807865240693, 0.23395696728634552, 0.23395696728634552, 0.1803807865240693,
  0.08566224618958516,
];

/** The same for |Y|, whose density is smooth on the positive half-line although |Y| has a kink. */
function folded(centre: number, sd: number, travel: number, scale: number): number {
  const reach = centre / sd + 3.7;
  let sum = 0;
  let mass = 0;
  for (let i = 0; i < 6; i++) {
    const y = reach * NODES[i]!;
    const density = Math.exp(-0.5 * (y - centre / sd) ** 2) + Math.exp(-0.5 * (y + centre / sd) ** 2);
    const weight = WEIGHTS[i]! * density;
    mass += weight;
    sum += weight * tailErfcx((travel + y * sd) * scale);
  }
  return sum / mass;
}
