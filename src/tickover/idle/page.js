// The page's own part: day and night, and the chart where there is one.
(() => {
  const root = document.documentElement;
  const data = JSON.parse(document.getElementById("data").textContent);
  const light = document.getElementById("light");
  light.hidden = false;
  const dark = () => root.dataset.light ? root.dataset.light === "night" : matchMedia("(prefers-color-scheme: dark)").matches;
  const name = () => { light.textContent = dark() ? "Day" : "Night"; };
  light.addEventListener("click", () => { root.dataset.light = dark() ? "day" : "night"; name(); });
  name();
  const chart = document.getElementById("chart");
  if (!chart || !data.panels.length) return;
  document.getElementById("zoom").hidden = false;
  const buttons = {};
  for (const id of ["closer", "wider", "earlier", "later", "whole"]) buttons[id] = document.getElementById(id);
  zoomable(chart, document.getElementById("shown"), buttons, data);
})();
