// The job sheet with script: faults told beside the form, typed words kept over a reload, logs with progress, charts.
// Without script every form still works; nothing here decides anything, the server does.
import { zoomable } from "./chart.js";
import { refuseFiles } from "./files.js";
import { listen } from "./sound.js";

const el = (tag, attrs = {}, text = "") => {
  const made = document.createElement(tag);
  for (const k in attrs) made.setAttribute(k, attrs[k]);
  made.textContent = text;
  return made;
};

// Say what went wrong at the top of the form, as text; the fields keep what was typed.
export const tell = (form, what, wayOut = "") => {
  form.querySelector(":scope > .told")?.remove();
  if (!what) return;
  const box = el("div", { class: "told", role: "alert", tabindex: "-1" });
  box.append(el("b", {}, what));
  if (wayOut) box.append(el("p", {}, wayOut));
  form.prepend(box);
  box.focus();
};

const keyOf = (form) => `typed ${new URL(form.action).pathname} ${form.elements.stage ? form.elements.stage.value : ""}`;

const keepTyped = (form) => {
  const store = () => {
    const rows = [...new FormData(form)].filter(([, v]) => typeof v === "string");
    sessionStorage.setItem(keyOf(form), JSON.stringify(rows));
  };
  const held = sessionStorage.getItem(keyOf(form));
  if (held) {
    const rows = JSON.parse(held), left = new Map();
    for (const [name, value] of rows) left.set(name, [...(left.get(name) || []), value]);
    for (const control of form.elements) {
      if (!control.name || control.type === "hidden" || control.type === "file") continue;
      const values = left.get(control.name) || [];
      if (control.type === "checkbox" || control.type === "radio") control.checked = values.includes(control.value);
      else control.value = values.length ? values.pop() : "";
      if (control.closest("details") && control.value !== control.defaultValue) control.closest("details").open = true;
    }
  }
  form.addEventListener("input", store);
};

export const open = (then) => {
  if (then) history.replaceState(null, "", then);
  location.reload();
};

const done = (form) => {
  sessionStorage.removeItem(keyOf(form));
  open(form.dataset.then || "");
};

const faultIn = async (answer) => {
  const found = new DOMParser().parseFromString(await answer.text(), "text/html").querySelector(".fault");
  const words = found ? [...found.querySelectorAll("h2, p")].map((n) => n.textContent) : [];
  return [words[0] || `It was not taken (${answer.status}).`, words.length > 2 ? words[1] : ""];
};

const send = async (form) => {
  const filed = [...form.elements].some((c) => c.type === "file" && c.files.length);
  const body = filed ? new FormData(form) : new URLSearchParams([...new FormData(form)].filter(([, v]) => typeof v === "string"));
  try {
    const answer = await fetch(form.action, { method: "POST", body, redirect: "manual" });
    if (answer.type === "opaqueredirect") return done(form);
    const told = await faultIn(answer);
    if ([...form.elements].some((c) => c.type === "file" && c.files.length && told[0].startsWith(`${c.files[0].name}:`))) refuseFiles(form);
    tell(form, ...told);
  } catch {
    tell(form, "The workshop's computer does not answer.", "Nothing was kept. Look whether it runs, and send it again.");
  }
};

// --- long work

const size = (bytes) => bytes < 1e6 ? `${Math.max(1, Math.round(bytes / 1e3))} kB` : `${(bytes / 1e6).toFixed(bytes < 1e7 ? 1 : 0)} MB`;

const workBox = (form) => {
  const box = el("div", { class: "work" }), said = el("p", { role: "status" }), far = el("p", { class: "form soft", "aria-hidden": "true" });
  const stop = el("button", { type: "button", class: "btn" }, "Stop");
  box.append(said, far, stop);
  form.before(box);
  form.hidden = true;
  return { box, said, far, stop, end: () => { box.remove(); form.hidden = false; } };
};

const say = (node, text) => { if (node.textContent !== text) node.textContent = text; };

// Say how the work stands until it is over; `stop` goes once it is being kept.
const follow = async (job, said, far, stop) => {
  for (;;) {
    const answer = await fetch(`/api/jobs/${job}/work`);
    const work = (await answer.json()).result;
    if (!work || work.state !== "under way") return work;
    if (stop) stop.hidden = !work.stoppable;
    say(said, `${work.doing[0].toUpperCase()}${work.doing.slice(1)} …`);
    far.textContent = `${work.seconds.toFixed(0)} s so far. This page may be left meanwhile.`;
    await new Promise((r) => setTimeout(r, 300));
  }
};

const sendLog = (form) => {
  const job = new URL(form.action).pathname.split("/")[2], file = form.elements.log.files[0];
  const { said, far, stop, end } = workBox(form);
  const request = new XMLHttpRequest();
  const warn = (e) => e.preventDefault();
  let sending = true;
  addEventListener("beforeunload", warn);
  const arrived = () => { sending = false; removeEventListener("beforeunload", warn); };
  const fail = (what, wayOut) => { arrived(); end(); tell(form, what, wayOut); };
  say(said, `Sending ${file.name} …`);
  request.upload.onprogress = (e) => { if (e.lengthComputable) far.textContent = `${size(e.loaded)} of ${size(e.total)}`; };
  stop.addEventListener("click", async () => {
    if (sending) return request.abort();
    await fetch(`/api/jobs/${job}/work/stop`, { method: "POST" });
  });
  request.onabort = () => fail("Stopped. Nothing was kept.", "");
  request.onerror = () => fail("The workshop's computer does not answer.", "Nothing was kept. Look whether it runs, and send it again.");
  request.onload = async () => {
    arrived();
    let told = {};
    try { told = JSON.parse(request.responseText); } catch { /* told stays empty, and the number of the answer is said */ }
    if (request.status === 200 && new URL(request.responseURL).pathname === `/jobs/${job}`) return done(form); // short work: it is kept, and the answer is the job's sheet
    if (request.status === 413 || told.values?.file) refuseFiles(form);
    if (request.status !== 202) return fail(told.what || `It was not taken (${request.status}).`, told.way_out);
    const work = await follow(job, said, far, stop);
    if (work.state === "done") return done(form);
    if (work.refused) refuseFiles(form);
    fail(work.state === "stopped" ? "Stopped. Nothing was kept." : work.what, work.way_out);
  };
  request.open("POST", `${form.action}?later=true`);
  request.setRequestHeader("Accept", "application/json");
  request.send(new FormData(form));
};

// --- charts

const chart = async (figure) => {
  const answer = await fetch(figure.dataset.chart);
  if (!answer.ok) return; // the still picture stays
  const data = await answer.json();
  const place = figure.querySelector(".chart"), shown = figure.querySelector(".shown"), zoom = figure.querySelector(".zoom");
  const buttons = {};
  for (const button of zoom.querySelectorAll("[data-act]")) buttons[button.dataset.act] = button;
  place.classList.add("live");
  place.setAttribute("role", "application");
  place.setAttribute("aria-roledescription", "chart");
  shown.hidden = zoom.hidden = false;
  zoomable(place, shown, buttons, data);
};

const draw = (figure) => {
  const seen = new IntersectionObserver((rows) => { if (rows.some((r) => r.isIntersecting)) { seen.disconnect(); chart(figure); } }, { rootMargin: "400px" });
  seen.observe(figure);
};

for (const form of document.querySelectorAll("form[data-keep]")) keepTyped(form);
for (const form of document.querySelectorAll("form[data-send]")) form.addEventListener("submit", (e) => {
  e.preventDefault();
  tell(form, "");
  if (form.elements.log?.files.length && !form.elements.glances?.value.trim()) sendLog(form); else send(form);
});
for (const form of document.querySelectorAll("form[data-sound]")) listen(form, tell, done);
// An attempt that this very screen left goes on here.
const left = document.querySelector("[data-running]");
if (left && sessionStorage.getItem("attempt") === left.dataset.running) {
  left.querySelector("h3").textContent = left.querySelector("h3").textContent.replace("on another screen", "and this screen left it");
  left.querySelector("a").textContent = "Go on with it";
}
for (const figure of document.querySelectorAll("figure[data-chart]")) draw(figure);
for (const box of document.querySelectorAll("[data-work]")) {
  follow(box.dataset.work, box.querySelector(".doing"), box.querySelector(".soft"), box.querySelector("form")).then(() => open(box.dataset.then));
}
