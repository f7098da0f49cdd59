// The end of an attempt, as the server judged it.

import { ATTEMPTS } from "./coach/attempt.js";
import { boundPicture } from "./coach/draw.js";
import { button, el, giant, setText, stepLine } from "./coach/page.js";
import { countdown, seconds } from "./coach/words.js";

const WORDS = { hit: "hit", missed: "missed", undecided: "cannot tell" };

const pad = (...kids) => el("div", { class: "pad" }, ...kids);

/** One row a bound: its picture, what was found, hit, missed or cannot tell. */
export function boundRows(judgement) {
  return judgement.bounds.map((b) => {
    const exact = b.found !== null && b.found[1] - b.found[0] < 0.5 ? (b.found[0] + b.found[1]) / 2 : null;
    const shown = { lo: b.allowed[0] ?? -Infinity, hi: b.allowed[1] ?? Infinity, found: exact, verdict: b.verdict };
    const range = b.found === null ? "not seen" : b.found[1] - b.found[0] < 0.005 ? seconds(b.found[0]) : `${b.found[0].toFixed(2)} to ${b.found[1].toFixed(2)} s`;
    const picture = el("td", { html: `<svg width="110" height="32" aria-hidden="true">${boundPicture(shown, 110)}</svg>` });
    return el("tr", {}, el("th", { scope: "row" }, b.label), picture, el("td", {}, range, el("br"), WORDS[b.verdict]));
  });
}

/** The judge's sentence; the word above it is not said twice, and alone it is said why nothing can be told. */
function sentenceOf(server) {
  const { sentence } = server.judgement;
  if (!server.tapped) return `Nobody tapped the acts, so nothing can be told of them. ${sentence}`;
  const said = sentence.replace(/^Missed: /, "");
  return said[0].toUpperCase() + said.slice(1);
}

/** Verdict, what to do with the key, the one thing to change, every bound. */
export function endScreen(app) {
  const { plan, server } = app;
  const found = server.judgement;
  const missed = found?.verdict === "missed" || server.over === "missed";
  const word = found === null ? "Stopped" : missed ? "Missed" : server.over === "stopped" ? "Stopped" : "Done";
  const sentence = found === null ? "Stopped before anything was done. Nothing was kept." : sentenceOf(server);
  const due = missed ? found?.bounds.find((b) => b.verdict === "missed")?.step ?? null : null;
  const kept = server.kept === null ? "Not counted as a try: it was stopped before anything was missed." : `Kept in the job as entry ${server.kept}, with its taps.`;
  const figure = el("p", { class: "left" });
  const again = server.number < ATTEMPTS || server.kept === null;
  const after = missed || word === "Stopped" ? [el("p", { class: "now" }, "Now"), el("div", { class: "two" }, el("h2", { class: "lead" }, "Key off"), figure), el("p", {}, plan.routine.after_miss)] : [el("p", { class: "now" }, "Look for"), el("ul", { class: "plain" }, ...plan.routine.signs.map((s) => el("li", {}, s)), el("li", {}, "Idle one minute, loads off, and measure it."))];
  const advice = found?.advice ? [...(missed ? [] : [el("p", { class: "now" }, "To know more")]), el("p", {}, found.advice)] : [];
  const nodes = [
    el("div", { class: "head" }, el("span", {}, el("b", {}, plan.routine.title)), el("span", {}, `try ${server.number} of ${ATTEMPTS}`)),
    stepLine(plan, due, missed),
    pad(
      giant(word, 100),
      el("p", { class: `said verdict ${found?.verdict ?? "undecided"}`, "data-say": "", "data-verdict": found?.verdict ?? "" }, sentence),
      ...after,
      ...advice,
      ...(found === null ? [] : [el("details", {}, el("summary", {}, `Every bound, ${found.bounds.length}`), el("table", {}, el("tbody", {}, ...boundRows(found))))]),
      el("p", { class: "basis" }, `${found === null ? "" : `${kept} `}${plan.basis}`),
    ),
    el("div", { class: again && missed ? "foot pair" : "foot" }, el("a", { class: missed ? "btn" : "btn main", href: `/jobs/${app.job}#stage-4` }, "To the job"), ...(again && word !== "Done" ? [button("Again from step 1", app.again, { main: missed })] : [])),
  ];
  const ended = app.voice.now();
  const frame = (now) => {
    const left = plan.recovery === null ? 0 : Math.max(0, ended + plan.recovery - now);
    const { figure: f, unit } = countdown(left);
    figure.hidden = plan.recovery === null;
    setText(figure, f + unit);
  };
  return { nodes, frame };
}
