// Sounds on the audio clock, spoken words and vibration; with an <audio> element where there is no AudioContext.

import { reportedLatency } from "./latency.js";
import { samplesOf } from "./tones.js";

const RATE = 22050;

/** An audio clock that may run does so within this [s]. */
const SLOW = 1;

/** Put one cue on a context's own clock; a context for the speaker or one that renders offline. */
export function playOn(context, plan, cue, at, master = 1) {
  const recipe = plan.sounds[cue.sound];
  const lasting = cue.until === null ? 0 : cue.until - cue.at;
  const samples = samplesOf(recipe, context.sampleRate, plan.edge, lasting);
  const buffer = context.createBuffer(1, samples.length, context.sampleRate);
  buffer.copyToChannel(samples, 0);
  const source = context.createBufferSource();
  source.buffer = buffer;
  const gain = context.createGain();
  gain.gain.value = master;
  source.connect(gain).connect(context.destination);
  source.start(at);
  return source;
}

/** Samples as the address of a WAV, 16 bit mono. A blob: address, which the served pages' content policy lets play. */
export function wavAddress(samples, rate) {
  const bytes = new Uint8Array(44 + 2 * samples.length);
  const view = new DataView(bytes.buffer);
  const word = (at, text) => [...text].forEach((c, k) => view.setUint8(at + k, c.charCodeAt(0)));
  word(0, "RIFF");
  view.setUint32(4, bytes.length - 8, true);
  word(8, "WAVEfmt ");
  view.setUint32(16, 16, true);
  [1, 1].forEach((v, k) => view.setUint16(20 + 2 * k, v, true));
  view.setUint32(24, rate, true);
  view.setUint32(28, 2 * rate, true);
  [2, 16].forEach((v, k) => view.setUint16(32 + 2 * k, v, true));
  word(36, "data");
  view.setUint32(40, 2 * samples.length, true);
  samples.forEach((x, k) => view.setInt16(44 + 2 * k, Math.round(32767 * Math.min(1, Math.max(-1, x))), true));
  return URL.createObjectURL(new Blob([bytes], { type: "audio/wav" }));
}

/**
 * The phone's voice. `now()` is the coach's clock: a sound planned at `at` is heard when now() is `at`.
 * Cues are given as a list that replaces the last one; what has begun goes on, what has not is taken back.
 * A browser may hold all sound back until the page is touched, as after a reload; then `held()` is true, and `touched()`
 * from within a touch or a key lets it sound.
 */
export function speaker(plan, win) {
  const Context = win.AudioContext ?? win.webkitAudioContext;
  // `audio`: whether the audio clock runs; `ahead`: the coach's clock less the clock that it goes by now [s].
  const voice = { context: null, extra: 0, planned: new Map(), elements: new Map(), audio: false, ahead: 0, stood: 0, page: 0, asked: null, heard: Context ? false : null };
  const clock = () => clockOf(voice, win);
  return {
    hasContext: Boolean(Context),
    now: clock,
    async wake() {
      voice.asked ??= win.performance.now() / 1000;
      if (!Context) return;
      voice.context ??= new Context({ latencyHint: "interactive" });
      // Some phones never settle this promise without a tap; the coach goes on by the other clock.
      await Promise.race([voice.context.resume(), new Promise((done) => win.setTimeout(done, 800))]);
    },
    held: () => !voice.audio && voice.heard === false && voice.asked !== null && win.performance.now() / 1000 - voice.asked > SLOW,
    touched: () => void (voice.audio || voice.context?.resume().catch(() => undefined)),
    reported: () => reportedLatency(voice.context),
    /** Delay beyond what the browser reports, as tapping along has shown [s]. */
    correct(extra) {
      voice.extra = extra;
    },
    play: (cues) => playAll(voice, plan, cues, clock(), win),
    silence() {
      playAll(voice, plan, [], clock(), win);
      win.speechSynthesis?.cancel();
    },
  };
}

/**
 * The coach's clock: the audio clock while that runs, else the page's. Where one takes over from the other it goes on
 * without a jump, and what was planned on the one is planned anew on the other.
 */
function clockOf(voice, win) {
  const page = win.performance.now() / 1000;
  const sounding = voice.context?.state === "running" && (voice.audio || voice.context.currentTime > voice.stood);
  if (sounding !== voice.audio && voice.context) {
    const now = voice.audio ? page + voice.page : page + voice.ahead;
    for (const job of voice.planned.values()) job.stop();
    voice.planned.clear();
    voice.audio = sounding;
    voice.stood = voice.context.currentTime;
    voice.ahead = now - (sounding ? voice.stood : page);
  }
  const now = (voice.audio ? voice.context.currentTime : page) + voice.ahead;
  voice.page = now - page;
  return now;
}

function keyOf(cue) {
  return `${cue.sound} ${cue.event} ${cue.at.toFixed(3)}`;
}

/** Whether two cues are of one tone that lasts, wherever it was begun. */
const sameHold = (one, other) => one.sound === other.sound && one.event === other.event && one.until === other.until;

/** How far ahead cues are handed over [s]; the audio clock keeps them even if the page is put to sleep. */
const AHEAD = 20;

function playAll(voice, plan, cues, now, win) {
  const lasts = (c) => c.until !== null && c.until > now + 0.3 && ![...voice.planned.values()].some((job) => sameHold(job.cue, c));
  const wanted = new Map(cues.filter((c) => c.at < now + AHEAD && (c.at > now - 0.05 || lasts(c))).map((c) => [keyOf(c), c]));
  for (const [key, job] of voice.planned) {
    const lasting = job.cue.until !== null;
    const goesOn = lasting && cues.some((c) => sameHold(c, job.cue));
    if (wanted.has(key) || goesOn || (!lasting && job.cue.at <= now)) continue;
    job.stop();
    voice.planned.delete(key);
  }
  for (const [key, cue] of wanted) {
    const rest = cue.until !== null && cue.at < now ? { ...cue, at: now } : cue; // after a reload a hold goes on in its middle
    if (!voice.planned.has(key)) voice.planned.set(key, beginCue(voice, plan, rest, now, win));
  }
  for (const [key, job] of voice.planned) {
    if ((job.cue.until ?? job.cue.at) < now - 5) voice.planned.delete(key);
  }
}

function beginCue(voice, plan, cue, now, win) {
  const after = Math.max(0, cue.at - now);
  if (cue.sound === "words") return later(win, after, cue, () => say(win, cue.words));
  const buzz = later(win, after, cue, () => vibrate(plan, win, cue.sound));
  const early = (voice.context ? (reportedLatency(voice.context) ?? 0) : 0) + voice.extra;
  const stopSound = voice.audio ? onContext(voice, plan, cue, early) : onElement(voice, plan, cue, after - early, win);
  return {
    cue,
    stop() {
      buzz.stop();
      stopSound();
    },
  };
}

function onContext(voice, plan, cue, early) {
  const at = Math.max(voice.context.currentTime, cue.at - voice.ahead - early);
  const source = playOn(voice.context, plan, cue, at);
  return () => source.stop();
}

function onElement(voice, plan, cue, after, win) {
  const long = cue.until === null ? 0 : 10; // repeated until it is paused
  const name = `${cue.sound} ${long}`;
  if (!voice.elements.has(name)) {
    const samples = samplesOf(plan.sounds[cue.sound], RATE, plan.edge, long);
    voice.elements.set(name, new win.Audio(wavAddress(samples, RATE)));
  }
  const element = voice.elements.get(name);
  const job = later(win, Math.max(0, after), cue, () => {
    element.currentTime = 0;
    element.loop = long > 0;
    // Refused until the first tap on the page; the strip and the words go on.
    element.play().then(() => (voice.heard = true), () => (voice.heard = false));
  });
  const over = long > 0 ? later(win, Math.max(0, after) + cue.until - cue.at, cue, () => element.pause()) : null;
  return () => {
    job.stop();
    over?.stop();
    element.pause();
  };
}

function later(win, after, cue, act) {
  const timer = win.setTimeout(act, 1000 * after);
  return { cue, stop: () => win.clearTimeout(timer) };
}

function say(win, words) {
  if (!win.speechSynthesis || !win.SpeechSynthesisUtterance) return;
  const line = new win.SpeechSynthesisUtterance(words);
  line.lang = "en-GB";
  line.rate = 1.1;
  win.speechSynthesis.cancel();
  win.speechSynthesis.speak(line);
}

function vibrate(plan, win, sound) {
  if (sound === "tick" || sound === "hold" || sound === "upbeat") return;
  if (win.navigator.userActivation?.hasBeenActive === false) return; // it would be refused, with a complaint
  win.navigator.vibrate?.(sound === "pip" ? 30 : 80);
}
