// Words for a person at the car: short, plain, trade words.

const WORDS_OF = {
  "ignition off": "Key off",
  "ignition accessory": "Key to accessory",
  "ignition on": "Key on",
  crank: "Start",
  press: "Press",
  release: "Let up",
  "brake press": "Brake",
  "brake release": "Off the brake",
  "gear drive": "Into drive",
  "gear neutral": "P or N",
  "load on": "Load on",
  "load off": "Load off",
};

const BUTTON_WORDS_OF = { "ignition off": "Switch off", "ignition accessory": "Accessory", "ignition on": "Switch on" };

const ANSWERS_OF = {
  "lamp flashing": ["the lamp begins to flash", "It flashes", "Watch the lamp"],
  "lamp lit": ["the lamp stays lit", "It stays lit", "Watch the lamp"],
  "lamp off": ["the lamp goes dark", "It is dark", "Watch the lamp"],
  running: ["the engine runs by itself", "It runs", "Listen: does it run"],
  stopped: ["the engine stands still", "It stands still", "Listen: does it stand"],
  "fan on": ["the radiator fan starts", "Fan runs", "Watch the fan"],
  "fan off": ["the radiator fan stops", "Fan stopped", "Watch the fan"],
};

/** The giant word of an act. */
export function actWord(plan, event) {
  const step = plan.steps.get(event.step);
  if (step.load) return step.title;
  const own = plan.routine.switch === "button" ? BUTTON_WORDS_OF[event.kind] : undefined;
  return own ?? WORDS_OF[event.kind] ?? step.title;
}

/** An event in a sentence: "press 4", "let up", "the lamp stays lit". */
export function eventWords(plan, event) {
  if (event.answer) return (ANSWERS_OF[event.kind] ?? [plan.steps.get(event.step).title])[0];
  const word = actWord(plan, event).toLowerCase();
  return event.of > 1 ? `${event.kind === "release" ? "let-up" : word} ${event.number}` : word;
}

/** The words on the button of an answer. */
export function answerButton(event) {
  return ANSWERS_OF[event.kind]?.[1] ?? "It happened";
}

/** What to watch for an answer. */
export function watchWords(event) {
  return ANSWERS_OF[event.kind]?.[2] ?? "Watch";
}

/** What is said before an act: "Five presses", "Key on". */
export function spokenWords(plan, event) {
  const step = plan.steps.get(event.step);
  if (step.say) return step.say;
  if (event.of > 1) return event.number === 1 && event.kind === "press" ? `${event.of} presses` : "";
  if (event.kind === "crank") return "Start the engine";
  if (event.kind === "press") return holdFollows(plan, event) ? "Press and hold" : "Press";
  return event.kind === "release" ? "" : actWord(plan, event);
}

/** Whether a press is held: the next act is its let-up, in a step of its own. */
export function holdFollows(plan, event) {
  const next = plan.acts[plan.acts.indexOf(event) + 1];
  return event.kind === "press" && event.of === 1 && next !== undefined && next.kind === "release";
}

/** Seconds for a sentence: "0.4 s"; under a tenth with two places. */
export function seconds(value) {
  return `${value < 0.095 ? value.toFixed(2) : value < 9.95 ? value.toFixed(1) : Math.round(value)} s`;
}

/** A time as on a clock: "0:27"; with tenths where asked. */
export function clockWords(value, tenths = false) {
  const t = Math.max(0, tenths ? Math.floor(value * 10 + 1e-6) / 10 : Math.floor(value + 1e-6));
  const rest = t - 60 * Math.floor(t / 60);
  return `${Math.floor(t / 60)}:${tenths ? rest.toFixed(1).padStart(4, "0") : String(rest).padStart(2, "0")}`;
}

/** A countdown figure: whole seconds under a minute and a half, else minutes and seconds. */
export function countdown(value) {
  const left = Math.max(0, Math.ceil(value - 1e-6));
  return left < 90 ? { figure: String(left), unit: " s" } : { figure: clockWords(left), unit: "" };
}
