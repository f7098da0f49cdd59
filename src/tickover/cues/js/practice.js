// Practice: taps along a beat and pairs of taps, kept as lines that the command `practice --taps` reads.

import { button, el, giant, setText } from "./page.js";

/** Intervals to practise [s], each so many times. */
const TARGETS = [0.5, 2, 6];
const ROUNDS = 14;

/** Beats of one a second; the first four are to find it. */
const BEATS = 16;
const FIND_BEAT = 4;

/** A touch is known to about this [s]: the screen is asked sixty times a second. Standard uncertainty. */
const TOUCH_OFF = 0.005;

/** The taps as text: a line of names, then aimed, made, cued and the uncertainty of each. */
export function tapLines(taps) {
  const rows = taps.map((t) => [t.aimed, t.made.toFixed(4), t.cued ? 1 : 0, (t.cued ? TOUCH_OFF : 1.4142 * TOUCH_OFF).toFixed(4)].join(","));
  return ["# practice taps by phone", "aimed,made,cued,off", ...rows].join("\n") + "\n";
}

/** What to produce: every target once a round, in an order that `random` mixes. */
export function practiceOrder(random = Math.random) {
  return Array.from({ length: ROUNDS }, () => TARGETS.map((seconds) => ({ seconds, key: random() })).sort((a, b) => a.key - b.key)).flat().map((t) => t.seconds);
}

/** Taps that belong to a beat: the nearest one within half a beat, first beats left out. */
export function tapsToBeats(beats, taps) {
  return beats.flatMap((at, k) => {
    const near = taps.filter((t) => Math.abs(t - at) < 0.5);
    return k >= FIND_BEAT && near.length === 1 ? [{ aimed: k + 1, made: k + 1 + near[0] - at, cued: true }] : [];
  });
}

/** The screen: a beat to tap along with, then intervals one by one; stop when you like. */
export function practiceScreen(app) {
  const order = practiceOrder();
  const state = { taps: [], beats: null, touched: [], begun: null, place: 0 };
  const word = giant("Practise");
  const text = el("p", { class: "said", role: "status" });
  const came = el("p", { class: "detail" });
  const pad = el("button", { type: "button", class: "btn tap", id: "pad" }, "Tap here");
  const lines = el("textarea", { readonly: "", rows: 6, class: "lines", "aria-label": "The taps as text" });
  const beat = button("Along a beat", () => void startBeat(), { small: "16 beats of one a second" });
  const saving = el("div", { class: "row" }, button("Copy the taps", () => copy(app, lines)), button("Save the taps", () => save(app, state)));

  async function startBeat() {
    await app.voice.wake();
    const first = app.voice.now() + 1.5;
    state.beats = Array.from({ length: BEATS }, (_, k) => first + k);
    state.touched = [];
    app.voice.play(state.beats.map((at) => ({ at, sound: "pip", event: "", words: "", until: null })));
  }

  app.practiceTap = () => {
    const now = app.voice.now();
    if (state.beats !== null) state.touched.push(now);
    else if (state.begun === null) state.begun = now;
    else endInterval(now);
    frame(now);
  };

  function endInterval(now) {
    const aimed = order[state.place % order.length];
    const made = now - state.begun;
    state.begun = null;
    if (made < 0.08) return; // a bounce
    state.taps.push({ aimed, made, cued: false });
    state.place += 1;
    setText(came, `${made.toFixed(2)} s for ${aimed} s`);
  }

  function endBeat() {
    state.taps.push(...tapsToBeats(state.beats, state.touched));
    state.beats = null;
  }

  function frame(now) {
    if (state.beats !== null && now > state.beats.at(-1) + 0.6) endBeat();
    const aimed = order[state.place % order.length];
    const cued = state.taps.filter((t) => t.cued).length;
    const own = state.taps.length - cued;
    setText(word.firstElementChild, state.beats !== null ? "Beat" : state.begun !== null ? "And …" : `${aimed} s`);
    setText(text, state.beats !== null ? "Tap with each beat. The first four are to find it." : `Tap twice, ${aimed} s apart. No clock, no watch.`);
    beat.hidden = state.beats !== null || state.begun !== null || cued > 0;
    saving.hidden = lines.hidden = !state.taps.length || state.beats !== null || state.begun !== null;
    const kept = tapLines(state.taps);
    if (lines.value !== kept) lines.value = kept;
    setText(count, own >= order.length ? `${own} intervals, ${cued} to the beat: enough.` : `${own} of ${order.length} intervals, ${cued} to the beat.`);
  }

  const count = el("p", { class: "basis" });
  pad.addEventListener("pointerdown", (event) => {
    event.preventDefault();
    app.practiceTap();
  });
  const nodes = [
    el("div", { class: "pad" }, el("p", { class: "now" }, "Practice"), word, text, came, pad, el("div", { class: "row" }, beat), count, saving, lines, el("p", { class: "basis" }, "Taken to the computer they are read by: tickover practice --taps FILE")),
    el("div", { class: "foot" }, button("Back to the routine", () => leave(app))),
  ];
  return { nodes, frame };
}

function leave(app) {
  app.voice.silence();
  app.practiceTap = null;
  app.show("sound");
}

function copy(app, lines) {
  lines.select();
  // Pages opened from a file may have no clipboard: the text stays selected to be copied by hand.
  app.win.navigator.clipboard?.writeText(lines.value).catch(() => undefined);
}

function save(app, state) {
  const link = app.win.document.createElement("a");
  link.href = URL.createObjectURL(new Blob([tapLines(state.taps)], { type: "text/csv" }));
  link.download = "practice-taps.csv";
  link.click();
}
