/* Draws every figure on the page from its JSON block. Colours named var(--…) are read from the stylesheet, so a
   figure follows the theme; it is drawn again when the device changes from light to dark. */
"use strict";
(function () {
  const token = /^var\((--[a-z-]+)\)$/;

  function coloured(node, styles) {
    if (typeof node === "string") {
      const match = token.exec(node);
      return match ? styles.getPropertyValue(match[1]).trim() : node;
    }
    if (Array.isArray(node)) return node.map((item) => coloured(item, styles));
    if (node && typeof node === "object") {
      return Object.fromEntries(Object.entries(node).map(([key, item]) => [key, coloured(item, styles)]));
    }
    return node;
  }

  function draw(box) {
    const figure = JSON.parse(document.getElementById(box.dataset.figure).textContent);
    const ready = coloured(figure, getComputedStyle(document.documentElement));
    const narrow = box.clientWidth < 560;
    const layout = Object.assign({}, ready.layout, { autosize: true });
    if (narrow && layout.meta && layout.meta.narrow) Object.assign(layout, layout.meta.narrow);
    Plotly.react(box, ready.data, layout, { displayModeBar: false, responsive: true, scrollZoom: false, showTips: false });
  }

  function drawAll() {
    document.querySelectorAll("[data-figure]").forEach((box) => {
      box.replaceChildren();
      draw(box);
    });
  }

  drawAll();
  window.matchMedia("(prefers-color-scheme: dark)").addEventListener("change", drawAll);
})();
