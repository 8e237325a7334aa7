/* Footprints as flat arrays, read once from the geometry document.

   Plan positions are Web Mercator of the unit world (0…1), less an origin near the viaduct so
   that screens a hand wide still resolve a centimetre. */
(function () {
  "use strict";
  const pourmap = (window.pourmap = window.pourmap || {});

  pourmap.mercator = function (lon, lat) {
    const y = Math.log(Math.tan(Math.PI / 4 + (lat * Math.PI) / 360));
    return [(lon + 180) / 360, 0.5 - y / (2 * Math.PI)];
  };

  pourmap.degrees = function (x, y) {
    const lat = (360 / Math.PI) * Math.atan(Math.exp((0.5 - y) * 2 * Math.PI)) - 90;
    return [x * 360 - 180, lat];
  };

  function outerRing(geometry) {
    if (geometry.type === "Polygon") return geometry.coordinates[0];
    return geometry.coordinates.map((rings) => rings[0]).sort((a, b) => b.length - a.length)[0];
  }

  function readRings(features, spans) {
    const rings = features.map((feature) => outerRing(feature.geometry));
    const total = rings.reduce((sum, ring) => sum + ring.length - 1, 0);
    spans.origin = pourmap.mercator(...rings[0][0]);
    spans.x = new Float64Array(total);
    spans.y = new Float64Array(total);
    spans.start = new Uint32Array(rings.length + 1);
    let at = 0;
    rings.forEach((ring, i) => {
      for (let k = 0; k < ring.length - 1; k++) {
        const [x, y] = pourmap.mercator(ring[k][0], ring[k][1]);
        spans.x[at] = x - spans.origin[0];
        spans.y[at++] = y - spans.origin[1];
      }
      spans.start[i + 1] = at;
    });
  }

  function readMiddles(spans) {
    for (let i = 0; i < spans.n; i++) {
      let west = Infinity, east = -Infinity, north = Infinity, south = -Infinity, sx = 0, sy = 0;
      for (let k = spans.start[i]; k < spans.start[i + 1]; k++) {
        sx += spans.x[k];
        sy += spans.y[k];
        west = Math.min(west, spans.x[k]);
        east = Math.max(east, spans.x[k]);
        north = Math.min(north, spans.y[k]);
        south = Math.max(south, spans.y[k]);
      }
      const corners = spans.start[i + 1] - spans.start[i];
      spans.middleX[i] = sx / corners;
      spans.middleY[i] = sy / corners;
      spans.box.set([west, north, east, south], 4 * i);
    }
  }

  /* The line along a span: through its middle, the way its neighbours lie, as long as it is. */
  function readAxes(spans) {
    for (const row of spans.alongStructure) {
      row.forEach((i, k) => {
        const before = row[Math.max(k - 1, 0)];
        const after = row[Math.min(k + 1, row.length - 1)];
        let dx = spans.middleX[after] - spans.middleX[before];
        let dy = spans.middleY[after] - spans.middleY[before];
        const length = Math.hypot(dx, dy) || 1;
        dx = dx / length || 1;
        dy /= length;
        let low = 0, high = 0, left = 0, right = 0;
        for (let v = spans.start[i]; v < spans.start[i + 1]; v++) {
          const ox = spans.x[v] - spans.middleX[i];
          const oy = spans.y[v] - spans.middleY[i];
          const along = ox * dx + oy * dy;
          const across = oy * dx - ox * dy;
          low = Math.min(low, along);
          high = Math.max(high, along);
          left = Math.min(left, across);
          right = Math.max(right, across);
        }
        const mx = spans.middleX[i], my = spans.middleY[i];
        spans.axis.set([mx + dx * low, my + dy * low, mx + dx * high, my + dy * high], 4 * i);
        spans.direction.set([dx, dy], 2 * i);
        spans.width[i] = right - left;
        spans.length[i] = high - low;
      });
    }
  }

  function median(values) {
    return Float64Array.from(values).sort()[values.length >> 1];
  }

  /* Where each structure lies beside the first one: rank and typical distance to the right. */
  function readLanes(spans) {
    const first = spans.alongStructure[0];
    const beside = spans.alongStructure.map((row) => {
      const step = Math.max(1, Math.floor(row.length / 40));
      const offsets = [];
      for (let k = 0; k < row.length; k += step) {
        let best = Infinity, across = 0;
        for (const j of first) {
          const ox = spans.middleX[row[k]] - spans.middleX[j];
          const oy = spans.middleY[row[k]] - spans.middleY[j];
          const distance = ox * ox + oy * oy;
          if (distance >= best) continue;
          best = distance;
          across = oy * spans.direction[2 * j] - ox * spans.direction[2 * j + 1];
        }
        offsets.push(across);
      }
      return median(offsets);
    });
    const order = beside.map((_, s) => s).sort((a, b) => beside[a] - beside[b]);
    spans.lanes = { beside, order };
  }

  /* Read a FeatureCollection whose feature i is span i. */
  pourmap.readSpans = function (collection) {
    const features = collection.features;
    const n = features.length;
    const properties = features.map((feature) => feature.properties);
    const structures = [...new Set(properties.map((p) => p.structure))];
    const units = [...new Set(properties.map((p) => p.unit))];
    const unitIndex = new Map(units.map((unit, u) => [unit, u]));
    const spans = {
      n,
      structures,
      units,
      unitIndex,
      unitOf: Uint32Array.from(properties, (p) => unitIndex.get(p.unit)),
      structureOf: Uint16Array.from(properties, (p) => structures.indexOf(p.structure)),
      name: properties.map((p) => String(p.span)),
      heading: properties.map((p) => p.heading),
      from: Float64Array.from(properties, (p) => p.from),
      to: Float64Array.from(properties, (p) => p.to),
      middleX: new Float64Array(n),
      middleY: new Float64Array(n),
      box: new Float64Array(4 * n),
      axis: new Float64Array(4 * n),
      direction: new Float64Array(2 * n),
      width: new Float64Array(n),
      length: new Float64Array(n),
    };
    spans.spansOfUnit = units.map(() => []);
    spans.unitOf.forEach((u, i) => spans.spansOfUnit[u].push(i));
    spans.alongStructure = structures.map(() => []);
    spans.structureOf.forEach((s, i) => spans.alongStructure[s].push(i));
    spans.alongStructure.forEach((row) => row.sort((a, b) => spans.from[a] - spans.from[b]));
    readRings(features, spans);
    readMiddles(spans);
    readAxes(spans);
    readLanes(spans);
    spans.typicalWidth = median(spans.width);
    spans.typicalLength = median(spans.length);
    return spans;
  };
})();
