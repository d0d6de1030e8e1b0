/**
 * Lower triangular factor of a symmetric positive definite matrix, of which only the lower triangle is read; what is not quite
 * positive by rounding is taken as 1e-9.
 */
export function choleskyOf(m: readonly (readonly number[])[]): number[][] {
  const l = m.map(() => m.map(() => 0));
  for (let i = 0; i < m.length; i++)
    for (let j = 0; j <= i; j++) {
      let sum = m[i]![j]!;
      for (let k = 0; k < j; k++) sum -= l[i]![k]! * l[j]![k]!;
      l[i]![j] = i === j ? Math.sqrt(Math.max(sum, 1e-9)) : sum / l[j]![j]!;
    }
  return l;
}
