"use strict";
// Comfort only: the page is whole without it. A tip at the core that is pointed at or
// has the focus, the same core marked wherever it appears, and arrow keys to go through
// the cores of a chart.
(() => {
  const tip = document.getElementById("tip");
  const all = [...document.querySelectorAll(".chart .point")];
  const words = new Map();
  for (const point of all) {
    const title = point.querySelector("title");
    words.set(point, title ? title.textContent : "");
    // The tip says it; two tips would be one too many.
    if (title) title.remove();
  }
  const met = (point, on) => {
    const part = point.closest("article");
    if (!part) return;
    for (const same of part.querySelectorAll("[data-name]"))
      if (same.dataset.name === point.dataset.name) same.classList.toggle("met", on);
  };
  const hide = () => {
    tip.hidden = true;
  };
  const show = (point) => {
    tip.textContent = words.get(point);
    tip.hidden = false;
    const at = point.getBoundingClientRect();
    const width = document.documentElement.clientWidth;
    const left = at.left + at.width / 2 - tip.offsetWidth / 2;
    const above = at.top - tip.offsetHeight - 10;
    tip.style.left = Math.max(8, Math.min(left, width - tip.offsetWidth - 8)) + "px";
    tip.style.top = (above < 8 ? at.bottom + 10 : above) + "px";
  };
  for (const chart of document.querySelectorAll(".chart")) {
    const points = [...chart.querySelectorAll(".point")];
    if (!points.length) continue;
    points.sort((a, b) => a.cx.baseVal.value - b.cx.baseVal.value);
    points[0].setAttribute("tabindex", "0");
    points.forEach((point, place) => {
      point.addEventListener("pointerenter", () => { show(point); met(point, true); });
      point.addEventListener("pointerleave", () => { hide(); met(point, false); });
      point.addEventListener("focus", () => {
        for (const other of points) other.setAttribute("tabindex", other === point ? "0" : "-1");
        show(point);
        met(point, true);
      });
      point.addEventListener("blur", () => { hide(); met(point, false); });
      point.addEventListener("keydown", (event) => {
        const to = { ArrowRight: place + 1, ArrowDown: place + 1, ArrowLeft: place - 1, ArrowUp: place - 1, Home: 0, End: points.length - 1 }[event.key];
        if (event.key === "Escape") hide();
        if (to === undefined || !points[to]) return;
        event.preventDefault();
        points[to].focus({ preventScroll: true });
      });
    });
  }
  // A core with the focus keeps its tip, wherever scrolling takes it.
  addEventListener("scroll", () => {
    const held = document.activeElement;
    if (words.has(held) && !tip.hidden) show(held);
    else hide();
  }, { passive: true });
})();
