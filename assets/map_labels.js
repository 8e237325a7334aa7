/* Unit names on the map, scale bar and north: drawn by us, so that no glyph server is asked. */
(function () {
  "use strict";
  const pourmap = (window.pourmap = window.pourmap || {});
  const FONT = "600 15px system-ui, sans-serif";

  function unitMiddle(scene, u) {
    const { axes, spans } = scene;
    const list = spans.spansOfUnit[u];
    const first = list[0], last = list[list.length - 1];
    const ends = [axes[4 * first], axes[4 * first + 1], axes[4 * last + 2], axes[4 * last + 3]];
    return {
      x: (ends[0] + ends[2]) / 2,
      y: (ends[1] + ends[3]) / 2,
      dx: ends[2] - ends[0],
      dy: ends[3] - ends[1],
      s: spans.structureOf[first],
    };
  }

  /* Names stand off the deck, on the outer side of their structure, and never overlap. */
  pourmap.paintLabels = function (pen, scene, seen) {
    const { spans, palette, screen } = scene;
    const units = new Set(seen.map((i) => spans.unitOf[i]));
    const taken = [];
    const last = spans.lanes.order[spans.lanes.order.length - 1];
    const half = Math.max(spans.typicalWidth * screen.scale, pourmap.BAND) / 2 + 20;
    pen.font = FONT;
    pen.textAlign = "center";
    pen.textBaseline = "middle";
    pen.lineJoin = "round";
    for (const u of units) {
      const at = unitMiddle(scene, u);
      const length = Math.hypot(at.dx, at.dy) || 1;
      const wide = pen.measureText(spans.units[u]).width;
      if (length < wide * 0.9) continue;
      const side = at.s === last ? 1 : -1;
      const x = at.x - (side * at.dy * (half + wide * 0.2)) / length;
      const y = at.y + (side * at.dx * half) / length;
      const box = [x - wide / 2 - 4, y - 11, x + wide / 2 + 4, y + 11];
      if (taken.some((b) => box[0] < b[2] && b[0] < box[2] && box[1] < b[3] && b[1] < box[3])) {
        continue;
      }
      taken.push(box);
      pen.lineWidth = 4;
      pen.strokeStyle = palette.ground.paper;
      pen.strokeText(spans.units[u], x, y);
      pen.fillStyle = palette.ground.ink;
      pen.fillText(spans.units[u], x, y);
    }
  };

  const FOOT_M = 0.3048;

  /* Longest round length (1, 2 or 5 times a power of ten) not over `most` pixels. */
  pourmap.scaleBar = function (metresPerPixel, unit, most) {
    const each = unit === "ft" ? FOOT_M : 1;
    const limit = (metresPerPixel * most) / each;
    const power = 10 ** Math.floor(Math.log10(limit));
    const length = [5, 2, 1].find((step) => step * power <= limit) * power;
    const long = unit === "m" && length >= 1000;
    return {
      pixels: (length * each) / metresPerPixel,
      text: long ? length / 1000 + " km" : length.toLocaleString("en-US") + " " + unit,
    };
  };

  pourmap.showScaleAndNorth = function (screen, unit) {
    const bar = document.getElementById("map-scale");
    const needle = document.getElementById("map-north");
    if (bar) {
      const { pixels, text } = pourmap.scaleBar(screen.metresPerPixel, unit, 140);
      bar.style.width = pixels.toFixed(1) + "px";
      if (bar.textContent !== text) bar.textContent = text;
    }
    if (needle) needle.style.transform = `rotate(${-screen.bearing}deg)`;
  };
})();
