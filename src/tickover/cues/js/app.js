// The phone coach: which screen is on, the loop that drives it, taps and keys.

import { ATTEMPTS, beginAttempt, planOf, passTime, takeEvent, turnCondition, dueAct } from "./attempt.js";
import { latencyFromTaps } from "./latency.js";
import { fitWords } from "./page.js";
import { practiceScreen } from "./practice.js";
import { attemptLines } from "./record.js";
import { runScreen } from "./running.js";
import { doneScreen, firstScreen, missedScreen, readyScreen, setupScreen, soundScreen } from "./screens.js";
import { speaker } from "./sound.js";
import { toneSchedule } from "./tones.js";

/** A second touch within this is a bounce of the first [s]. */
const BOUNCE = 0.08;

/** Start the coach on a page. `voice` gives clock and sound; by default the phone's own. */
export function startCoach(win, data, voice = null) {
  const plan = planOf(data);
  const app = {
    win,
    plan,
    voice: voice ?? speaker(plan, win),
    root: win.document.querySelector("main"),
    tries: 0,
    hits: 0,
    tapped: false,
    state: null,
    screen: "",
    frame: null,
    lastTap: -1,
    along: null,
    delay: null,
    practiceTap: null,
  };
  app.show = (name) => show(app, name);
  app.tick = () => tick(app);
  app.tap = () => tap(app);
  app.answer = (name) => step(app, takeEvent(plan, app.state, name, app.voice.now()));
  app.turn = (condition, holds) => step(app, turnCondition(app.state, condition, holds, app.voice.now()));
  app.begin = () => begin(app);
  app.stop = () => stop(app);
  app.hear = () => hear(app);
  app.tapAlong = () => tapAlong(app);
  app.keep = () => keep(app);
  win.addEventListener("resize", () => fitWords(app.root));
  win.document.addEventListener("keydown", (event) => keys(app, event));
  win.document.addEventListener("visibilitychange", () => keepAwake(app));
  show(app, plan.routine.may_erase ? "first" : "sound");
  const loop = () => {
    tick(app);
    win.requestAnimationFrame(loop);
  };
  win.requestAnimationFrame(loop);
  win.setInterval(() => tick(app), 200);
  return app;
}

const SCREENS = { practice: practiceScreen, first: firstScreen, sound: soundScreen, setup: setupScreen, ready: readyScreen, run: runScreen, missed: missedScreen, done: doneScreen };

function show(app, name) {
  app.screen = name;
  const { nodes, frame } = SCREENS[name](app);
  app.frame = frame ?? null;
  app.root.replaceChildren(...nodes);
  app.root.className = name;
  app.win.scrollTo(0, 0);
  fitWords(app.root);
  app.frame?.(app.voice.now());
}

async function begin(app) {
  if (app.tries >= ATTEMPTS) return;
  app.tries += 1;
  await app.voice.wake();
  app.state = beginAttempt(app.plan, app.voice.now(), app.tapped);
  keepAwake(app);
  show(app, "run");
  tick(app);
}

/** A new state: sounds follow from it, and a miss or the end brings its own screen. */
function step(app, state) {
  if (state === app.state) return;
  const before = app.state.phase;
  const now = app.voice.now();
  app.state = state;
  if (state.phase === before || state.phase === "running") app.frame?.(now);
  else finish(app, now);
}

function finish(app, now) {
  const missed = app.state.phase === "missed";
  app.state = { ...app.state, endedAt: now };
  show(app, missed ? "missed" : "done");
  const text = missed ? app.root.querySelector("[data-say]")?.textContent ?? "Missed" : "Done";
  const cue = { event: "", until: null, words: "" };
  app.voice.play([
    { ...cue, at: now + 0.05, sound: missed ? "stop" : "done" },
    { ...cue, at: now + 0.7, sound: "words", words: missed ? `Missed. ${text}` : text },
  ]);
}

function tick(app) {
  const now = app.voice.now();
  if (app.screen === "run") {
    step(app, passTime(app.plan, app.state, now));
    if (app.screen === "run") app.voice.play(toneSchedule(app.plan, app.state, now));
  }
  app.frame?.(now);
}

/** A tap of the helper: the act that is due has been done. */
function tap(app) {
  const now = app.voice.now();
  if (app.along) return void app.along.taps.push(now);
  const act = app.screen === "run" && app.tapped ? dueAct(app.plan, app.state) : null;
  if (act === null || now - app.lastTap < BOUNCE) return;
  const waits = app.root.querySelector("[data-answer]");
  if (waits !== null) return;
  app.lastTap = now;
  step(app, takeEvent(app.plan, app.state, act.name, now));
}

function stop(app) {
  if (app.screen !== "run") return;
  const now = app.voice.now();
  const due = dueAct(app.plan, app.state) ?? app.plan.acts.at(-1);
  const miss = { event: due.name, t: null, early: null, by: "", did: "stopped", harm: "", window: [now, now], aim: null };
  step(app, { ...app.state, phase: "missed", miss });
}

function keys(app, event) {
  if (event.key === "Escape") stop(app);
  if ((event.key !== " " && event.key !== "Enter") || event.repeat) return;
  if (event.target.closest("a, button:not(#pad, .tap), input, summary")) return;
  if (app.screen === "practice") {
    event.preventDefault();
    return void app.practiceTap();
  }
  if (app.along || (app.screen === "run" && app.tapped && !app.root.querySelector("[data-answer]"))) {
    event.preventDefault();
    tap(app);
  }
}

/** Play the sounds of this routine one after the other. */
async function hear(app) {
  await app.voice.wake();
  const now = app.voice.now() + 0.2;
  const cue = { event: "", words: "", until: null };
  app.voice.play([0, 0.8, 1.6].map((t) => ({ ...cue, at: now + t, sound: "pip" })).concat(app.plan.heard.map((sound, k) => ({ ...cue, at: now + 2.4 + 0.9 * k, sound }))));
  app.frame?.(app.voice.now());
}

/** Twelve pips to tap along to, and what they say of the delay. */
async function tapAlong(app) {
  await app.voice.wake();
  const first = app.voice.now() + 0.8;
  const pips = Array.from({ length: 12 }, (_, k) => first + 0.6 * k);
  app.along = { pips, taps: [] };
  app.voice.play(pips.map((at) => ({ at, sound: "pip", event: "", words: "", until: null })));
  app.win.setTimeout(() => endAlong(app), 1000 * (0.8 + 0.6 * 12 + 0.3));
  app.frame?.(app.voice.now());
}

function endAlong(app) {
  app.delay = latencyFromTaps(app.along.pips, app.along.taps);
  app.along = null;
  if (app.delay.delay !== undefined) app.voice.correct(app.delay.delay);
  app.frame?.(app.voice.now());
}

/** Keep the record: the attempt as a file. */
function keep(app) {
  const blob = new Blob([attemptLines(app.plan, app.state)], { type: "application/jsonl" });
  const link = app.win.document.createElement("a");
  link.href = URL.createObjectURL(blob);
  link.download = `${app.plan.routine.id}-try-${app.tries}.jsonl`;
  link.click();
}

/** Keep the screen on while an attempt runs, where the phone allows it. */
function keepAwake(app) {
  if (app.screen === "run" || app.screen === "ready") app.win.navigator.wakeLock?.request("screen").catch(() => undefined);
}
