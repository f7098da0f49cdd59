// Practice against the simulated car: the coach's screens, the car's answers from the server, the odds after each try.

import { LEAD_IN, aimOf, beginAttempt, dueAct, passTime, planOf, takeEvent, turnCondition } from "./coach/attempt.js";
import { button, el, fitWords, giant, setText, stepLine } from "./coach/page.js";
import { runScreen } from "./coach/running.js";
import { soundScreen } from "./coach/screens.js";
import { actWord } from "./coach/words.js";
import { boundRows } from "./coach-end.js";
import { ask, say, shell } from "./coach-shell.js";

/** The car is asked this often for its answers [s]. */
const ASK_EVERY = 0.4;

/** Start the practice on its page. */
export async function startPractice(win) {
  const { routine, switch: kind } = win.document.body.dataset;
  const path = `/api/practice/${encodeURIComponent(routine)}`;
  const plan = planOf((await ask(`${path}?switch=${kind}`)).plan);
  const shelf = `practice ${routine} ${kind}`;
  const kept = JSON.parse(win.sessionStorage.getItem(shelf) ?? '{"tried":[],"odds":[]}');
  let run = null;

  const zero = () => app.state.startAt - LEAD_IN;
  const round = (t) => Math.max(0, Math.round(1e6 * t) / 1e6);

  const took = (name, t) => {
    if (app.state.phase !== "lead in" && app.state.phase !== "running") return;
    const event = plan.byName.get(name);
    const aim = aimOf(plan, app.state, t);
    run.made.push({ kind: event.kind, event: name, t: round(t - zero()), aim: aim === null ? round(t - zero()) : round(aim - zero()) });
    app.state = takeEvent(plan, app.state, name, t);
    void askCar();
    over(t);
  };

  const over = (t) => {
    if (app.state.phase === "missed" || app.state.phase === "done") void finish(t);
  };

  /** What the car did since; the next question waits for the answer to this one. */
  async function askCar() {
    const mine = run;
    if (mine.asking) return;
    mine.asking = true;
    mine.asked = app.voice.now();
    try {
      const acts = mine.made.filter((m) => m.aim !== null).map(({ kind: k, event, t }) => ({ kind: k, event, t }));
      const news = await ask(`${path}/car`, { switch: kind, run: mine.id, acts, now: round(app.voice.now() - zero()) });
      if (mine !== run || mine.over) return;
      for (const a of news.answers.slice(mine.answers)) {
        mine.made.push({ kind: a.kind, event: a.event, t: a.t, aim: null });
        if (a.event) app.state = takeEvent(plan, app.state, a.event, zero() + a.t);
      }
      for (const u of news.turns) app.state = turnCondition(app.state, u.condition, u.holds, zero() + u.t);
      mine.answers = news.answers.length;
      say(app, news.words);
      over(app.voice.now());
    } catch (why) {
      if (why.status === undefined) throw why;
      say(app, `Not connected: ${why.what}`);
    } finally {
      mine.asking = false;
    }
  }

  async function finish(t) {
    if (run.over) return;
    run.over = true;
    const made = [...run.made].sort((a, b) => a.t - b.t);
    kept.tried.push({ by: app.heart ? "heart" : "tones", made, ended: round(Math.max(t - zero(), made.at(-1)?.t ?? 0)) });
    app.show("thinking");
    try {
      app.told = await ask(path, { switch: kind, tried: kept.tried, odds: kept.odds });
      kept.odds = app.told.odds;
      win.sessionStorage.setItem(shelf, JSON.stringify(kept));
      app.show("told");
    } catch (why) {
      if (why.status === undefined) throw why;
      kept.tried.pop();
      app.trouble = `${why.what}. ${why.wayOut}`;
      app.show("trouble");
    }
  }

  const hooks = {
    tap: took,
    answer: (name, t) => took(name, t),
    turn: () => undefined, // here the simulated car tells what holds
    stop: (t) => void finish(t),
    tick(now) {
      app.state = passTime(plan, app.state, now);
      if (now - run.asked > ASK_EVERY) void askCar();
      over(now);
    },
  };
  const screens = {
    ready: () => readyScreen(app, kept),
    sound: soundScreen,
    setup: () => readyScreen(app, kept),
    run: () => (app.heart ? heartScreen(app) : runScreen(app)),
    thinking: () => ({ nodes: [pad(el("h1", { class: "title" }, "Judging the try"), el("p", { role: "status" }, "It is judged, and what it says of you is worked out."))] }),
    told: () => toldScreen(app, kept),
    trouble: () => ({ nodes: [pad(el("h1", { class: "title" }, "Not judged"), el("p", { class: "caution", role: "alert" }, app.trouble)), el("div", { class: "foot" }, button("Try again", app.begin, { main: true }))] }),
  };
  const app = shell(win, plan, screens, hooks);
  app.heart = false;
  const screen = app.show;
  app.show = (name) => screen(name === "practice" ? "ready" : name);
  app.begin = async () => {
    await app.voice.wake();
    app.silent = app.heart;
    app.tries = kept.tried.length + 1;
    app.state = beginAttempt(plan, app.voice.now(), true);
    run = { id: crypto.randomUUID?.() ?? String(Math.random()).slice(2), made: [], answers: 0, asking: false, asked: app.voice.now(), over: false };
    app.show("run");
  };
  app.nextAim = () => aimOf(plan, app.state, app.voice.now());
  app.forget = () => {
    Object.assign(kept, { tried: [], odds: [] });
    win.sessionStorage.removeItem(shelf);
    app.show("ready");
  };
  app.show("ready");
  return app;
}

const pad = (...kids) => el("div", { class: "pad" }, ...kids);

function readyScreen(app, kept) {
  const n = kept.tried.length;
  const nodes = [
    el("div", { class: "head" }, el("span", {}, el("b", {}, app.plan.routine.title)), el("span", {}, n ? `${n} tried` : "")),
    stepLine(app.plan, ""),
    pad(
      el("p", { class: "now" }, "Practice"),
      giant("Get ready"),
      el("p", {}, "Tap the pad, or the space key, as if it were your foot and hand. The car is simulated and answers by itself. Each try is judged, and tells your odds better."),
      el("div", { class: "row", role: "group", "aria-label": "How it is timed" }, way(app, false, "With the tones", "as coached"), way(app, true, "By heart", "no tones, no clock")),
      el("p", {}, "Nothing goes into a job."),
    ),
    el("div", { class: "foot" }, button("Count me in", app.begin, { main: true }), button("Sound and delay", () => app.show("sound")), ...(n ? [button("Begin anew", app.forget, { small: "forgets the taps" })] : [])),
  ];
  return { nodes };
}

function way(app, heart, words, small) {
  const b = button(words, () => {
    app.heart = heart;
    app.show("ready");
  }, { small });
  b.setAttribute("aria-pressed", String(app.heart === heart));
  return b;
}

/** By heart only the act that is due is named: nothing moves, nothing counts down. */
function heartScreen(app) {
  const word = giant("");
  const detail = el("p", { class: "lead" });
  const steps = el("div");
  const told = el("p", { role: "status" });
  const tap = el("button", { type: "button", class: "btn", id: "pad" }, "Tap here");
  tap.addEventListener("pointerdown", (event) => {
    event.preventDefault();
    app.tap();
  });
  const nodes = [
    el("div", { class: "head" }, el("span", {}, el("b", {}, app.plan.routine.title)), el("span", {}, `by heart, try ${app.tries}`)),
    steps,
    el("div", { class: "pad", "aria-live": "assertive" }, el("p", { class: "now" }, "Next act"), word),
    el("div", { class: "pad" }, detail, told),
    el("div", { class: "foot pair" }, button("Stop", app.stop, { id: "stop" }), tap),
  ];
  let shown = null;
  const frame = () => {
    const due = dueAct(app.plan, app.state);
    if (due === null || app.state.seen.length === shown) return;
    shown = app.state.seen.length;
    const step = app.plan.steps.get(due.step);
    setText(word.firstElementChild, actWord(app.plan, due));
    setText(detail, due.of > 1 ? `${due.number} of ${due.of}, ${step.bound}` : step.bound ? `${step.bound} after ${step.counted_from}` : "Begin when you like");
    const last = app.state.seen.at(-1);
    const answered = last && app.plan.byName.get(last.event).answer;
    setText(told, answered ? `The car: ${app.plan.steps.get(app.plan.byName.get(last.event).step).title}` : "");
    steps.replaceChildren(stepLine(app.plan, due.step));
    fitWords(app.root);
  };
  return { nodes, frame };
}

function toldScreen(app, kept) {
  const { judgement, words, car, lines, picture } = app.told;
  const figure = picture ? [el("figure", { class: "odds", html: picture })] : [];
  const rows = app.told.odds.map((o) => el("tr", {}, el("th", { scope: "row" }, `try ${o.attempt}, ${o.by === "heart" ? "by heart" : "with the tones"}`), el("td", {}, `${o.taps} taps`), el("td", {}, `${Math.round(100 * o.p)} % (${Math.round(100 * o.lo)} to ${Math.round(100 * o.hi)})`)));
  const learned = lines.map(([name, what]) => el("div", {}, el("dt", {}, name), el("dd", {}, what)));
  const nodes = [
    el("div", { class: "head" }, el("span", {}, el("b", {}, app.plan.routine.title)), el("span", {}, `practice, try ${kept.tried.length}`)),
    pad(
      giant(judgement.verdict === "hit" ? "Hit" : judgement.verdict === "missed" ? "Missed" : "Cannot tell", 80),
      el("p", { class: `said verdict ${judgement.verdict}`, "data-say": "", "data-verdict": judgement.verdict }, judgement.sentence),
      ...(judgement.advice ? [el("p", {}, judgement.advice)] : []),
      ...(car ? [el("p", {}, car)] : []),
      el("h2", { class: "lead" }, "Your odds"),
      el("p", { "data-odds": "" }, words),
      ...figure,
      ...(rows.length ? [el("details", {}, el("summary", {}, "The odds as a table"), el("table", {}, el("tbody", {}, ...rows)))] : []),
      el("details", {}, el("summary", {}, "What your taps say of you"), el("dl", { class: "order" }, ...learned), el("p", { class: "basis" }, "Ranges hold nine times in ten. Practise both ways to have both told.")),
      el("details", {}, el("summary", {}, `Every bound, ${judgement.bounds.length}`), el("table", {}, el("tbody", {}, ...boundRows(judgement)))),
    ),
    el("div", { class: "foot pair" }, button("Begin anew", app.forget, { small: "forgets the taps" }), button("Again", app.begin, { main: true })),
  ];
  return { nodes };
}

startPractice(window).catch((why) => {
  const main = document.querySelector("main");
  main.replaceChildren(pad(el("h1", { class: "title" }, "Not loaded"), el("p", { class: "caution", role: "alert" }, `${why.what ?? why.message}. ${why.wayOut ?? ""}`), button("Again", () => location.reload(), { main: true })));
  if (why.status === undefined) throw why;
});
