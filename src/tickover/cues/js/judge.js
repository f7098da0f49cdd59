// What a list of exact taps proves: each bound hit, missed or undecided, and the attempt as a whole.
// Brackets, several clocks and polled traces are judged elsewhere; here every instant is exact and on one clock.

import { TOLERANCE, closeArcs, contradicts, layBound, noArcs } from "./network.js";

/** Every bound of a compiled routine in a fixed order, as {from, to, lo, hi, label, group, counted}; open sides null. */
export function boundsOf(routine) {
  return [
    ...routine.constraints.map((c) => boundRow(c.a, c.b, c)),
    ...routine.answers.map((w) => boundRow(w.after, w.event, w)),
    ...routine.counters.map((k) => boundRow(k.start, k.event, k, true)),
  ];
}

function boundRow(from, to, bound, counted = false) {
  return { from, to, lo: bound.lo ?? -Infinity, hi: bound.hi ?? Infinity, label: bound.label, group: bound.group, counted };
}

/**
 * Judge exact taps.
 * @param routine compiled routine.
 * @param seen [{event, t}] in the order tapped [s].
 * @param horizon until when was watched [s], or null; what was not seen by then happened later or not at all.
 * @param counted counted time by the event that ends it, {event: seconds}.
 * @returns {verdict, joint, bounds: [{label, group, event, verdict, lo, hi, early, late}]}; times in seconds.
 */
export function judge(routine, seen, horizon = null, counted = {}) {
  const bounds = boundsOf(routine);
  const times = new Map(seen.map((s) => [s.event, s.t]));
  if (!inOrder(seen)) {
    const none = { verdict: "undecided", lo: -Infinity, hi: Infinity, early: null, late: null };
    return {
      verdict: "undecided",
      joint: "undecided",
      bounds: bounds.map((b) => ({ label: b.label, group: b.group, event: b.to, ...none })),
    };
  }
  const single = bounds.map((b) => judgeBound(b, times, horizon, counted));
  let joint = "undecided";
  if (single.some((b) => b.verdict === "missed") || impossible(routine, bounds, times, horizon)) joint = "missed";
  else if (single.every((b) => b.verdict === "hit")) joint = "hit";
  let verdict = joint;
  if (joint === "hit" && routine.events.some((e) => !times.has(e.name))) verdict = "undecided";
  return { verdict, joint, bounds: single };
}

/** Taps that run backwards, or one event at two times, prove nothing. */
function inOrder(seen) {
  const first = new Map();
  return seen.every((s, k) => {
    const before = k > 0 ? seen[k - 1] : null;
    const known = first.get(s.event);
    first.set(s.event, s.t);
    const same = known === undefined || Math.abs(known - s.t) <= TOLERANCE;
    return same && (before === null || s.t >= before.t - TOLERANCE);
  });
}

/** Range of t(to) - t(from), or of the counted time [s]. */
function rangeOf(bound, times, horizon, counted) {
  const [a, b] = [times.get(bound.from), times.get(bound.to)];
  const watched = horizon ?? -Infinity;
  let lo = -Infinity;
  let hi = Infinity;
  if (a !== undefined && b !== undefined) lo = hi = b - a;
  else if (a !== undefined) lo = watched - a;
  else if (b !== undefined) hi = b - watched;
  if (!bound.counted) return { lo, hi, known: true };
  const most = Math.max(0, hi);
  const count = counted[bound.to];
  if (count === undefined || count > most + TOLERANCE) return { lo: 0, hi: most, known: false };
  const upper = Math.min(count, most);
  return { lo: Math.min(Math.max(0, count), upper), hi: upper, known: true };
}

function judgeBound(bound, times, horizon, counted) {
  const { lo, hi, known } = rangeOf(bound, times, horizon, counted);
  const settled = known && times.has(bound.from) && times.has(bound.to);
  let verdict = "undecided";
  let early = null;
  let late = null;
  if (hi < bound.lo - TOLERANCE) {
    verdict = "missed";
    early = [bound.lo - hi, bound.lo - lo];
  } else if (lo > bound.hi + TOLERANCE) {
    verdict = "missed";
    late = [lo - bound.hi, hi - bound.hi];
  } else if (settled && lo >= bound.lo - TOLERANCE && hi <= bound.hi + TOLERANCE) verdict = "hit";
  return { label: bound.label, group: bound.group, event: bound.to, verdict, lo, hi, early, late };
}

/** Whether taps and bounds together contradict one another, although no bound may do so alone. */
function impossible(routine, bounds, times, horizon) {
  const place = new Map(routine.events.map((e, i) => [e.name, i + 1]));
  const arcs = noArcs(place.size + 1);
  for (const [name, i] of place) {
    const t = times.get(name);
    if (t !== undefined) layBound(arcs, 0, i, t, t);
    else if (horizon !== null) layBound(arcs, 0, i, horizon, null);
  }
  for (const b of bounds) layBound(arcs, place.get(b.from), place.get(b.to), b.lo, b.counted ? null : b.hi);
  return contradicts(closeArcs(arcs));
}
