// What the live coach and the practice have in common: the loop, the screens, taps and keys, trying out the sound.
// The screens, the sounds and the plan's windows are the phone page's own modules.

import { dueAct } from "./coach/attempt.js";
import { latencyFromTaps } from "./coach/latency.js";
import { fitWords } from "./coach/page.js";
import { speaker } from "./coach/sound.js";
import { toneSchedule } from "./coach/tones.js";

/** A second touch within this is a bounce of the first [s]. */
const BOUNCE = 0.08;

/**
 * A coach on a page.
 * @param plan as planOf gives it; screens: name to function of the app, giving {nodes, frame}.
 * @param hooks {tap(name, t), answer(name, t), turn(condition, holds, t), stop(t), tick(t), keys(event)}; t on the
 *   voice's clock [s].
 */
export function shell(win, plan, screens, hooks) {
  const app = {
    win,
    plan,
    voice: win.tickoverVoice ?? speaker(plan, win),
    root: win.document.querySelector("main"),
    link: win.document.querySelector("#link"),
    tries: 0,
    hits: 0,
    tapped: true,
    state: null,
    screen: "",
    frame: null,
    silent: false,
    lastTap: -1,
    along: null,
    delay: null,
  };
  app.show = (name) => show(app, screens, name);
  app.tick = () => tick(app, hooks);
  app.tap = () => tap(app, hooks);
  app.answer = (name) => {
    hooks.answer(name, app.voice.now());
    app.frame?.(app.voice.now());
  };
  app.turn = (condition, holds) => {
    hooks.turn(condition, holds, app.voice.now());
    app.frame?.(app.voice.now());
  };
  app.stop = () => app.screen === "run" && hooks.stop(app.voice.now());
  app.hear = () => hear(app);
  app.tapAlong = () => tapAlong(app);
  app.pageTime = () => (win.tickoverVoice ? win.tickoverVoice.now() : win.performance.now() / 1000);
  win.addEventListener("resize", () => fitWords(app.root));
  win.document.addEventListener("keydown", (event) => keys(app, event));
  win.document.addEventListener("visibilitychange", () => keepAwake(app));
  const loop = () => {
    app.tick();
    win.requestAnimationFrame(loop);
  };
  win.requestAnimationFrame(loop);
  win.setInterval(app.tick, 200);
  win.tickover = app;
  return app;
}

/** Say how the page stands with the server; a screen reader hears each thing once. */
export function say(app, words) {
  if (app.link.textContent !== words) app.link.textContent = words;
}

function show(app, screens, name) {
  app.screen = name;
  const { nodes, frame } = screens[name](app);
  app.frame = frame ?? null;
  app.root.replaceChildren(...nodes);
  app.root.className = name;
  app.win.scrollTo(0, 0);
  fitWords(app.root);
  app.frame?.(app.voice.now());
  keepAwake(app);
}

function tick(app, hooks) {
  const now = app.voice.now();
  if (app.screen === "run") {
    hooks.tick(now);
    if (app.screen === "run") app.voice.play(app.silent ? [] : toneSchedule(app.plan, app.state, now));
  }
  app.frame?.(now);
}

/** A tap of the helper: the act that is due has been done. */
function tap(app, hooks) {
  const now = app.voice.now();
  if (app.along) return void app.along.taps.push(now);
  const act = app.screen === "run" && app.tapped ? dueAct(app.plan, app.state) : null;
  if (act === null || now - app.lastTap < BOUNCE || app.root.querySelector("[data-answer]") !== null) return;
  app.lastTap = now;
  hooks.tap(act.name, now);
  app.frame?.(now);
}

function keys(app, event) {
  if (event.key === "Escape") app.stop();
  if (event.key !== " " || event.repeat) return;
  if (app.along || (app.screen === "run" && app.tapped && !app.root.querySelector("[data-answer]"))) {
    event.preventDefault();
    app.tap();
  }
}

/** Play the sounds of this routine one after the other. */
async function hear(app) {
  await app.voice.wake();
  const now = app.voice.now() + 0.2;
  const cue = { event: "", words: "", until: null };
  const pips = [0, 0.8, 1.6].map((t) => ({ ...cue, at: now + t, sound: "pip" }));
  app.voice.play(pips.concat(app.plan.heard.map((sound, k) => ({ ...cue, at: now + 2.4 + 0.9 * k, sound }))));
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

/** Keep the screen on while an attempt runs, where the phone allows it. */
function keepAwake(app) {
  if (app.screen === "run" || app.screen === "ready") app.win.navigator.wakeLock?.request("screen").catch(() => undefined);
}

/** Ask our server; the answer's result. Throws {error, what, wayOut, status}; status 0 where it was not reached. */
export async function ask(path, body) {
  let answer;
  try {
    const options = body === undefined ? {} : { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(body) };
    answer = await fetch(path, { ...options, cache: "no-store" });
  } catch {
    throw { error: "", what: "the server is not reached", wayOut: "", status: 0 };
  }
  const told = await answer.json().catch(() => ({}));
  if (!answer.ok) throw { error: told.error ?? "", what: told.what ?? `answer ${answer.status}`, wayOut: told.way_out ?? "", status: answer.status };
  return told.result;
}
