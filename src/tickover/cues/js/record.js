// The attempt as a file: a header line, then one line an event. Only what a person tapped is in it.

import { tapsOf } from "./attempt.js";

/** The lines of an attempt file; times in seconds since the first act. */
export function attemptLines(plan, state, by = "phone taps") {
  const header = {
    v: 1,
    record: "attempt",
    routine: plan.routine.id,
    routine_hash: plan.digest,
    clocks: { main: { lo: 0, hi: 0 } },
    simulated: false,
    by: null,
    begun: null,
  };
  const taps = tapsOf(plan, state).taps;
  const events = taps.map((s) => ({ kind: plan.byName.get(s.event).kind, t_lo: s.t, t_hi: s.t, clock: "main", source: by }));
  if (state.endedAt !== undefined && state.seen.length) {
    const t = Math.max(state.endedAt - state.seen[0].t, taps.at(-1)?.t ?? 0);
    events.push({ kind: "end", t_lo: t, t_hi: t, clock: "main", source: by });
  }
  const lines = events.map((e, seq) => ({ v: 1, seq, ...e }));
  return [header, ...lines].map((line) => JSON.stringify(line)).join("\n") + "\n";
}
