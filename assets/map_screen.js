/* From the map's view (centre, zoom, bearing) to pixels, and back. */
(function () {
  "use strict";
  const pourmap = (window.pourmap = window.pourmap || {});
  const WORLD_PX = 512; /* width of the world at zoom 0 */
  const EQUATOR_M = 40075016.686;

  /* view: {lon, lat, zoom, bearing}; width and height in CSS pixels. */
  pourmap.mapScreen = function (view, width, height, origin) {
    const scale = WORLD_PX * 2 ** view.zoom;
    const [x, y] = pourmap.mercator(view.lon, view.lat);
    const turn = ((view.bearing || 0) * Math.PI) / 180;
    const a = scale * Math.cos(turn);
    const b = scale * Math.sin(turn);
    const cx = x - origin[0];
    const cy = y - origin[1];
    return {
      width,
      height,
      scale,
      bearing: view.bearing || 0,
      a,
      b,
      e: width / 2 - a * cx - b * cy,
      f: height / 2 + b * cx - a * cy,
      metresPerPixel: (EQUATOR_M * Math.cos((view.lat * Math.PI) / 180)) / scale,
    };
  };

  pourmap.toScreen = function (screen, x, y) {
    return [screen.a * x + screen.b * y + screen.e, screen.a * y - screen.b * x + screen.f];
  };

  pourmap.fromScreen = function (screen, px, py) {
    const dx = px - screen.e;
    const dy = py - screen.f;
    const square = screen.scale * screen.scale;
    return [(screen.a * dx - screen.b * dy) / square, (screen.b * dx + screen.a * dy) / square];
  };

  /* Ends of every span's line on the screen. Where true scale would be thinner than `band`
     pixels, structures side by side are moved apart so that each keeps its own band. */
  pourmap.screenAxes = function (screen, spans, band, out) {
    const { beside, order } = spans.lanes;
    const middle = beside.reduce((sum, value) => sum + value, 0) / beside.length;
    const shift = beside.map(() => 0);
    if (order.length > 1) {
      const wanted = [0];
      for (let k = 1; k < order.length; k++) {
        const apart = (beside[order[k]] - beside[order[k - 1]]) * screen.scale;
        wanted.push(wanted[k - 1] + Math.max(apart, band + 1));
      }
      const centre = wanted.reduce((sum, value) => sum + value, 0) / wanted.length;
      order.forEach((s, k) => {
        shift[s] = wanted[k] - centre - (beside[s] - middle) * screen.scale;
      });
    }
    for (let i = 0; i < spans.n; i++) {
      const dx = spans.direction[2 * i], dy = spans.direction[2 * i + 1];
      const turn = shift[spans.structureOf[i]] / screen.scale;
      const ox = -dy * turn, oy = dx * turn;
      for (let end = 0; end < 4; end += 2) {
        const x = spans.axis[4 * i + end] + ox, y = spans.axis[4 * i + end + 1] + oy;
        out[4 * i + end] = screen.a * x + screen.b * y + screen.e;
        out[4 * i + end + 1] = screen.a * y - screen.b * x + screen.f;
      }
    }
    return out;
  };

  /* Span under a pixel or nearest to it within `reach` pixels; -1 for none. */
  pourmap.spanAt = function (screen, spans, axes, px, py, reach) {
    let best = -1;
    let bestDistance = Infinity;
    for (let i = 0; i < spans.n; i++) {
      const x1 = axes[4 * i], y1 = axes[4 * i + 1];
      const dx = axes[4 * i + 2] - x1, dy = axes[4 * i + 3] - y1;
      const square = dx * dx + dy * dy || 1;
      const along = Math.min(1, Math.max(0, ((px - x1) * dx + (py - y1) * dy) / square));
      const distance = Math.hypot(px - x1 - along * dx, py - y1 - along * dy);
      const outside = distance - (spans.width[i] * screen.scale) / 2;
      if (outside <= reach && distance < bestDistance) {
        best = i;
        bestDistance = distance;
      }
    }
    return best;
  };
})();
