// Bounds between events, closed: how far any two of them can lie apart, or that they contradict one another.

/** Times that differ by less than this are the same [s]. */
export const TOLERANCE = 1e-9;

/** A square matrix without arcs: 0 on the diagonal, Infinity elsewhere. */
export function noArcs(n) {
  return Array.from({ length: n }, (_, i) => Array.from({ length: n }, (_, j) => (i === j ? 0 : Infinity)));
}

/** Lay both arcs of lo <= t(b) - t(a) <= hi [s]; an open side is null. */
export function layBound(arcs, a, b, lo, hi) {
  arcs[a][b] = Math.min(arcs[a][b], hi ?? Infinity);
  arcs[b][a] = Math.min(arcs[b][a], -(lo ?? -Infinity));
}

/** Shortest paths between all pairs, in place. */
export function closeArcs(arcs) {
  const n = arcs.length;
  for (let k = 0; k < n; k++) {
    for (let i = 0; i < n; i++) {
      const ik = arcs[i][k];
      if (ik === Infinity) continue;
      for (let j = 0; j < n; j++) {
        const length = ik + arcs[k][j];
        if (length < arcs[i][j]) arcs[i][j] = length;
      }
    }
  }
  return arcs;
}

/** Whether closed arcs hold a negative cycle, beyond rounding. */
export function contradicts(closed) {
  return closed.some((row, i) => row[i] < -TOLERANCE);
}
