// How late the phone's sound is heard: what the browser reports, and what tapping along shows.

/** More delay than this is worth a warning [s]. */
export const WARN_ABOVE = 0.04;

/** People tap ahead of a beat that they follow, by about this much [s]. From memory: 20 to 80 ms. */
export const TAPS_LEAD = 0.04;

/** Output delay as the browser reports it [s]; null where it says nothing. */
export function reportedLatency(context) {
  const parts = [context?.baseLatency, context?.outputLatency].filter((x) => Number.isFinite(x));
  return parts.length ? parts.reduce((sum, x) => sum + x, 0) : null;
}

/**
 * Delay from taps along a row of pips.
 * @param pips when each pip was handed to the speaker [s]; taps: when each tap came, same clock [s].
 * @returns {delay, spread, n} [s], or {reason} where it cannot be told.
 */
export function latencyFromTaps(pips, taps) {
  const gap = pips[1] - pips[0];
  const offs = [];
  for (const pip of pips.slice(2)) {
    const near = taps.map((t) => t - pip).filter((d) => d > -gap / 2 && d <= gap / 2);
    if (near.length === 1) offs.push(near[0]);
  }
  if (offs.length < 5) return { reason: `only ${offs.length} taps beside a pip; 5 or more are wanted` };
  const middle = median(offs);
  const spread = 1.48 * median(offs.map((d) => Math.abs(d - middle)));
  if (spread > 0.06) return { reason: `the taps lie ${Math.round(1000 * spread)} ms apart; tap with one finger, steadily` };
  return { delay: Math.max(0, middle + TAPS_LEAD), spread, n: offs.length };
}

function median(values) {
  const sorted = [...values].sort((a, b) => a - b);
  const half = sorted.length >> 1;
  return sorted.length % 2 ? sorted[half] : (sorted[half - 1] + sorted[half]) / 2;
}
