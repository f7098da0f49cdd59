// Sounds on the audio clock, spoken words and vibration; with an <audio> element where there is no AudioContext.

import { reportedLatency } from "./latency.js";
import { samplesOf } from "./tones.js";

const RATE = 22050;

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

/** Samples as a WAV in a data: address, 16 bit mono. */
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
  let text = "";
  for (const b of bytes) text += String.fromCharCode(b);
  return `data:audio/wav;base64,${btoa(text)}`;
}

/**
 * The phone's voice. `now()` is the coach's clock: a sound planned at `at` is heard when now() is `at`.
 * Cues are given as a list that replaces the last one; what has begun goes on, what has not is taken back.
 */
export function speaker(plan, win) {
  const Context = win.AudioContext ?? win.webkitAudioContext;
  const voice = { context: null, extra: 0, planned: new Map(), holds: new Map(), spoken: new Set(), elements: new Map() };
  const clock = () => (voice.context?.state === "running" ? voice.context.currentTime : win.performance.now() / 1000 - voice.zero);
  voice.zero = 0;
  return {
    hasContext: Boolean(Context),
    now: clock,
    async wake() {
      if (!Context) return;
      voice.context ??= new Context({ latencyHint: "interactive" });
      // Some phones never settle this promise without a tap; the coach goes on by the other clock.
      await Promise.race([voice.context.resume(), new Promise((done) => win.setTimeout(done, 800))]);
      voice.zero = win.performance.now() / 1000 - voice.context.currentTime;
    },
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

function keyOf(cue) {
  return `${cue.sound} ${cue.event} ${cue.at.toFixed(3)}`;
}

/** How far ahead cues are handed over [s]; the audio clock keeps them even if the page is put to sleep. */
const AHEAD = 20;

function playAll(voice, plan, cues, now, win) {
  const wanted = new Map(cues.filter((c) => c.at < now + AHEAD && c.at > now - 0.05).map((c) => [keyOf(c), c]));
  for (const [key, job] of voice.planned) {
    const lasting = job.cue.until !== null;
    const goesOn = lasting && cues.some((c) => c.sound === job.cue.sound && c.event === job.cue.event && c.until === job.cue.until);
    if (wanted.has(key) || goesOn || (!lasting && job.cue.at <= now)) continue;
    job.stop();
    voice.planned.delete(key);
  }
  for (const [key, cue] of wanted) {
    if (!voice.planned.has(key)) voice.planned.set(key, beginCue(voice, plan, cue, now, win));
  }
  for (const [key, job] of voice.planned) {
    if ((job.cue.until ?? job.cue.at) < now - 5) voice.planned.delete(key);
  }
}

function beginCue(voice, plan, cue, now, win) {
  const after = Math.max(0, cue.at - now);
  if (cue.sound === "words") return later(win, after, cue, () => say(win, cue.words));
  const buzz = later(win, after, cue, () => vibrate(plan, win, cue.sound));
  const running = voice.context?.state === "running";
  const early = (voice.context ? (reportedLatency(voice.context) ?? 0) : 0) + voice.extra;
  const stopSound = running ? onContext(voice, plan, cue, early) : onElement(voice, plan, cue, after - early, win);
  return {
    cue,
    stop() {
      buzz.stop();
      stopSound();
    },
  };
}

function onContext(voice, plan, cue, early) {
  const at = Math.max(voice.context.currentTime, cue.at - early);
  const source = playOn(voice.context, plan, cue, at);
  return () => source.stop();
}

function onElement(voice, plan, cue, after, win) {
  const long = cue.until === null ? 0 : Math.min(10, cue.until - cue.at);
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
    element.play().catch(() => undefined);
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
  win.navigator.vibrate?.(sound === "pip" ? 30 : 80);
}
