// Every screen but the running one.

import { ATTEMPTS, missWords, tapsOf } from "./attempt.js";
import { boundPicture, missPicture } from "./draw.js";
import { judge } from "./judge.js";
import { WARN_ABOVE } from "./latency.js";
import { button, el, giant, setText, stepLine } from "./page.js";
import { actWord, countdown, seconds } from "./words.js";

function head(app, right = "") {
  return el("div", { class: "head" }, el("span", {}, el("b", {}, app.plan.routine.title)), el("span", {}, right));
}

const pad = (...kids) => el("div", { class: "pad" }, ...kids);
const foot = (...kids) => el("div", { class: kids.length > 1 ? "foot pair" : "foot" }, ...kids);
const basis = (app) => el("p", { class: "basis" }, app.plan.basis);
const row = (name, text) => el("div", {}, el("dt", {}, name), el("dd", {}, text));

/** Lamp and codes first: a routine that may erase is refused while the lamp is lit and the codes are unread. */
export function firstScreen(app) {
  const refusal = el("div", { role: "alert" });
  const refuse = () => refusal.replaceChildren(el("p", { class: "caution" }, el("b", {}, "Not now. "), "The lamp is lit and the codes have not been read. This routine may erase them, and with them the trace of a fault. Read and write down codes and readiness first, then come back to this page."));
  const nodes = [
    head(app),
    pad(el("p", { class: "now" }, "Before anything"), el("h1", { class: "title" }, "Lamp and codes first"), el("p", {}, "This routine may erase codes and readiness. Is the engine lamp lit while the engine runs, and are codes and readiness written down?"), refusal),
    el("div", { class: "foot" }, button("Codes and readiness are written down", () => app.show("sound"), { main: true }), button("Lamp dark, no code reader here", () => app.show("sound"), { small: "readiness may be lost" }), button("Lamp lit, codes not read", refuse)),
  ];
  return { nodes };
}

/** Can the phone be heard, and how late. */
export function soundScreen(app) {
  const delay = el("p", { role: "status" });
  const along = button("Tap along", app.tapAlong, { small: "twelve pips; finds the delay" });
  const tapPad = el("button", { type: "button", class: "btn tap" }, "Tap here with each pip");
  tapPad.addEventListener("pointerdown", (event) => {
    event.preventDefault();
    app.tap();
  });
  const light = (name, words) => button(words, () => app.win.document.documentElement.setAttribute("data-light", name));
  const nodes = [
    head(app),
    pad(
      el("p", { class: "now" }, "First"),
      el("h1", { class: "title" }, "Can you hear it"),
      el("ul", { class: "plain" }, el("li", {}, "Headset and car audio unpaired: wireless sound comes late."), el("li", {}, "Silent switch off, sound up, phone on the dash."), el("li", {}, "Screen stays on: charger in, or its time-out set long.")),
      delay,
      el("div", { class: "row" }, along, tapPad),
      el("details", {}, el("summary", {}, "What each sound means"), el("dl", { class: "order" }, ...app.plan.heard.map((s) => row(s, app.plan.sounds[s].meaning)))),
      el("div", { class: "row" }, light("day", "Day"), light("night", "Night")),
    ),
    el("div", { class: "pad" }, button("Practise timing", () => app.show("practice"), { small: "five minutes; tells your odds" })),
    foot(button("Hear the tones", app.hear), button("I hear them", () => app.show("setup"), { main: true })),
  ];
  const frame = () => {
    setText(delay, delayWords(app));
    along.hidden = app.along !== null;
    tapPad.hidden = app.along === null;
  };
  return { nodes, frame };
}

function delayWords(app) {
  const measured = app.delay;
  const told = app.voice.reported();
  if (measured?.reason) return `Cannot tell the delay: ${measured.reason}.`;
  const late = measured ? measured.delay + (told ?? 0) : told;
  if (late === null) return app.voice.hasContext === false ? "This browser has no audio clock: tones may be some hundredths late." : "Delay of the sound: not known yet.";
  const words = `Sound comes ${Math.round(1000 * late)} ms late${measured ? " by your taps" : ", as the browser says"}; the tones are sent so much earlier.`;
  return late > WARN_ABOVE ? `${words} That is more than 40 ms: use the phone's own speaker, and tap along.` : words;
}

/** What must be so before it begins, and why. */
export function setupScreen(app) {
  const r = app.plan.routine;
  const go = button("", () => {
    app.seen = r.needs.filter((_, k) => boxes[k].checked).map((n) => n.need); // what was ticked goes with the attempt
    app.show("ready");
  }, { main: true });
  const boxes = r.needs.map(() => el("input", { type: "checkbox" }));
  const tell = () => {
    const open = boxes.filter((b) => !b.checked).length;
    setText(go.firstElementChild, open ? `Go on, ${open} not ticked` : "All met: go on");
  };
  boxes.forEach((b) => b.addEventListener("change", tell));
  tell();
  const needs = r.needs.map((n, k) => el("label", { class: "need" }, boxes[k], el("span", {}, el("b", {}, n.need), el("small", {}, n.why))));
  const before = r.requires.length ? [el("p", {}, `Comes after: ${r.requires.join(", ")}.`)] : [];
  const cautions = r.cautions.map((c) => el("p", { class: "caution" }, c));
  return { nodes: [head(app), pad(el("p", { class: "now" }, "Set up"), el("h1", { class: "title" }, "Before it begins"), ...before, ...cautions, ...needs, basis(app)), foot(go)] };
}

/** Hand on the key; who taps; count me in. */
export function readyScreen(app) {
  const r = app.plan.routine;
  const first = app.plan.acts[0];
  const choice = (tapped, words, small) => {
    const b = button(words, () => {
      app.tapped = tapped;
      app.show("ready");
    }, { small });
    b.setAttribute("aria-pressed", String(app.tapped === tapped));
    return b;
  };
  const shown = [...new Map(r.steps.map((s) => [s.written, s])).values()];
  const steps = shown.map((s) => el("li", {}, el("b", {}, s.title), s.bound ? `, ${s.bound} after ${s.counted_from}` : "", s.caution ? el("small", {}, s.caution) : ""));
  const nodes = [
    head(app, `try ${app.tries + 1} of ${ATTEMPTS}`),
    stepLine(app.plan, ""),
    pad(
      el("p", { class: "now" }, "Now"),
      giant("Get ready"),
      el("dl", { class: "order" }, row("Next", `Three pips, then ${actWord(app.plan, first).toLowerCase()}`), row("After", app.plan.routine.steps[1] ? `${app.plan.routine.steps[1].title}, ${app.plan.routine.steps[1].bound}` : "Done")),
      el("p", {}, app.plan.steps.get(first.step).detail),
      el("div", { class: "row", role: "group", "aria-label": "Who taps" }, choice(false, "Alone", "tones only"), choice(true, "A helper taps", "each act is judged")),
      el("details", {}, el("summary", {}, "All the steps"), el("ol", { class: "plain" }, ...steps)),
      basis(app),
    ),
    foot(button("Hear the tones", app.hear), button("Count me in", app.begin, { main: true })),
  ];
  return { nodes };
}

/** What was missed, by how much, what to do with the key, and the one thing to change. */
export function missedScreen(app) {
  const { plan, state } = app;
  const miss = state.miss;
  const [a, by, c] = missWords(plan, miss);
  const figure = el("p", { class: "left" });
  const bar = el("div", { class: "drain thin" }, el("i"));
  const width = Math.min(520, app.win.document.documentElement.clientWidth);
  const picture = miss.t === null ? [] : [el("div", { class: "strip light", role: "img", "aria-label": `${a}${by}${c}`, html: `<svg width="100%" height="142">${missPicture(miss, width)}</svg>` })];
  const again = app.tries < ATTEMPTS;
  const event = plan.byName.get(miss.event);
  const answer = miss.did === "no answer" ? plan.steps.get(event.step).if_none : "";
  const buttons = [...(again ? [button("Again from step 1", () => app.show("ready"), { main: true })] : []), button("Stop here, keep the record", app.keep)];
  const nodes = [
    head(app, `try ${app.tries} of ${ATTEMPTS}`),
    stepLine(plan, event.step, true),
    pad(giant(miss.did === "stopped" ? "Stopped" : "Missed", 80), el("p", { class: "said", role: "status", "data-say": "" }, a, el("b", {}, by), c), ...(miss.harm ? [el("p", { class: "caution" }, miss.harm)] : [])),
    ...picture,
    el("div", { class: "pad two" }, el("div", {}, el("p", { class: "now" }, "Now"), el("h2", { class: "lead" }, "Key off")), figure),
    el("p", { class: "pad detail" }, plan.routine.after_miss),
    el("div", { class: "tape bare", "aria-hidden": "true" }, bar),
    el("dl", { class: "order" }, row("Next", again ? `Again: three pips, ${actWord(plan, plan.acts[0]).toLowerCase()}` : "No fourth try: three attempts are the most. Find what stands in the way."), row("After", answer || adviceFor(plan, miss))),
    el("div", { class: "foot" }, ...buttons),
  ];
  const frame = (now) => {
    const whole = plan.recovery;
    const left = whole === null ? 0 : Math.max(0, state.endedAt + whole - now);
    figure.hidden = bar.hidden = whole === null;
    const { figure: f, unit } = countdown(left);
    setText(figure, left > 0 ? f + unit : "0 s");
    bar.style.setProperty("--p", `${whole ? 100 * (1 - left / whole) : 100}%`);
  };
  return { nodes, frame };
}

function adviceFor(plan, miss) {
  if (miss.did !== "came") return "Change one thing: have the next act named aloud, and act on its tone.";
  const event = plan.byName.get(miss.event);
  if (event.answer) return "The car answered outside its window: look at its service information for this step.";
  const tone = event.kind === "press" || event.kind === "release" ? "foot" : "hand";
  return miss.early > 0 ? `Change one thing: wait for the tone, ${tone} still until it sounds.` : `Change one thing: start with the last pip, so that ${tone} and tone fall together.`;
}

/** The end: verdict, what it rests on, the signs to look for. */
export function doneScreen(app) {
  const { plan, state } = app;
  const { taps, counted } = tapsOf(plan, state);
  const found = judge(plan.routine, taps, state.tapped ? state.endedAt - state.seen[0].t : null, counted);
  if (found.verdict === "hit") app.hits += 1;
  const sentence = { hit: "Hit: every step inside its window, as tapped.", missed: "Missed: the steps cannot all have been inside their windows.", undecided: state.tapped ? "Done, cannot tell: not everything was tapped." : "Done, cannot tell: nobody tapped the acts. Look at the car." }[found.verdict];
  const enough = app.hits >= 2 ? "Two correct attempts. If the idle is not settled, the memory is not the cause: measure, and do not try a third." : "";
  const again = app.tries < ATTEMPTS && app.hits < 2;
  const rows = found.bounds.map((b) => {
    const bounds = plan.bounds[found.bounds.indexOf(b)];
    const exact = Number.isFinite(b.lo) && b.lo === b.hi ? b.lo : null;
    const shown = { lo: bounds[0] ?? -Infinity, hi: bounds[1] ?? Infinity, found: exact, verdict: b.verdict };
    return el("tr", {}, el("th", { scope: "row" }, b.label), el("td", { html: `<svg width="110" height="32" aria-hidden="true">${boundPicture(shown, 110)}</svg>` }), el("td", {}, exact === null ? "not seen" : seconds(exact), el("br"), { hit: "hit", missed: "missed", undecided: "cannot tell" }[b.verdict]));
  });
  const nodes = [
    head(app, `try ${app.tries} of ${ATTEMPTS}`),
    stepLine(plan, null),
    pad(
      giant("Done", 120),
      el("p", { class: `said verdict ${found.verdict}`, role: "status", "data-say": "" }, sentence),
      ...(enough ? [el("p", { class: "caution" }, enough)] : []),
      el("p", { class: "now" }, "Look for"),
      el("ul", { class: "plain" }, ...plan.routine.signs.map((s) => el("li", {}, s)), el("li", {}, "Idle one minute, loads off, and look.")),
      el("details", {}, el("summary", {}, `Every bound, ${rows.length}`), el("table", {}, el("tbody", {}, ...rows))),
      basis(app),
    ),
    el("div", { class: "foot" }, button("Keep the record", app.keep, { main: true }), ...(again ? [button("Again from step 1", () => app.show("ready"))] : [])),
  ];
  return { nodes };
}
