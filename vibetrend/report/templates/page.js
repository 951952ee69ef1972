"use strict";
// Draws each chart of the page from the JSON beside it. Without this script the still pictures stay.
(() => {
  const CONFIG = { displayModeBar: false, responsive: true, doubleClick: "reset", scrollZoom: false };
  const fine = matchMedia("(pointer: fine)").matches;

  // A colour is written as the name of a property of the page's style.
  const coloured = (value, style) => {
    if (typeof value === "string") return value.startsWith("--") ? style.getPropertyValue(value).trim() : value;
    if (Array.isArray(value)) return value.map((one) => coloured(one, style));
    if (value && typeof value === "object")
      return Object.fromEntries(Object.entries(value).map(([key, one]) => [key, coloured(one, style)]));
    return value;
  };

  const charts = [...document.querySelectorAll(".chart")].map((holder) => ({
    holder,
    live: holder.querySelector(".live"),
    still: holder.querySelector(".still"),
    select: holder.querySelector("select"),
    figures: JSON.parse(holder.querySelector("script").textContent),
    shown: 0,
  })).filter((chart) => chart.figures.length);

  const draw = (chart) => {
    const style = getComputedStyle(document.body);
    const { data, layout } = coloured(chart.figures[chart.shown], style);
    layout.font.family = style.fontFamily;
    layout.dragmode = fine ? "zoom" : false;
    return Plotly.react(chart.live, data, layout, CONFIG);
  };

  const start = async (chart) => {
    if (chart.select) {
      chart.select.append(...chart.figures.map((one, place) => new Option(one.label, place)));
      chart.select.addEventListener("change", () => {
        chart.shown = Number(chart.select.value);
        draw(chart);
      });
      chart.holder.querySelector(".choose").hidden = false;
    }
    const height = Math.max(chart.still.offsetHeight, 180);
    chart.live.style.height = `${height}px`;
    chart.holder.classList.add("drawn");
    await draw(chart);
  };

  // What is folded has no size yet: it is drawn when it is unfolded.
  const fold = (chart) => chart.holder.closest("details:not([open])");

  // How many screens a chart is away from what is looked at.
  const screensAway = ({ holder }) => {
    const { top, bottom } = holder.getBoundingClientRect();
    return Math.max(0, top - innerHeight, -bottom) / innerHeight;
  };

  // The library waits in the page as text, so that nothing is held up before the still page is there.
  const loadLibrary = () => {
    const held = document.getElementById("plotly");
    const script = document.createElement("script");
    script.textContent = held.textContent;
    held.replaceWith(script);
  };

  const startAll = async () => {
    loadLibrary();
    for (const chart of charts.filter(fold)) fold(chart).addEventListener("toggle", () => start(chart), { once: true });
    const waiting = charts.filter((chart) => !fold(chart));
    while (waiting.length) {
      waiting.sort((one, other) => screensAway(one) - screensAway(other));
      if (screensAway(waiting[0]) > 1) document.documentElement.dataset.charts ??= "near";
      await start(waiting.shift());
      await new Promise((next) => setTimeout(next));
    }
    document.documentElement.dataset.charts = "drawn";
  };

  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => charts.filter((chart) => chart.holder.classList.contains("drawn")).forEach(draw));

  // Paper has no way to unfold anything.
  const folded = () => [...document.querySelectorAll("details.printed:not([open])")];
  let opened = [];
  addEventListener("beforeprint", () => { opened = folded(); opened.forEach((one) => (one.open = true)); });
  addEventListener("afterprint", () => opened.forEach((one) => (one.open = false)));

  requestAnimationFrame(() => setTimeout(startAll));
})();
