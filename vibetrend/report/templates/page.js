"use strict";
// Draws each chart of the page from the JSON beside it. Without this script the still pictures stay.
(() => {
  const CONFIG = { displayModeBar: false, doubleClick: "reset", scrollZoom: false };
  const LONGEST = 100; // ms without a pause; what takes longer is felt
  const page = document.documentElement;
  const fine = matchMedia("(pointer: fine)").matches;

  // A colour is written as the name of a property of the page's style.
  const style = getComputedStyle(document.body);
  const found = new Map();
  const property = (name) => {
    if (!found.has(name)) found.set(name, style.getPropertyValue(name).trim());
    return found.get(name);
  };
  const coloured = (value) => {
    if (typeof value === "string") return value.startsWith("--") ? property(value) : value;
    if (Array.isArray(value)) return value.map(coloured);
    if (!value || typeof value !== "object") return value;
    return Object.fromEntries(Object.entries(value).map(([key, one]) => [key, coloured(one)]));
  };

  class Chart {
    constructor(holder) {
      this.holder = holder;
      this.live = holder.querySelector(".live");
      this.select = holder.querySelector("select");
    }

    // What is folded has no size yet: it is drawn when it is unfolded.
    get folded() { return this.holder.closest("details:not([open])"); }

    async begin() {
      if (this.figures) return;
      this.figures = JSON.parse(this.holder.querySelector("script").textContent);
      if (this.select) {
        this.select.append(...this.figures.map((one, place) => new Option(one.label, place)));
        this.select.addEventListener("change", () => this.draw());
        this.holder.querySelector(".choose").hidden = false;
      }
      this.width = this.holder.clientWidth;
      this.height = Math.max(this.holder.querySelector(".still > svg").getAttribute("height"), 180);
      // Known beforehand, so that what is drawn inside never moves the page around it.
      this.live.style.height = `${this.height}px`;
      this.holder.classList.add("drawn");
      await this.draw();
      widths.observe(this.holder);
    }

    draw() {
      const { data, layout } = coloured(this.figures[this.select ? this.select.value : 0]);
      layout.font.family = property("font-family");
      const { width, height } = this;
      return Plotly.react(this.live, data, { ...layout, width, height, dragmode: fine && "zoom" }, CONFIG);
    }
  }

  const charts = new Map([...document.querySelectorAll(".chart")].map((holder) => [holder, new Chart(holder)]));

  // A browser may leave out what is far from the eye when the window changes, and tell of it later;
  // plotly's own way would keep the width that was.
  const widths = new ResizeObserver((seen) => {
    for (const { target, contentRect } of seen) {
      const chart = charts.get(target);
      if (!contentRect.width || Math.abs(contentRect.width - chart.width) < 1) continue;
      chart.width = contentRect.width;
      chart.draw();
    }
  });

  const pause = () => new Promise((next) => setTimeout(next));
  let rested = 0;
  const begin = async (some) => {
    for (const chart of some) {
      if (performance.now() - rested > LONGEST) {
        await pause();
        rested = performance.now();
      }
      await chart.begin();
    }
  };

  // The library waits in the page as text, so that nothing is held up before the still page is there.
  const loadLibrary = () => {
    performance.mark("plotly");
    const held = document.getElementById("plotly");
    const script = document.createElement("script");
    script.textContent = held.textContent;
    held.replaceWith(script);
  };

  // Once the still page is painted; a window that nobody sees is never painted.
  const painted = new Promise((next) => {
    requestAnimationFrame(() => setTimeout(next));
    setTimeout(next, 500);
  });
  const loaded = painted.then(() => { if (charts.size) loadLibrary(); });

  const isNear = ({ holder }) => {
    const { top, bottom } = holder.getBoundingClientRect();
    return top < 2 * innerHeight && bottom > -innerHeight;
  };

  // What lies within a screen of what is looked at comes first, then the rest.
  const start = async () => {
    page.classList.add("starting");
    await loaded;
    const open = [...charts.values()].filter((chart) => !chart.folded);
    await begin(open.filter(isNear));
    page.dataset.charts = "near";
    await begin(open);
    page.classList.remove("starting");
    page.dataset.charts = "drawn";
  };
  for (const chart of charts.values()) chart.folded?.addEventListener("toggle", () => loaded.then(() => chart.begin()));
  start();

  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => {
    found.clear();
    for (const chart of charts.values()) if (chart.figures) chart.draw();
  });

  // Paper has no way to unfold anything.
  const unfolded = [];
  addEventListener("beforeprint", () => {
    const folded = [...document.querySelectorAll("details.printed:not([open])")];
    for (const one of folded) one.open = true;
    unfolded.push(...folded);
  });
  addEventListener("afterprint", () => { for (const one of unfolded.splice(0)) one.open = false; });
})();
