// Pictures as SVG text: the moving strip, a missed window, small jaws. Drawn to scale in pixels; nothing is stretched.

import { aimOf, dueAct, originOf, windowOf } from "./attempt.js";
import { LANES, laneOf, traceOf } from "./view.js";
import { seconds } from "./words.js";

const SPEED = 108;
const UPPER = 74;
const LOWER = 150;

const level = (v) => (v ? LOWER : UPPER);
const diamond = (x, y, r, css) => `<path class="${css}" d="M${x} ${y - r}L${x + r} ${y}L${x} ${y + r}L${x - r} ${y}Z"/>`;
const words = (x, y, text, css = "", anchor = "start") => `<text x="${x}" y="${y}" class="${css}" text-anchor="${anchor}">${text}</text>`;
const left = (x, y1, y2, w = 10) => `<path class="jaw" d="M${x + w} ${y1}H${x}V${y2}H${x + w}"/>`;
const right = (x, y1, y2, w = 10) => `<path class="jaw" d="M${x - w} ${y1}H${x}V${y2}H${x - w}"/>`;

/** The strip at one moment; the now line stands at 28 % of its width. */
export function stripPicture(plan, state, now, width) {
  const nowX = Math.round(0.28 * width);
  const x = (t) => Math.round((nowX + SPEED * (t - now)) * 10) / 10;
  const act = dueAct(plan, state);
  const lane = LANES[laneOf(act?.kind ?? "press")];
  const { past, future } = traceOf(plan, state, now, laneOf(act?.kind ?? "press"));
  const out = [`<path class="guide" d="M0 ${UPPER}H${width}M0 ${LOWER}H${width}"/>`];
  out.push(jawsOf(plan, state, now, act, x, width));
  out.push(futureTrace(past, future, lane, x, nowX, width));
  out.push(pastTrace(past, lane, x, nowX));
  out.push(`<path class="nowline" d="M${nowX} 0V206"/><circle class="dot" cx="${nowX}" cy="${level(past.at(-1)?.level ?? lane.rest)}" r="8"/>`);
  out.push(ruler(nowX, width));
  out.push(words(8, UPPER + 20, lane.names[0]), words(8, LOWER + 18, lane.names[1]));
  return out.join("");
}

function jawsOf(plan, state, now, act, x, width) {
  const aim = act && aimOf(plan, state, now);
  if (!act || aim === null) return "";
  const out = [];
  if (originOf(state) !== null) {
    const [a, b] = windowOf(plan, state, act.name).map(x);
    const [from, to] = [Math.max(-20, a), Math.min(width + 20, b)];
    if (to > from) out.push(`<rect class="wash" x="${from}" y="0" width="${to - from}" height="${UPPER}"/>`, left(from, 14, 44), right(to, 14, 44));
  }
  out.push(diamond(x(aim), 29, 12, "aim"), `<path class="aimline" d="M${x(aim)} 41V${UPPER}"/>`);
  return out.join("");
}

function futureTrace(past, future, lane, x, nowX, width) {
  let y = level(past.at(-1)?.level ?? lane.rest);
  let path = `M${nowX} ${y}`;
  const numbers = [];
  let down = null;
  for (const p of future) {
    path += `H${Math.max(nowX, x(p.t))}V${level(p.level)}`;
    y = level(p.level);
    if (p.number !== null) down = p;
    else if (down !== null) {
      numbers.push(words((Math.max(nowX, x(down.t)) + x(p.t)) / 2, 124, down.number, "number", "middle"));
      down = null;
    }
  }
  return `<path class="plan" d="${path}H${Math.max(width, nowX)}"/>${numbers.join("")}`;
}

function pastTrace(past, lane, x, nowX) {
  let path = `M-4 ${level(lane.rest)}`;
  for (const p of past) path += `H${Math.max(-4, x(p.t))}V${level(p.level)}`;
  return `<path class="own" d="${path}H${nowX}"/>`;
}

function ruler(nowX, width) {
  let path = `M0 184H${width}`;
  for (let k = 0; nowX + (k * SPEED) / 10 < width; k++) path += `M${nowX + (k * SPEED) / 10} ${184 - (k % 10 ? 4 : 9)}v${k % 10 ? 8 : 18}`;
  const marks = [1, 2, 3].filter((s) => nowX + s * SPEED < width - 20).map((s) => words(nowX + s * SPEED, 205, `${s} s`, "", "middle"));
  return `<path class="tick" d="${path}"/>${words(nowX + 9, 205, "now", "strong")}${marks.join("")}`;
}

/** A miss: the window between its jaws, the aim, and where the act came. */
export function missPicture(miss, width) {
  const ends = [...miss.window, miss.t].filter((t) => t !== null && Number.isFinite(t));
  const [from, to] = [Math.min(...ends), Math.max(...ends)];
  const span = Math.max(0.4, to - from);
  const x = (t) => Math.round(44 + ((t - from) / span) * (width - 88));
  const [a, b] = [Number.isFinite(miss.window[0]) ? x(miss.window[0]) : 0, Number.isFinite(miss.window[1]) ? x(miss.window[1]) : width];
  const out = [`<path class="tick" d="M0 112H${width}"/><rect class="wash" x="${a}" y="34" width="${Math.max(2, b - a)}" height="68"/>`];
  if (a > 0) out.push(left(a, 34, 102));
  if (b < width) out.push(right(b, 34, 102));
  out.push(words((a + b) / 2, 134, "window", "", "middle"));
  if (miss.aim !== null && b - a > 40) out.push(diamond(x(miss.aim), 68, 11, "aim"));
  const you = x(miss.t);
  const edge = miss.early > 0 ? a : b;
  out.push(`<path class="off" d="M${edge} 68H${you}"/>`, diamond(you, 68, 13, "bad"), words(Math.min(width - 24, Math.max(24, you)), 24, "you", "strong", "middle"));
  if (Math.abs(you - edge) > 76) out.push(words((you + edge) / 2, 58, seconds(Math.abs(miss.early)), "warn", "middle"));
  return out.join("");
}

/** Small jaws for one bound of a judged attempt. */
export function boundPicture(bound, width) {
  const open = !Number.isFinite(bound.hi);
  const lo = Number.isFinite(bound.lo) ? bound.lo : 0;
  const hi = open ? Math.max(lo + 1, bound.found ?? lo) : bound.hi;
  const at = Math.min(Math.max(bound.found ?? lo, lo - 0.4 * (hi - lo)), hi + 0.4 * (hi - lo));
  const x = (v) => Math.round(width * (0.28 + (0.44 * (v - lo)) / Math.max(1e-6, hi - lo)));
  const mark = bound.found === null ? "" : diamond(x(at), 16, 9, bound.verdict === "hit" ? "aim" : "bad");
  return `<rect class="wash" x="${x(lo)}" y="4" width="${x(hi) - x(lo)}" height="24"/>${left(x(lo), 4, 28, 6)}${open ? "" : right(x(hi), 4, 28, 6)}${mark}`;
}
