// One attempt at the server: this page's clock set against the server's, taps sent in order and kept until they are
// acknowledged, the state asked for often enough that two phones see the same.

import { ask } from "./coach-shell.js";

/** Questions for the time when joining; the shortest way there and back counts. */
const QUESTIONS = 6;
/** The state is asked for this often while an attempt runs [s]. */
const POLL = 0.5;
/** The voice's clock is compared with the page's anew where they moved apart by this [s]. */
const APART = 0.02;
/** After this the clock is set anew where another phone is in it [s]. */
const HOLDS_FOR = 110;

/** Refusals that asking again does not change; anything else, a full disk or an ended session, may pass. */
const FOR_GOOD = new Set(["InputError", "UnknownAttemptError"]);

/**
 * @param app of the shell; onState is called with each state from the server, onTrouble with words or "".
 */
export function makeLink(app, onState, onTrouble) {
  const store = app.win.sessionStorage;
  const link = { id: null, clock: null, middle: 0, joinedAt: 0, seq: 0, queue: [], flushing: null, latest: null, over: false, shift: null };
  const device = (store.getItem("device") ?? crypto.randomUUID?.() ?? String(Math.random()).slice(2)).slice(0, 40);
  store.setItem("device", device);

  /** Page time less voice time; held still, so that a tone planned once is not planned again a millisecond later. */
  const shift = () => {
    const now = app.pageTime() - app.voice.now();
    if (link.shift === null || Math.abs(now - link.shift) > APART) link.shift = now;
    return link.shift;
  };

  const shown = (state) => {
    if (link.over) return;
    if (state.over) {
      link.over = true;
      store.removeItem(`queue ${link.id}`);
    }
    link.latest = state;
    onState(state);
  };

  async function exchanges() {
    const found = [];
    for (let k = 0; k < QUESTIONS; k++) {
      const sent = app.pageTime();
      const { seconds } = await ask("/api/clock");
      found.push({ sent, server: seconds, back: app.pageTime() });
    }
    return found;
  }

  async function join() {
    const joined = await ask(`/api/attempts/${link.id}/clocks`, { device, exchanges: await exchanges() });
    Object.assign(link, { clock: joined.clock, middle: joined.middle, joinedAt: app.pageTime(), seq: 0 });
    return joined.attempt;
  }

  const keep = () => store.setItem(`queue ${link.id}`, JSON.stringify(link.queue));

  /** Send what waits; true once nothing does. Whoever asks while it is sent waits for the same answer. */
  const flush = () => (link.flushing ??= sendAll().finally(() => (link.flushing = null)));

  async function sendAll() {
    try {
      while (link.queue.length && !link.over) {
        const { clock } = link.queue[0];
        const now = link.queue.filter((e) => e.clock === clock).slice(0, 50);
        const state = await ask(`/api/attempts/${link.id}/events`, { clock, events: now.map(({ clock: _, ...e }) => e) });
        link.queue = link.queue.filter((e) => !now.includes(e));
        keep();
        onTrouble("");
        shown(state);
      }
    } catch (why) {
      trouble(why);
    }
    return !link.queue.length;
  }

  function trouble(why) {
    if (why.status === undefined) throw why;
    if (FOR_GOOD.has(why.error)) {
      link.queue = []; // what the server has is what counts
      keep();
    }
    const n = link.queue.length;
    const waits = n ? `; ${n} ${n > 1 ? "taps wait" : "tap waits"} here` : "";
    onTrouble(`${why.status ? "Not taken" : "Not connected"}: ${why.what}${waits}`);
  }

  async function poll() {
    if (link.clock !== null && !link.over) {
      await flush();
      try {
        if (!link.queue.length) {
          shown(await ask(`/api/attempts/${link.id}`));
          onTrouble("");
        }
        const several = Object.keys(link.latest?.phones ?? {}).length > 1;
        if (!link.over && several && app.pageTime() - link.joinedAt > HOLDS_FOR) await join();
      } catch (why) {
        trouble(why);
      }
    }
    app.win.setTimeout(poll, 1000 * POLL);
  }
  void poll();

  return {
    device,
    /** Begin an attempt at a routine in a job, or join the one that runs there. */
    async begin(job, said) {
      const state = await ask(`/api/jobs/${job}/attempts`, said);
      return this.resume(state);
    },
    /** Go on with an attempt that runs; taps that a reload left behind are sent first. */
    async resume(state) {
      Object.assign(link, { clock: null, over: false, latest: null, queue: [] }); // not asked about until the clock is set
      link.id = state.id;
      link.queue = JSON.parse(store.getItem(`queue ${state.id}`) ?? "[]");
      const joined = await join();
      shown(joined);
      await flush();
      return link.latest;
    },
    /** Tell that something happened at `t` on the voice's clock [s]. */
    tell(event) {
      const t = event.t + shift();
      link.queue.push({ clock: link.clock, seq: link.seq++, ...event, t });
      keep();
      void flush();
    },
    /** What is not acknowledged yet, times as the server would have them. */
    waiting: () => link.queue.filter((e) => e.clock === link.clock).map((e) => ({ ...e, t: e.t + link.middle })),
    /** End the attempt once all taps are there; the judgement comes with the state. */
    async end(how) {
      try {
        if (!(await flush())) return;
        shown(await ask(`/api/attempts/${link.id}/end`, { how }));
      } catch (why) {
        trouble(why);
      }
    },
    /** A time of the attempt on the voice's clock [s]. */
    toVoice: (t) => t - link.middle - shift(),
  };
}
