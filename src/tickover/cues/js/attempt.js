// One live attempt as plain data: what has happened, what is due, when, and what was missed. No clock in here; times
// are handed in, in seconds on the coach's clock. Every function gives a new state.

import { TOLERANCE } from "./network.js";
import { eventWords, seconds } from "./words.js";

/** From "Count me in" to the first act [s]. */
export const LEAD_IN = 5;

/** Attempts at a routine; after the third something else is wrong. */
export const ATTEMPTS = 3;

/** A miss by silence is called this long after the window closed: a late tap then still says by how much [s]. */
export const GRACE = 1;

/** A first press further than this from its tone carries the beat with it [s]. */
const FOLLOW = 0.12;

/** Aims keep this far inside a window that has narrowed [s]. */
const INSET = 0.05;

/** The embedded data, with look-up tables. */
export function planOf(data) {
  const events = data.routine.events;
  return {
    ...data,
    events,
    place: new Map(events.map((e, i) => [e.name, i])),
    byName: new Map(events.map((e) => [e.name, e])),
    steps: new Map(data.routine.steps.map((s) => [s.id, s])),
    acts: events.filter((e) => !e.answer),
    answers: new Map(data.routine.answers.map((a) => [a.event, a])),
    counters: new Map(data.routine.counters.map((k) => [k.event, k])),
  };
}

/**
 * The state before anything happened.
 * @param tapped whether a helper taps each act; if not, acts are taken to be done with their tones, and not judged.
 */
export function beginAttempt(plan, now, tapped) {
  // With a helper a condition holds when it is said to; alone it is taken to hold, as acts are taken to be done.
  const holding = Object.fromEntries(plan.routine.conditions.map((c) => [c.name, !tapped || c.holds_at_start]));
  const began = holding;
  return { phase: "lead in", tapped, startAt: now + LEAD_IN, seen: [], times: {}, beat: null, holding, began, turns: [], miss: null };
}

/** When the first act happened [s]; null before. */
export function originOf(state) {
  return state.seen.length ? state.seen[0].t : null;
}

/** The act that comes next, or null when all are done. */
export function dueAct(plan, state) {
  return plan.acts.find((e) => !(e.name in state.times)) ?? null;
}

/** The car's answers that may come now: counted from something that has happened, not seen yet. */
export function dueAnswers(plan, state) {
  return plan.events.filter((e) => e.answer && !(e.name in state.times) && plan.answers.get(e.name).after in state.times);
}

/** Whether everything that must come before an event has happened. */
export function turnHasCome(plan, state, name) {
  return plan.before[plan.place.get(name)].every((p) => plan.events[p].name in state.times);
}

/** When an event may happen, given what has happened [s]; open sides are infinite. */
export function windowOf(plan, state, name) {
  const answer = plan.answers.get(name);
  if (answer && answer.after in state.times) {
    return [state.times[answer.after] + answer.lo, state.times[answer.after] + answer.hi];
  }
  const j = plan.place.get(name);
  let lo = -Infinity;
  let hi = Infinity;
  for (const { event, t } of state.seen) {
    const i = plan.place.get(event);
    lo = Math.max(lo, t - (plan.ahead[j][i] ?? Infinity));
    hi = Math.min(hi, t + (plan.ahead[i][j] ?? Infinity));
  }
  for (const wait of plan.waits[j]) {
    const after = state.times[plan.events[wait.after].name];
    const answered = plan.events[wait.answer].name in state.times;
    if (!answered && after !== undefined) lo = Math.max(lo, after + wait.seconds);
  }
  return [lo, hi];
}

/** Counted time up to now of the counter that ends in an event, and by the clock: {counted, elapsed, runs} [s]. */
export function countOf(plan, state, name, now) {
  const counter = plan.counters.get(name);
  const start = state.times[counter.start];
  if (start === undefined) return { counted: 0, elapsed: 0, runs: false };
  let since = start;
  let runs = state.began[counter.condition];
  let counted = 0;
  for (const turn of state.turns) {
    if (turn.condition !== counter.condition) continue;
    const t = Math.max(turn.t, start);
    if (runs && !turn.holds) counted += Math.max(0, Math.min(t, now) - since);
    since = t;
    runs = turn.holds;
  }
  if (runs) counted += Math.max(0, now - since);
  return { counted, elapsed: Math.max(0, now - start), runs };
}

/** A condition has begun to hold, or ceased to. */
export function turnCondition(state, condition, holds, t) {
  if (state.holding[condition] === holds) return state;
  return { ...state, holding: { ...state.holding, [condition]: holds }, turns: [...state.turns, { condition, holds, t }] };
}

/**
 * The acts to come whose moments are known, each as {event, at} [s], as if every act before it is done at its aim.
 * The list ends at an act that waits for the car's answer, or for time that does not count now.
 */
export function scriptOf(plan, state, now) {
  const found = [];
  const at = { ...state.times };
  if (originOf(state) === null) at[plan.acts[0].name] = state.startAt;
  for (const act of plan.acts) {
    if (act.name in state.times) continue;
    const t = originOf(state) === null && act === plan.acts[0] ? state.startAt : aimFrom(plan, state, act, at, now);
    if (t === null) break;
    at[act.name] = t;
    found.push({ event: act, at: t });
  }
  return found;
}

function aimFrom(plan, state, act, at, now) {
  const waits = plan.before[plan.place.get(act.name)].some((p) => !(plan.events[p].name in at));
  const aim = plan.aims[act.name];
  if (waits || !(aim.after in at)) return null;
  if (plan.counters.has(act.name) && aim.after in state.times) {
    const { counted, elapsed, runs } = countOf(plan, state, act.name, now);
    return runs ? at[aim.after] + aim.delay + elapsed - counted : null;
  }
  let t = at[aim.after] + aim.delay;
  if (state.beat !== null && state.beat.step === act.step) {
    const [lo, hi] = windowOf(plan, state, act.name);
    const inset = Math.min(INSET, Math.max(0, (hi - lo) / 2));
    t = Math.min(Math.max(state.beat.at + plan.aims[act.name].offset, lo + inset), hi - inset);
  }
  return t;
}

/** When the next act is best done [s]; null while it waits. */
export function aimOf(plan, state, now) {
  return scriptOf(plan, state, now)[0]?.at ?? null;
}

/**
 * An event has happened.
 * @param name of the event; by: "tap" (a person saw it) or "tone" (taken to be done with its tone, and not judged).
 */
export function takeEvent(plan, state, name, t, by = "tap") {
  if (state.phase !== "lead in" && state.phase !== "running") return state;
  const event = plan.byName.get(name);
  const aim = event.answer ? null : aimOf(plan, state, t);
  const window = originOf(state) === null ? [-Infinity, Infinity] : windowOf(plan, state, name);
  const short = countedShort(plan, state, name, t);
  const after = { ...state, phase: "running", seen: [...state.seen, { event: name, t, by }], times: { ...state.times, [name]: t } };
  if (event.of > 1 && plan.steps.get(event.step).events[0] === name) {
    after.beat = { step: event.step, at: aim !== null && Math.abs(t - aim) <= FOLLOW ? aim : t };
  } else if (state.beat !== null && state.beat.step !== event.step) after.beat = null;
  const judged = by === "tap" && (event.answer || state.tapped);
  if (judged && short !== 0) return missedBy(plan, after, event, t, short, [t + short, Infinity], aim);
  const early = window[0] - t;
  const late = t - window[1];
  if (judged && Math.max(early, late) > TOLERANCE) return missedBy(plan, after, event, t, early > late ? early : -late, window, aim);
  return plan.events.every((e) => e.name in after.times) ? { ...after, phase: "done" } : after;
}

/** How much counted time is missing [s], positive, or how much is over, negative; 0 where it is right. */
function countedShort(plan, state, name, t) {
  const counter = plan.counters.get(name);
  if (!counter || !(counter.start in state.times)) return 0;
  const { counted } = countOf(plan, state, name, t);
  if (counted < counter.lo - TOLERANCE) return counter.lo - counted;
  return counter.hi !== null && counted > counter.hi + TOLERANCE ? counter.hi - counted : 0;
}

function missedBy(plan, state, event, t, early, window, aim) {
  const side = early > 0 ? "early" : "late";
  const by = `${seconds(Math.abs(early))} ${side}`;
  const harm = early > 0 ? plan.steps.get(event.step).harm : "";
  return { ...state, phase: "missed", miss: { event: event.name, t, early, by, did: "came", harm, window, aim } };
}

/** Time has passed: acts without a tapping helper are taken to be done with their tones; silence may be a miss. */
export function passTime(plan, state, now) {
  let s = state;
  while (!s.tapped && (s.phase === "lead in" || s.phase === "running")) {
    const next = scriptOf(plan, s, now)[0];
    if (!next || next.at > now) break;
    s = takeEvent(plan, s, next.event.name, next.at, "tone");
  }
  if (s.phase !== "running") return s;
  const act = dueAct(plan, s);
  const watched = dueAnswers(plan, s);
  if (act !== null && s.tapped && turnHasCome(plan, s, act.name) && !plan.counters.has(act.name)) watched.push(act);
  for (const event of watched) {
    const window = windowOf(plan, s, event.name);
    if (now > window[1] + GRACE) {
      const miss = { event: event.name, t: null, early: null, by: "", did: event.answer ? "no answer" : "not done", harm: "", window, aim: null };
      return { ...s, phase: "missed", miss };
    }
  }
  return s;
}

/** One sentence on a miss, as [before, seconds, after] so that the seconds can be set in bold. */
export function missWords(plan, miss) {
  const event = plan.byName.get(miss.event);
  const name = capital(eventWords(plan, event));
  if (miss.did === "came") return [`${name} came `, miss.by, "."];
  if (miss.did === "no answer") return ["The car did not answer: not seen that ", eventWords(plan, event), "."];
  if (miss.did === "stopped") return ["Stopped by hand before ", eventWords(plan, event), "."];
  return [`${name} did not come `, "in its window", "."];
}

function capital(text) {
  return text[0].toUpperCase() + text.slice(1);
}

/** What was seen and tapped, for the judge: times since the first act [s], and counted time. */
export function tapsOf(plan, state) {
  const origin = originOf(state) ?? 0;
  const taps = state.seen.filter((s) => s.by === "tap").map((s) => ({ event: s.event, t: s.t - origin }));
  const counted = {};
  for (const [name] of plan.counters) {
    if (name in state.times) counted[name] = countOf(plan, state, name, state.times[name]).counted;
  }
  return { taps, counted };
}
