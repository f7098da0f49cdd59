// Which sound comes when: one pure function from plan and state to a list of cues, and the samples of each sound.

import { LEAD_IN, aimOf, countOf, dueAct, dueAnswers, originOf, scriptOf, windowOf } from "./attempt.js";
import { holdFollows, spokenWords, watchWords } from "./words.js";

const PIPS = 3;
/** Pips start this long after the act before them, or are left out [s]. */
const CLEAR = 0.3;
/** No upbeat this near to the let-up before it [s]. */
const UPBEAT_CLEAR = 0.1;
/** Words end this long before the first pip [s]. */
const QUIET = 0.4;
/** A look-out is sounded again after this long without an answer [s]. */
const LOOK_AGAIN = 4;

/** Spacing of the pips before an act [s]: the tempo of what follows; shorter before an act that comes soon. */
export function pipSpacing(plan, event, wait) {
  let spacing = 0.8;
  if (event.of > 1) {
    const names = plan.steps.get(event.step).events;
    spacing = Math.min(1, Math.max(0.4, plan.aims[names[2]].offset - plan.aims[names[0]].offset));
  }
  return Math.min(spacing, Math.max(0.4, (wait - CLEAR) / PIPS));
}

/** Whether an act lies inside a repeat, after its first press: there the rhythm carries, and nothing is counted in. */
export function insideRepeat(plan, event) {
  return event.of > 1 && plan.steps.get(event.step).events[0] !== event.name;
}

/** Times of the pips before an act at `at`, none sooner than `CLEAR` after the act before it [s]. */
export function pipsBefore(plan, event, at, previous) {
  if (insideRepeat(plan, event)) return [];
  const gap = pipSpacing(plan, event, at - previous);
  return [3, 2, 1].map((k) => at - k * gap).filter((t) => t > previous + CLEAR - 1e-9);
}

/**
 * Every sound from `now` on as far as moments are known.
 * @returns [{at, sound, event, words, until}] in order of time; `until` only where a sound lasts [s].
 */
export function toneSchedule(plan, state, now) {
  if (state.phase !== "lead in" && state.phase !== "running") return [];
  const cues = [];
  let previous = originOf(state) === null ? state.startAt - LEAD_IN : Math.max(...Object.values(state.times));
  let last = lastAct(plan, state);
  let first = true;
  const script = scriptOf(plan, state, now);
  for (const { event, at } of script) {
    if (insideRepeat(plan, event)) {
      const period = plan.aims[plan.steps.get(event.step).events[2]].offset;
      const middle = at - period / 2;
      const clear = Math.abs(previous - middle) >= UPBEAT_CLEAR; // the let-up sounds there for itself
      if (event.kind === "press" && period >= 0.8 && clear) cues.push(cue(middle, "upbeat", event));
    } else {
      const pips = pipsBefore(plan, event, at, previous);
      const quietFrom = pips[0] ?? at;
      cues.push(...filling(plan, state, last, first, event, previous, quietFrom));
      cues.push(...pips.map((t) => cue(t, "pip", event)));
      cues.push(...spoken(plan, event, previous, quietFrom));
    }
    cues.push(cue(at, plan.actSounds[event.kind] ?? "other act", event));
    previous = at;
    last = event;
    first = false;
  }
  cues.push(...waitingFor(plan, state, script, last, previous));
  return cues.filter((c) => c.at >= now || (c.until ?? 0) > now).sort((a, b) => a.at - b.at);
}

function cue(at, sound, event, words = "", until = null) {
  return { at, sound, event: event.name, words, until };
}

function lastAct(plan, state) {
  return plan.acts.filter((e) => e.name in state.times).at(-1) ?? null;
}

/** Between two acts: a soft tone while the pedal is held, else a tick each second; silent while time is not counted. */
function filling(plan, state, last, first, event, from, to) {
  if (last === null) return [];
  const begins = from + plan.sounds[plan.actSounds[last.kind] ?? "other act"].length;
  if (holdFollows(plan, last)) return to - begins > 0.3 ? [cue(begins, "hold", last, "", to)] : [];
  if (first && plan.counters.has(event.name) && !countOf(plan, state, event.name, from).runs) return [];
  const ticks = [];
  for (let t = from + 1; t < to - 0.2; t += 1) ticks.push(cue(t, "tick", event));
  return ticks;
}

/** Words before an act, where there is room for them. */
function spoken(plan, event, previous, quietFrom) {
  const words = spokenWords(plan, event);
  if (!words) return [];
  const at = quietFrom - QUIET - speechLength(words);
  return at > previous + CLEAR ? [cue(at, "words", event, words)] : [];
}

/** How long words take to say, as a rough upper figure [s]. */
export function speechLength(words) {
  return 0.35 + 0.075 * words.length;
}

/** While an answer is awaited: the held tone, and the look-out from when it may come, again and again. */
function waitingFor(plan, state, script, last, previous) {
  const cues = [];
  if (last === null) return cues;
  const done = script.map(({ event, at }) => ({ event: event.name, t: at, by: "tone" }));
  const times = { ...state.times, ...Object.fromEntries(done.map((s) => [s.event, s.t])) };
  const known = { ...state, times, seen: [...state.seen, ...done] };
  const answers = dueAnswers(plan, known);
  if (!answers.length || aimOf(plan, known, previous) !== null) return cues;
  const ends = Math.max(...answers.map((a) => windowOf(plan, known, a.name)[1]));
  const begins = previous + plan.sounds[plan.actSounds[last.kind] ?? "other act"].length;
  if (holdFollows(plan, last)) cues.push(cue(begins, "hold", last, "", ends));
  for (const answer of answers) {
    const [from, to] = windowOf(plan, known, answer.name);
    cues.push(cue(from - 0.5 - speechLength(watchWords(answer)), "words", answer, watchWords(answer)));
    for (let t = from; t < to; t += LOOK_AGAIN) cues.push(cue(t, "look out", answer));
  }
  return cues;
}

/**
 * Samples of a sound, -1 to 1, raised-cosine edges on every note.
 * @param recipe {notes: [{start, length, f0, f1, shape}], peak}; rate [Hz]; lasting: length of a note that lasts [s].
 */
export function samplesOf(recipe, rate, edge, lasting = 0) {
  const length = (note) => note.length || lasting;
  const whole = Math.max(...recipe.notes.map((n) => n.start + length(n)));
  const out = new Float32Array(Math.ceil(whole * rate) + 1);
  for (const note of recipe.notes) {
    const first = Math.round(note.start * rate);
    const count = Math.round(length(note) * rate);
    const glide = Math.log(note.f1 / note.f0);
    let phase = 0;
    for (let k = 0; k < count; k++) {
      const t = k / rate;
      const rim = Math.min(1, t / edge, (count - k) / rate / edge);
      out[first + k] += recipe.peak * (0.5 - 0.5 * Math.cos(Math.PI * rim)) * waveOf(note.shape, phase);
      phase += (note.f0 * Math.exp((glide * k) / count)) / rate;
    }
  }
  return out;
}

/** One wave at a phase counted in turns; peak 1. */
function waveOf(shape, phase) {
  const turn = 2 * Math.PI * phase;
  if (shape === "triangle") return (2 / Math.PI) * Math.asin(Math.sin(turn));
  if (shape === "octave") return (Math.sin(turn) + 0.5 * Math.sin(2 * turn)) / 1.5;
  return Math.sin(turn);
}

/** What is due while an act is awaited, for screens: the pips of the due act, and which have sounded. */
export function pipsNow(plan, state, now) {
  const act = dueAct(plan, state);
  const at = aimOf(plan, state, now);
  if (act === null || at === null) return null;
  const previous = originOf(state) === null ? -Infinity : Math.max(...Object.values(state.times));
  const pips = pipsBefore(plan, act, at, Math.max(previous, at - 100));
  return pips.length ? { pips, at, sounded: pips.filter((t) => t <= now).length } : null;
}
