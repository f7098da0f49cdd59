// The coach of a job: the phone page's screens over an attempt that the server keeps and judges.

import { LEAD_IN, beginAttempt, dueAct, passTime, planOf, takeEvent, turnCondition } from "./coach/attempt.js";
import { button, el, giant } from "./coach/page.js";
import { runScreen } from "./coach/running.js";
import { readyScreen, setupScreen, soundScreen } from "./coach/screens.js";
import { endScreen } from "./coach-end.js";
import { makeLink } from "./coach-link.js";
import { ask, say, shell } from "./coach-shell.js";

/** Start the coach on its page. */
export async function startLive(win) {
  const { job, routine, switch: kind, by } = win.document.body.dataset;
  const found = await ask(`/api/jobs/${job}/coach/${encodeURIComponent(routine)}?switch=${kind}`);
  const plan = planOf(found.plan);
  let link;
  let ending = false;

  /** The screen's own state from the server's: what was taken, then what is on its way. */
  const adopt = (server) => {
    if (server.over) {
      app.server = server;
      ending = false;
      if (app.screen !== "end") finish(server);
      return;
    }
    if (app.server?.over && app.server.id === server.id) return;
    app.server = server;
    app.tapped = server.tapped;
    app.tries = server.number;
    const state = folded(server);
    if (!alike(app.state, state)) app.state = state;
    if (server.routine !== plan.routine.id) return;
    if (app.screen !== "run") app.show("run");
    if (server.phase === "missed" || server.phase === "done") end(server.phase);
    const others = Object.keys(server.phones).length;
    const doubled = server.doubled.at(-1);
    const twice = doubled ? `; tapped twice, ${doubled.first} counts` : "";
    say(app, `${others > 1 ? `${others} phones` : "Kept at the server"}${twice}`);
  };

  const folded = (server) => {
    let state = beginAttempt(plan, link.toVoice(server.start_at) - LEAD_IN, server.tapped);
    const coming = link.waiting().filter((w) => !server.events.some((e) => e.event && e.event === w.event));
    for (const e of [...server.events, ...coming]) {
      if (!e.condition || !server.tapped) state = put(state, e, link.toVoice(e.t));
    }
    if (!server.tapped) return state;
    for (const u of server.turns) state = turnCondition(state, u.condition, u.holds, link.toVoice(u.t));
    for (const e of coming) if (e.condition) state = put(state, e, link.toVoice(e.t));
    return state;
  };

  const put = (state, e, t) => {
    if (e.condition) return turnCondition(state, e.condition, e.kind === "time counts", t);
    if (!e.event || e.event in state.times) return state;
    return goingOn(takeEvent(plan, state, e.event, t, e.by));
  };

  /** With a helper the server says what is missed; until it does the screen goes on. */
  const goingOn = (state) => (state.tapped && state.phase === "missed" ? { ...state, phase: "running", miss: null } : state);

  const took = (name, t, by = "tap") => {
    const before = app.state;
    app.state = put(before, { event: name, condition: "", by }, t);
    if (app.state !== before) link.tell({ event: name, kind: plan.byName.get(name).kind, condition: "", t, by });
  };

  const end = (how) => {
    if (ending) return;
    ending = true;
    void link.end(how).finally(() => win.setTimeout(() => (ending = false), 500));
  };

  const hooks = {
    tap: took,
    answer: took,
    turn(condition, holds, t) {
      app.state = turnCondition(app.state, condition, holds, t);
      link.tell({ event: "", kind: holds ? "time counts" : "time stands", condition, t, by: "tap" });
    },
    stop: () => end("stopped"),
    tick(now) {
      const passed = passTime(plan, app.state, now);
      for (const s of passed.seen.slice(app.state.seen.length)) took(s.event, s.t, s.by);
      if (!app.tapped && (passed.phase === "missed" || passed.phase === "done")) {
        app.state = passed;
        end(passed.phase);
      } else if (dueAct(plan, app.state) === null && app.state.phase === "done") end("done");
    },
  };

  const finish = (server) => {
    const now = app.voice.now();
    app.show("end");
    const cue = { event: "", until: null, words: "" };
    const text = server.judgement?.sentence ?? "Stopped";
    app.voice.play([
      { ...cue, at: now + 0.05, sound: server.over === "done" ? "done" : "stop" },
      { ...cue, at: now + 0.7, sound: "words", words: text },
    ]);
  };

  const app = shell(win, plan, { sound: soundScreen, setup: setupScreen, ready: readyScreen, run: runScreen, refused: () => refusedScreen(app), join: () => joinScreen(app), end: () => endScreen(app) }, hooks);
  const screen = app.show;
  app.show = (name) => (name === "practice" ? win.location.assign(`/practice/${routine}?switch=${kind}&job=${job}`) : screen(name));
  app.job = job;
  app.rule = found;
  app.tries = found.number - 1;
  app.again = () => win.location.reload();
  link = makeLink(app, adopt, (words) => words && say(app, words));

  app.begin = () => started(() => link.begin(job, { routine, switch: kind, tapped: app.tapped, by, seen: app.seen ?? [] }));
  app.join = () => started(() => link.resume(found.running));

  async function started(begin) {
    await app.voice.wake();
    try {
      await begin();
    } catch (why) {
      app.rule = { ...app.rule, why: `${why.what}. ${why.wayOut}` };
      app.show("refused");
    }
  }

  const running = found.running;
  const mine = win.sessionStorage.getItem("attempt") === running?.id;
  win.addEventListener("pagehide", () => win.sessionStorage.setItem("attempt", app.server && !app.server.over ? app.server.id : ""));
  if (running !== null && running.routine === routine) await (mine ? app.join() : app.show("join"));
  else app.show(running === null && found.allowed ? "sound" : "refused");
  return app;
}

/** Whether two states tell of the same; the one that is there stays then, and with it the tones that are planned. */
function alike(one, other) {
  if (one === null || Math.abs(one.startAt - other.startAt) > 0.01 || one.turns.length !== other.turns.length) return false;
  return one.seen.length === other.seen.length && one.seen.every((s, k) => s.event === other.seen[k].event && Math.abs(s.t - other.seen[k].t) < 0.01);
}

const pad = (...kids) => el("div", { class: "pad" }, ...kids);
const back = (app) => el("a", { class: "btn", href: `/jobs/${app.job}#stage-4` }, "To the job");

function refusedScreen(app) {
  const other = app.rule.running;
  const words = other ? `An attempt at “${other.routine}” is running in this job. Go on with it, or stop it.` : app.rule.why;
  const go = other ? [el("a", { class: "btn main", href: `/jobs/${app.job}/coach/${other.routine}?switch=${other.switch}` }, "Go on with it")] : [];
  return { nodes: [pad(el("p", { class: "now" }, "Relearn"), el("h1", { class: "title" }, "Not now"), el("p", { class: "caution", role: "alert" }, words)), el("div", { class: "foot" }, back(app), ...go)] };
}

function joinScreen(app) {
  const { running } = app.rule;
  const who = running.by ? ` by ${running.by}` : "";
  const how = running.tapped ? "Taps of this phone count too. Where both tap the same act, the first that arrives counts." : "Acts are taken to be done with their tones.";
  const nodes = [
    pad(el("p", { class: "now" }, `Try ${running.number} is running${who}`), giant("Join", 120), el("p", { class: "said" }, `${app.plan.routine.title}. ${how}`)),
    el("div", { class: "foot pair" }, back(app), button("Join it here", app.join, { main: true })),
  ];
  return { nodes };
}

startLive(window).catch((why) => {
  const main = document.querySelector("main");
  main.replaceChildren(pad(el("h1", { class: "title" }, "Not loaded"), el("p", { class: "caution", role: "alert" }, `${why.what ?? why.message}. ${why.wayOut ?? ""}`), button("Again", () => location.reload(), { main: true })));
  if (why.status === undefined) throw why;
});
