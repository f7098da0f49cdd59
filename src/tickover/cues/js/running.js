// The screen of a running attempt: built once, then only what changed is set.

import { originOf } from "./attempt.js";
import { stripPicture } from "./draw.js";
import { button, el, fitWords, giant, setText, stepLine } from "./page.js";
import { pipsNow } from "./tones.js";
import { viewOf } from "./view.js";
import { clockWords } from "./words.js";

/** The running screen. */
export function runScreen(app) {
  const part = (tag, css, props = {}) => el(tag, { class: css, ...props });
  const parts = {
    clock: part("span", ""),
    steps: part("div", ""),
    word: giant(""),
    head: part("h2", "lead"),
    detail: part("p", "detail"),
    figure: part("p", "left"),
    pips: part("div", "pips", { "aria-hidden": "true" }),
    strip: part("div", "strip", { role: "img" }),
    tape: part("div", "tape", { role: "img" }),
    caution: part("p", "caution"),
    next: el("dd"),
    after: el("dd"),
    foot: part("div", "foot"),
  };
  const nodes = [
    el("div", { class: "head" }, el("span", {}, el("b", {}, app.plan.routine.title), `, try ${app.tries}`), parts.clock),
    parts.steps,
    el("div", { class: "pad", "aria-live": "assertive" }, el("p", { class: "now" }, "Now"), parts.word),
    el("div", { class: "pad two" }, el("div", {}, parts.head, parts.detail), parts.figure),
    parts.pips,
    parts.strip,
    parts.tape,
    parts.caution,
    el("dl", { class: "order" }, el("div", {}, el("dt", {}, "Next"), parts.next), el("div", {}, el("dt", {}, "After"), parts.after)),
    parts.foot,
  ];
  const shown = { key: "", foot: "", drawn: -1 };
  return { nodes, frame: (now) => drawFrame(app, parts, shown, now) };
}

function drawFrame(app, parts, shown, now) {
  const { plan, state } = app;
  if (app.screen !== "run" || (state.phase !== "lead in" && state.phase !== "running")) return;
  const view = viewOf(plan, state, now);
  const key = `${view.word}|${view.head}|${view.step.id}`;
  if (key !== shown.key) {
    shown.key = key;
    setText(parts.word.firstElementChild, view.word);
    parts.steps.replaceChildren(stepLine(plan, view.step.id));
    setText(parts.head, view.head);
    setText(parts.next, view.next);
    setText(parts.after, view.after);
    setCaution(parts.caution, view);
    app.root.classList.toggle("watching", Boolean(view.watched));
    app.root.classList.toggle("careful", !view.watched && view.caution.length > 90);
    fitWords(app.root);
  }
  setText(parts.detail, view.strip ? "" : view.detail);
  drawFoot(app, parts.foot, shown, view);
  const origin = originOf(state);
  setText(parts.clock, origin === null ? "" : clockWords(now - origin, true));
  drawFigure(parts.figure, view);
  drawPips(parts.pips, plan, state, now, view);
  drawStrip(app, parts.strip, shown, now, view);
  drawTape(parts.tape, view);
}

function setCaution(node, view) {
  const text = [view.harm, view.caution].filter(Boolean).join(" ");
  node.hidden = !text;
  node.classList.toggle("harmful", ["crank", "gear drive", "stopped"].includes(view.step.kind));
  setText(node, text);
}

function drawFigure(node, view) {
  node.hidden = view.figure === undefined;
  if (node.hidden) return;
  const text = `${view.figure}|${view.unit}|${view.note}`;
  if (node.dataset.text === text) return;
  node.dataset.text = text;
  node.replaceChildren(view.figure, el("small", {}, view.unit), el("em", {}, view.note ?? ""));
}

function drawPips(node, plan, state, now, view) {
  const row = view.strip ? pipsNow(plan, state, now) : null;
  node.hidden = row === null;
  if (row === null) return;
  const struck = Math.abs(now - row.at) < 0.15;
  const text = `${row.sounded} ${row.pips.length} ${struck}`;
  if (node.dataset.text === text) return;
  node.dataset.text = text;
  node.replaceChildren(...row.pips.map((_, k) => el("i", { class: k < row.sounded ? "pip on" : "pip" })), el("i", { class: struck ? "act on" : "act" }));
}

/** The strip moves with the clock; with reduced motion it moves one step a pip. */
function drawStrip(app, node, shown, now, view) {
  node.hidden = !view.strip;
  if (!view.strip) return;
  const still = app.win.matchMedia("(prefers-reduced-motion: reduce)").matches;
  const at = still ? Math.floor(now / 0.4) * 0.4 : now;
  if (still && at === shown.drawn) return;
  shown.drawn = at;
  node.setAttribute("aria-label", `${view.word}. ${view.head}`);
  node.innerHTML = `<svg width="100%" height="212">${stripPicture(app.plan, app.state, at, node.clientWidth)}</svg>`;
}

/** An emptying bar; the windows of the car's answers stand above it between dotted jaws. */
function drawTape(node, view) {
  node.hidden = !view.bar;
  if (!view.bar) return;
  const { share, total, jaws, off, held } = view.bar;
  const p = `${(100 * Math.min(1, Math.max(0, share))).toFixed(1)}%`;
  const form = JSON.stringify([jaws, off, held, Math.round(total)]);
  if (node.dataset.form !== form) {
    node.dataset.form = form;
    const rows = (jaws ?? []).map((j) => {
      const frame = el("i", { style: `left:${100 * j.lo}%;right:${100 - 100 * j.hi}%` });
      const words = el("b", { style: j.lo > 0.5 ? `right:${100 - 100 * j.hi}%` : `left:${100 * j.lo}%` }, `“${j.words}” may come`);
      return el("div", { class: "may" }, words, frame);
    });
    const ends = total < 90 ? ["0 s", `${Math.round(total)} s`] : ["0:00", clockWords(total)];
    const note = off ? "not counting" : held ? "held" : "";
    node.replaceChildren(...rows, el("div", { class: off ? "drain off" : "drain" }, el("b", {}, note), el("i"), el("u")), el("div", { class: "ends" }, el("span", {}, ends[0]), el("span", {}, ends[1])));
  }
  node.setAttribute("aria-label", `${Math.round(100 * Math.min(1, share))} percent of ${Math.round(total)} seconds have passed`);
  node.style.setProperty("--p", p);
}

function drawFoot(app, node, shown, view) {
  const key = JSON.stringify([view.answers, view.tap, view.count]);
  if (key === shown.foot) return;
  shown.foot = key;
  const kids = [button("Stop", app.stop, { id: "stop" })];
  for (const [k, answer] of view.answers.entries()) {
    const b = button(answer.words, () => app.answer(answer.name), { main: k === 0 });
    b.dataset.answer = answer.name;
    kids.push(b);
  }
  if (view.count) {
    const { condition, runs } = view.count;
    kids.push(button(runs ? "Pause the count" : "Count", () => app.turn(condition, !runs), { small: runs ? `when not: ${condition}` : `when: ${condition}` }));
  }
  if (view.tap) {
    const pad = el("button", { type: "button", class: "btn", id: "pad" }, el("span", {}, "Helper: tap here", el("small", {}, view.tap)));
    pad.addEventListener("pointerdown", (event) => {
      event.preventDefault();
      app.tap();
    });
    kids.push(pad);
  }
  node.style.gridTemplateColumns = kids.length > 1 ? `1fr ${"1.7fr ".repeat(kids.length - 1)}` : "1fr";
  node.replaceChildren(...kids);
}
