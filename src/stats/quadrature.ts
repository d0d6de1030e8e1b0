/** Gauss nodes for a gamma law: expectations of smooth functions of a gamma variable in a few evaluations. */

/**
 * Nodes and weights with Σ weight f(node) = E f(X) for every polynomial f of degree below 2 `nodes`, X gamma.
 *
 * The nodes are the eigenvalues of the Jacobi matrix of the generalised Laguerre polynomials
 * (Golub & Welsch 1969), found by the implicit QL method.
 *
 * @param law.shape above 0
 * @param law.scale above 0, the unit of the nodes
 * @param nodes whole number of 1 to 64
 * @returns ascending nodes, weights that sum to 1
 * @throws {RangeError} if a parameter is out of range
 */
export function gammaQuadrature(
  law: { shape: number; scale: number },
  nodes: number,
): { node: number; weight: number }[] {
  const { shape, scale } = law;
  if (!(shape > 0 && shape < Infinity && scale > 0 && scale < Infinity)) {
    throw new RangeError("gammaQuadrature requires a finite shape and scale above 0");
  }
  if (!Number.isInteger(nodes) || nodes < 1 || nodes > 64) {
    throw new RangeError(`gammaQuadrature requires 1 to 64 nodes, got ${nodes}`);
  }
  const diagonal = Array.from({ length: nodes }, (_, i) => 2 * i + shape);
  const beside = Array.from({ length: nodes }, (_, i) => Math.sqrt((i + 1) * (i + shape)));
  const first = tridiagonalEigen(diagonal, beside);
  const sum = first.reduce((total, value) => total + value * value, 0);
  return diagonal
    .map((value, i) => ({ node: Math.max(0, scale * value), weight: first[i]! ** 2 / sum }))
    .sort((a, b) => a.node - b.node);
}

/** Turns `diagonal` into the eigenvalues and gives the first component of each eigenvector. */
function tridiagonalEigen(diagonal: number[], beside: number[]): number[] {
  const size = diagonal.length;
  const first = new Array<number>(size).fill(0);
  first[0] = 1;
  beside[size - 1] = 0;
  for (let low = 0; low < size; low++) {
    for (let round = 0; round < 60; round++) {
      let split = low;
      while (split < size - 1) {
        const scale = Math.abs(diagonal[split]!) + Math.abs(diagonal[split + 1]!);
        if (Math.abs(beside[split]!) <= 1e-16 * scale) break;
        split++;
      }
      if (split === low) break;
      qlSweep(diagonal, beside, first, low, split);
    }
  }
  return first;
}

function qlSweep(d: number[], e: number[], first: number[], low: number, split: number): void {
  const slope = (d[low + 1]! - d[low]!) / (2 * e[low]!);
  const root = Math.hypot(slope, 1);
  let g = d[split]! - d[low]! + e[low]! / (slope + (slope >= 0 ? root : -root));
  let sine = 1;
  let cosine = 1;
  let shift = 0;
  for (let i = split - 1; i >= low; i--) {
    const f = sine * e[i]!;
    const b = cosine * e[i]!;
    const radius = Math.hypot(f, g);
    e[i + 1] = radius;
    if (radius === 0) {
      d[i + 1]! -= shift;
      e[split] = 0;
      return;
    }
    sine = f / radius;
    cosine = g / radius;
    g = d[i + 1]! - shift;
    const turn = (d[i]! - g) * sine + 2 * cosine * b;
    shift = sine * turn;
    d[i + 1] = g + shift;
    g = cosine * turn - b;
    const above = first[i + 1]!;
    first[i + 1] = sine * first[i]! + cosine * above;
    first[i] = cosine * first[i]! - sine * above;
  }
  d[low]! -= shift;
  e[low] = g;
  e[split] = 0;
}
