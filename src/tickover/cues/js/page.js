// Small helpers for building the page.

/** An element; text is set as text. A prop that begins with "on" is a listener, "html" is our own markup. */
export function el(tag, props = {}, ...kids) {
  const node = document.createElement(tag);
  for (const [name, value] of Object.entries(props)) {
    if (name.startsWith("on")) node.addEventListener(name.slice(2), value);
    else if (name === "html") node.innerHTML = value;
    else if (value !== null && value !== false) node.setAttribute(name, value === true ? "" : value);
  }
  node.append(...kids.filter((k) => k !== null && k !== ""));
  return node;
}

/** A button; main ones are filled, and there is one to a screen. */
export function button(text, act, { main = false, small = "", id = null } = {}) {
  return el("button", { type: "button", class: main ? "btn main" : "btn", id, onclick: act }, el("span", {}, text, small ? el("small", {}, small) : ""));
}

/** Set text only where it changed, so that a screen reader hears each thing once. */
export function setText(node, text) {
  if (node.textContent !== text) node.textContent = text;
}

/** Fit every giant word to its column by measurement: set at 100, measured, scaled, at most 150. */
export function fitWords(root) {
  for (const giant of root.querySelectorAll(".giant")) {
    const word = giant.firstElementChild;
    giant.style.fontSize = "100px";
    const most = innerHeight <= 500 ? 72 : innerHeight <= 760 ? 88 : root.matches(".watching, .careful") ? 112 : Number(giant.dataset.most ?? 150);
    giant.style.fontSize = `${Math.floor(Math.min(most, (100 * giant.clientWidth) / Math.max(1, word.offsetWidth)))}px`;
  }
}

/** The giant word. */
export function giant(text, most = 150) {
  return el("h1", { class: "giant", "data-most": most }, el("span", {}, text));
}

/** The steps as segments, done thick, due thicker; only the due one is named in words. */
export function stepLine(plan, due, missed = false) {
  const place = due === null ? plan.routine.steps.length : plan.routine.steps.findIndex((s) => s.id === due);
  const items = plan.routine.steps.map((s, k) => {
    const kind = k < place ? "done" : k === place ? (missed ? "miss" : "due") : "later";
    return el("li", { class: kind, "aria-current": k === place ? "step" : null }, el("span", { class: "hidden" }, s.title));
  });
  return el("ol", { class: "steps", "aria-label": "Steps" }, ...items);
}
