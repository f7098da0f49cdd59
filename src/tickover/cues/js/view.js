// What the running screen shows at one moment: plain data, no drawing.

import { aimOf, countOf, dueAct, dueAnswers, originOf, scriptOf, windowOf } from "./attempt.js";
import { actWord, answerButton, clockWords, countdown, eventWords, holdFollows, seconds, watchWords } from "./words.js";

/** With more than this to the aim the word is Wait or Hold, not yet the act [s]. */
const ACT_WITHIN = 1.2;
/** With less than this to the aim the strip takes the place of the countdown [s]. */
export const STRIP_WITHIN = 2.5;

/** The view: {word, head, figure, unit, note, strip, bar, next, after, step, caution, harm, tap, answers, count}. */
export function viewOf(plan, state, now) {
  const act = dueAct(plan, state);
  const answers = dueAnswers(plan, state);
  const aim = aimOf(plan, state, now);
  const last = plan.acts.filter((e) => e.name in state.times).at(-1) ?? null;
  const held = last !== null && holdFollows(plan, last);
  const counter = act !== null && plan.counters.has(act.name) && plan.counters.get(act.name).start in state.times;
  let view;
  if (answers.length && (act === null || aim === null)) view = watching(plan, state, now, answers, held);
  else if (counter && (aim === null || aim - now > STRIP_WITHIN)) view = counting(plan, state, now, act);
  else view = waiting(plan, state, now, act, aim, held, last);
  const shown = view.shows;
  const rest = plan.events.filter((e) => !(e.name in state.times) && e.name !== shown?.name);
  const ahead = groups(plan, rest).filter((g) => !view.watched || !view.watched.includes(g.event.name));
  const step = plan.steps.get((view.watched ? answers[0] : act).step);
  const caution = answers.map((a) => plan.steps.get(a.step).caution).find(Boolean) ?? step.caution;
  const tapFor = state.tapped && act !== null && !view.watched ? `with: ${eventWords(plan, act)}` : "";
  return {
    ...view,
    next: ahead[0]?.words ?? "Done",
    after: ahead[1]?.words ?? (ahead[0] ? "Done" : ""),
    step,
    caution,
    harm: view.watched && act !== null && !caution ? plan.steps.get(act.step).harm : "",
    detail: view.watched ? "" : step.detail,
    tap: tapFor,
    answers: view.watched ? answers.map((a) => ({ name: a.name, words: answerButton(a) })) : [],
  };
}

function waiting(plan, state, now, act, aim, held, last) {
  const left = aim === null ? Infinity : aim - now;
  const count = act.of > 1 ? `${act.number} of ${act.of}` : "";
  if (left <= ACT_WITHIN) return { word: actWord(plan, act), head: count, strip: true, shows: act };
  const word = originOf(state) === null ? "Ready" : held ? "Hold" : "Wait";
  const head = `Then ${eventWords(plan, act)}${act.of > 1 && act.number === 1 ? ` of ${act.of}` : ""}`;
  if (left <= STRIP_WITHIN) return { word, head, strip: true };
  const begun = last === null ? state.startAt - 5 : state.times[last.name];
  const note = plan.steps.get(act.step).bound;
  return { word, head, ...countdown(left), note, bar: { share: (now - begun) / (aim - begun), total: aim - begun } };
}

function watching(plan, state, now, answers, held) {
  const windows = answers.map((a) => windowOf(plan, state, a.name));
  const begun = Math.min(...answers.map((a) => state.times[plan.answers.get(a.name).after]));
  const end = Math.max(...windows.map((w) => w[1]));
  const lo = windows[0][0] - now;
  const hi = windows[0][1] - now;
  const sooner = lo > 0;
  const figure = sooner ? countdown((lo + hi) / 2) : { figure: String(Math.floor(now - windows[0][0])), unit: " s" };
  return {
    word: held ? "Hold" : "Watch",
    head: watchWords(answers[0]),
    ...figure,
    note: sooner ? `about (${Math.ceil(lo)} to ${Math.ceil(hi)})` : `it may come now, ${seconds(Math.max(0, hi))} left`,
    watched: answers.map((a) => a.name),
    bar: {
      share: (now - begun) / (end - begun),
      total: end - begun,
      held,
      jaws: windows.map(([a, b], k) => ({ lo: (a - begun) / (end - begun), hi: (b - begun) / (end - begun), words: answerButton(answers[k]) })),
    },
  };
}

function counting(plan, state, now, act) {
  const counter = plan.counters.get(act.name);
  const { counted, elapsed, runs } = countOf(plan, state, act.name, now);
  const total = plan.aims[act.name].delay;
  return {
    word: runs ? "Idle" : "Wait",
    head: runs ? `Counting while: ${counter.condition}` : `Not counting: not “${counter.condition}”`,
    ...countdown(total - counted),
    note: `counted ${clockWords(counted)}, by the clock ${clockWords(elapsed)}`,
    bar: { share: counted / total, total, off: !runs },
    count: { condition: counter.condition, runs },
  };
}

/** Events to come in words, the presses of one repeat together. */
function groups(plan, rest) {
  const found = [];
  for (const event of rest) {
    const before = found.at(-1);
    if (before && event.of > 1 && before.event.step === event.step) continue;
    found.push({ event, words: groupWords(plan, event) });
  }
  return found;
}

function groupWords(plan, event) {
  const step = plan.steps.get(event.step);
  if (event.answer) return `Watch: ${eventWords(plan, event)}`;
  if (event.of > 1) return event.number === 1 ? step.title : `Press ${event.kind === "press" ? event.number : event.number + 1} to ${event.of}`.replace(/Press (\d+) to \1$/, "Press $1").replace(/^Press (\d+) to (\d+)$/, (w, a, b) => (Number(a) > Number(b) ? "Last let-up" : w));
  return `${step.title}${step.bound ? `, ${step.bound}` : ""}`;
}

/** Acts on the strip: {lane, past, future} as [t, level, number], level 0 or 1. */
export function traceOf(plan, state, now, lane) {
  const levels = LANES[lane].kinds;
  const past = state.seen.filter((s) => plan.byName.get(s.event).kind in levels).map((s) => point(plan.byName.get(s.event), s.t, levels));
  const future = scriptOf(plan, state, now).filter((s) => s.event.kind in levels).map((s) => point(s.event, s.at, levels));
  return { past, future };
}

function point(event, t, levels) {
  return { t, level: levels[event.kind], number: event.of > 1 && event.kind === "press" ? event.number : null };
}

/** What moves on the strip: the upper level is 0. */
export const LANES = {
  pedal: { names: ["up", "floor"], kinds: { press: 1, release: 0 }, rest: 0 },
  key: { names: ["on", "off"], kinds: { "ignition on": 0, "ignition accessory": 0, crank: 0, "ignition off": 1 }, rest: 1 },
  brake: { names: ["off", "brake"], kinds: { "brake press": 1, "brake release": 0 }, rest: 0 },
  gear: { names: ["P, N", "drive"], kinds: { "gear drive": 1, "gear neutral": 0 }, rest: 0 },
  load: { names: ["on", "off"], kinds: { "load on": 0, "load off": 1 }, rest: 1 },
};

/** The lane of an act. */
export function laneOf(kind) {
  return Object.keys(LANES).find((name) => kind in LANES[name].kinds) ?? "key";
}
