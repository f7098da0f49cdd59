// A chart with zoom. Draws what it is given at the size of its place; asks nothing of the network.
// chart: where it draws, in the order of Tab. status: says what is shown. buttons: closer, wider, earlier, later, whole.
// data: panels with their series, spans of time that count or not, start and stop, a sentence.
export const zoomable = (chart, status, buttons, data) => {
  const number = zoomable.made = (zoomable.made || 0) + 1;
  const SVG = "http://www.w3.org/2000/svg";
  const LEFT = 56, RIGHT = 14, STRIP = 14;
  const all = [data.start, data.stop];
  let [from, to] = all, drag = null;

  const el = (parent, tag, attrs, text) => {
    const made = document.createElementNS(SVG, tag);
    for (const k in attrs) made.setAttribute(k, attrs[k]);
    if (text !== undefined) made.textContent = text;
    parent.append(made);
    return made;
  };
  const minus = (s) => String(s).replace("-", "\u2212");
  const step = (span, about) => {
    const raw = span / about, power = 10 ** Math.floor(Math.log10(raw));
    return power * [1, 2, 5, 10].find((k) => raw <= k * power * (1 + 1e-9));
  };
  const ticks = (lo, hi, about) => {
    const s = step(hi - lo, about), out = [];
    for (let k = Math.ceil(lo / s - 1e-9); k <= hi / s + 1e-9; k++) out.push(+(k * s).toFixed(6));
    return out;
  };
  const first = (t, at) => { let a = 0, b = t.length; while (a < b) { const m = (a + b) >> 1; if (t[m] < at) a = m + 1; else b = m; } return a; };

  // The path of one series: first, lowest, highest and last of each pixel column, broken at gaps.
  const path = (s, x, y) => {
    let a = Math.max(0, first(s.t, from) - 1), b = Math.min(s.t.length, first(s.t, to) + 1);
    let d = "", pen = false, last = null, column = [];
    const flush = () => {
      if (!column.length) return;
      const ys = column.map((p) => p[1]);
      const keep = [...new Set([0, ys.indexOf(Math.min(...ys)), ys.indexOf(Math.max(...ys)), column.length - 1])].sort((p, q) => p - q);
      for (const i of keep) { d += (pen ? "L" : "M") + column[i][0].toFixed(1) + " " + column[i][1].toFixed(1); pen = true; }
      column = [];
    };
    for (let i = a; i < b; i++) {
      if (s.v[i] === null || (last !== null && s.t[i] - last > s.gap)) { flush(); pen = false; }
      last = s.t[i];
      if (s.v[i] === null) continue;
      const p = [x(s.t[i]), y(s.v[i])];
      if (column.length && Math.floor(column[0][0]) !== Math.floor(p[0])) flush();
      column.push(p);
    }
    flush();
    return d;
  };

  const range = (panel) => {
    let lo = Infinity, hi = -Infinity;
    for (const s of panel.series) for (let i = first(s.t, from), n = first(s.t, to); i < n; i++) {
      if (s.v[i] !== null) { lo = Math.min(lo, s.v[i]); hi = Math.max(hi, s.v[i]); }
    }
    const seen = [lo, hi];
    if (lo > hi) [lo, hi] = panel.normal || [0, 1];
    if (panel.normal && from === all[0] && to === all[1]) { lo = Math.min(lo, panel.normal[0]); hi = Math.max(hi, panel.normal[1]); }
    if (hi - lo < panel.least) { const m = (lo + hi) / 2; lo = m - panel.least / 2; hi = m + panel.least / 2; }
    const pad = 0.07 * (hi - lo);
    return { lo: lo - pad, hi: hi + pad, seen };
  };

  // A heading, wrapped between words where it is wider than its room; gives the y of its last line.
  const heading = (parent, y, room, text) => {
    const line = el(parent, "text", { x: 0, y, class: "strong" }, text), words = text.split(" ");
    let n = words.length;
    while (n > 1 && line.getComputedTextLength() > room) line.textContent = words.slice(0, --n).join(" ");
    return n < words.length ? heading(parent, y + 19, room, words.slice(n).join(" ")) : y;
  };

  const draw = () => {
    const wide = Math.max(240, chart.clientWidth), right = wide - RIGHT;
    const x = (t) => LEFT + (t - from) / (to - from) * (right - LEFT);
    chart.replaceChildren();
    const svg = el(chart, "svg", { "aria-hidden": "true", width: wide });
    const clip = el(el(svg, "defs", {}), "clipPath", { id: `inside${number}` });
    let top = 6;
    const strip = el(svg, "g", { "clip-path": `url(#inside${number})` });
    const stripTop = data.spans.length ? top + 18 : top;
    const words = [];
    if (data.spans.length) {
      const hatch = el(svg.querySelector("defs"), "pattern", { id: `hatch${number}`, width: 6, height: 6, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" });
      el(hatch, "path", { d: "M0 0V6", stroke: "var(--ink)", "stroke-width": 2.4 });
      let free = LEFT;
      for (const s of data.spans) {
        if (s.stop < from || s.start > to) continue;
        const a = Math.max(LEFT, x(s.start)), b = Math.min(right, x(s.stop));
        el(strip, "rect", { x: a, y: stripTop, width: Math.max(1, b - a), height: STRIP, fill: s.why ? `url(#hatch${number})` : "var(--fill)" });
        el(strip, "path", { d: `M${a} ${stripTop}v${STRIP}`, stroke: "var(--ink)" });
        const word = s.why ? s.letter : "used", room = word.length * 9;
        const middle = Math.min(Math.max((a + b) / 2, LEFT + room / 2), right - room / 2);
        if (middle - room / 2 >= free + 4) { words.push([middle, word]); free = middle + room / 2; }
      }
      for (const [m, w] of words) el(svg, "text", { x: m, y: stripTop - 5, "text-anchor": "middle", class: "strong" }, w);
      top = stripTop + STRIP + 12;
    }
    const said = [];
    for (const panel of data.panels) {
      const { lo, hi, seen } = range(panel);
      const t0 = heading(svg, top + 15, wide, panel.what) + 9, t1 = t0 + (wide < 600 ? panel.height * 0.8 : panel.height);
      const y = (v) => t1 - (v - lo) / (hi - lo) * (t1 - t0);
      el(clip, "rect", { x: LEFT, y: 0, width: right - LEFT, height: t1 });
      const inside = el(svg, "g", { "clip-path": `url(#inside${number})` });
      for (const s of data.spans) if (!s.why) el(inside, "rect", { x: x(s.start), y: t0, width: Math.max(1, x(s.stop) - x(s.start)), height: t1 - t0, fill: "var(--wash)" });
      for (const v of ticks(lo, hi, Math.max(3, (t1 - t0) / 44))) {
        el(svg, "path", { d: `M${LEFT} ${y(v)}H${right}`, stroke: "var(--rule)" });
        el(svg, "text", { x: LEFT - 8, y: Math.min(t1, y(v) + 5), "text-anchor": "end" }, minus(v));
      }
      if (panel.normal) for (const v of panel.normal) if (v > lo && v < hi) el(svg, "path", { d: `M${LEFT} ${y(v)}H${right}`, stroke: "var(--ink)", "stroke-width": 1.5, "stroke-dasharray": "2 4" });
      for (const s of panel.series) el(inside, "path", { d: path(s, x, y) || "M0 0", fill: "none", stroke: `var(--${s.colour})`, "stroke-width": s.weight, "stroke-linejoin": "round" });
      el(svg, "path", { d: `M${LEFT} ${t0}V${t1}H${right}`, fill: "none", stroke: "var(--line)" });
      const places = panel.least >= 20 ? 0 : 1; // no tenth of a turn a minute means anything
      if (seen[0] <= seen[1]) said.push(`${panel.what.split(";")[0]}: ${minus(+seen[0].toFixed(places))} to ${minus(+seen[1].toFixed(places))}`);
      top = t1 + 14;
    }
    const marks = ticks(from, to, Math.max(2, (right - LEFT) / 100));
    marks.forEach((v, i) => {
      el(svg, "path", { d: `M${x(v)} ${top - 14}v6`, stroke: "var(--line)" });
      const end = i === marks.length - 1, text = minus(v) + (end ? " seconds" : "");
      el(svg, "text", end ? { x: Math.min(right, x(v) + 40), y: top + 8, "text-anchor": "end" } : { x: x(v), y: top + 8, "text-anchor": "middle" }, text);
    });
    svg.setAttribute("height", top + 16);
    const r = (v) => minus(+v.toFixed(1));
    status.textContent = `Shown: ${r(from)} to ${r(to)} s. ${said.join("; ")}.`;
    chart.setAttribute("aria-label", `${data.sentence} ${status.textContent} Arrow keys move, plus and minus zoom, 0 shows all.`);
    const whole = from === all[0] && to === all[1];
    for (const id of ["wider", "earlier", "later", "whole"]) buttons[id].disabled = whole || (id === "earlier" && from <= all[0]) || (id === "later" && to >= all[1]);
    buttons.closer.disabled = to - from <= 2;
  };

  const show = (a, b) => {
    const most = all[1] - all[0], span = Math.min(most, Math.max(Math.min(2, most), b - a)), middle = (a + b) / 2;
    from = Math.min(Math.max(all[0], middle - span / 2), all[1] - span);
    to = from + span;
    if (span >= most) [from, to] = all;
    draw();
  };
  const zoom = (k, at = (from + to) / 2) => show(at - (at - from) * k, at + (to - at) * k);
  const move = (k) => { const d = (to - from) * k; show(from + d, to + d); };
  const act = { closer: () => zoom(0.5), wider: () => zoom(2), earlier: () => move(-0.25), later: () => move(0.25), whole: () => show(...all) };
  for (const id in act) buttons[id].addEventListener("click", act[id]);
  const keys = { "+": "closer", "=": "closer", "-": "wider", ArrowLeft: "earlier", ArrowRight: "later", 0: "whole", Home: "whole" };
  chart.addEventListener("keydown", (e) => { if (keys[e.key] && !e.ctrlKey && !e.metaKey && !e.altKey) { e.preventDefault(); act[keys[e.key]](); } });
  // Dragging along the chart picks a stretch.
  const at = (e) => { const b = chart.getBoundingClientRect(); return from + (e.clientX - b.left - LEFT) / (b.width - LEFT - RIGHT) * (to - from); };
  chart.addEventListener("pointerdown", (e) => { if (e.pointerType !== "touch") drag = at(e); });
  addEventListener("pointerup", (e) => {
    if (drag === null) return;
    const [a, b] = [drag, at(e)].sort((p, q) => p - q);
    drag = null;
    if (b - a > (to - from) / 50) show(Math.max(from, a), Math.min(to, b));
  });
  new ResizeObserver(draw).observe(chart);
  return { show };
};
