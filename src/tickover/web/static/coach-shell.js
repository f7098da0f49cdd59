// What the live coach and the practice have in common: the loop, the screens, taps and keys, trying out the sound, and
// what a screen reader is told. The screens, the sounds and the plan's windows are the phone page's own modules.

import { dueAct } from "./coach/attempt.js";
import { latencyFromTaps } from "./coach/latency.js";
import { el, fitWords } from "./coach/page.js";
import { speaker } from "./coach/sound.js";
import { toneSchedule } from "./coach/tones.js";
import { viewOf } from "./coach/view.js";

/** A second touch within this is a bounce of the first [s]. */
const BOUNCE = 0.08;
/** Any of these lets a browser sound that waits for the page to be touched. */
const TOUCHES = ["pointerdown", "pointerup", "click", "keydown"];
/** Where a press is a tap. */
const PADS = "#pad, .tap";

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
    spoken: win.document.querySelector("#told"),
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
    unheard: el("div", { role: "alert" }, el("button", { type: "button", class: "unheard" }, "Touch anywhere to hear the tones")),
  };
  app.show = (name) => show(app, screens, name);
  app.tick = () => tick(app, hooks);
  app.tap = () => tap(app, hooks);
  app.answer = (name) => {
    hooks.answer(name, app.voice.now());
    draw(app, app.voice.now());
  };
  app.turn = (condition, holds) => {
    hooks.turn(condition, holds, app.voice.now());
    draw(app, app.voice.now());
  };
  app.stop = () => app.screen === "run" && hooks.stop(app.voice.now());
  app.hear = () => hear(app);
  app.tapAlong = () => tapAlong(app);
  app.pageTime = () => (win.tickoverVoice ? win.tickoverVoice.now() : win.performance.now() / 1000);
  win.addEventListener("resize", () => fitWords(app.root));
  for (const kind of TOUCHES) win.document.addEventListener(kind, () => app.voice.touched?.(), { capture: true });
  app.root.tabIndex = -1; // a screen that has nothing to tap takes the focus itself
  win.document.addEventListener("keydown", (event) => keys(app, event));
  win.document.addEventListener("click", (event) => pressed(app, event));
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
  const held = app.win.document.activeElement;
  const mine = app.screen !== "" && (held === app.win.document.body || app.root.contains(held));
  const words = app.screen === name ? held.textContent : "";
  app.screen = name;
  const { nodes, frame } = screens[name](app);
  app.frame = frame ?? null;
  app.root.replaceChildren(...nodes);
  app.root.className = name;
  const live = app.silent ? null : app.root.querySelector("[aria-live]");
  live?.removeAttribute("aria-live"); // #told says the same, and what comes next
  app.win.scrollTo(0, 0);
  fitWords(app.root);
  app.frame?.(app.voice.now());
  const again = words && [...app.root.querySelectorAll("button")].find((b) => b.textContent === words);
  if (mine) focusOn(again || app.root.querySelector("#pad") || app.root);
  announce(app, app.root.querySelector("[data-say]")?.textContent ?? "");
  keepAwake(app);
}

/** Draw; where the control that had the focus went with it, the pad has it, or the next Tab begins at the foot. */
function draw(app, now) {
  const held = app.win.document.activeElement;
  const mine = app.root.contains(held);
  app.frame?.(now);
  if (!mine || held.isConnected) return;
  const foot = app.root.querySelector(".foot");
  foot.tabIndex = -1;
  focusOn(app.root.querySelector("#pad") || foot);
}

const focusOn = (node) => node.focus({ preventScroll: true });

/** Tell a screen reader; each thing once. */
function announce(app, words) {
  if (words && app.spoken.textContent !== words) app.spoken.textContent = words;
}

/** Now and next, whenever they change. */
function nowAndNext(app, now) {
  if (app.state.phase !== "lead in" && app.state.phase !== "running") return;
  const { word, head, next } = viewOf(app.plan, app.state, now);
  announce(app, `${word}. ${head ? `${head}. ` : ""}Next: ${next}.`);
}

function tick(app, hooks) {
  const now = app.voice.now();
  if (app.screen === "run") {
    hooks.tick(now);
    if (app.screen === "run") app.voice.play(app.silent ? [] : toneSchedule(app.plan, app.state, now));
    if (app.screen === "run" && !app.silent) nowAndNext(app, now);
  }
  draw(app, now);
  tellUnheard(app);
}

/** While the browser holds the sound back, the page says so; a touch there is no tap, one on the pad is. */
function tellUnheard(app) {
  const held = Boolean(app.voice.held?.());
  if (held && !app.unheard.isConnected) app.root.before(app.unheard);
  if (!held) app.unheard.remove();
}

/** A tap of the helper: the act that is due has been done. */
function tap(app, hooks) {
  const now = app.voice.now();
  if (app.along) return void app.along.taps.push(now);
  const act = app.screen === "run" && app.tapped ? dueAct(app.plan, app.state) : null;
  if (act === null || now - app.lastTap < BOUNCE || app.root.querySelector("[data-answer]") !== null) return;
  app.lastTap = now;
  hooks.tap(act.name, now);
  draw(app, now);
}

/** Space and Enter tap, wherever the focus is but on another control: there they do what they always do. */
function keys(app, event) {
  if (event.key === "Escape") app.stop();
  if (event.key !== " " && event.key !== "Enter") return;
  if (event.target.closest("a, button, input, select, textarea, summary") && !event.target.closest(PADS)) return;
  if (app.along || (app.screen === "run" && app.tapped && !app.root.querySelector("[data-answer]"))) {
    event.preventDefault(); // and no click follows, so that one press is one tap
    if (!event.repeat) app.tap();
  }
}

/** A pad pressed by a screen reader: a click that no finger and no mouse made. */
function pressed(app, event) {
  if (event.detail === 0 && event.target.closest(PADS)) app.tap();
}

/** Play the sounds of this routine one after the other. */
async function hear(app) {
  await app.voice.wake();
  const now = app.voice.now() + 0.2;
  const cue = { event: "", words: "", until: null };
  const pips = [0, 0.8, 1.6].map((t) => ({ ...cue, at: now + t, sound: "pip" }));
  app.voice.play(pips.concat(app.plan.heard.map((sound, k) => ({ ...cue, at: now + 2.4 + 0.9 * k, sound }))));
  draw(app, app.voice.now());
}

/** Twelve pips to tap along to, and what they say of the delay. */
async function tapAlong(app) {
  await app.voice.wake();
  const first = app.voice.now() + 0.8;
  const pips = Array.from({ length: 12 }, (_, k) => first + 0.6 * k);
  app.along = { pips, taps: [] };
  app.voice.play(pips.map((at) => ({ at, sound: "pip", event: "", words: "", until: null })));
  app.win.setTimeout(() => endAlong(app), 1000 * (0.8 + 0.6 * 12 + 0.3));
  draw(app, app.voice.now());
}

function endAlong(app) {
  app.delay = latencyFromTaps(app.along.pips, app.along.taps);
  app.along = null;
  if (app.delay.delay !== undefined) app.voice.correct(app.delay.delay);
  draw(app, app.voice.now());
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
