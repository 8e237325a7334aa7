/* Statuses over the map: drawn on a canvas of our own, so a change of activity or day redraws
   some thousand shapes and leaves the map's figure alone.

   Near, each footprint has its fill, hatch and mark. Far off, true scale would make the viaduct
   a hairline, so each span is a band at least BAND pixels wide along its line. */
(function () {
  "use strict";
  const pourmap = (window.pourmap = window.pourmap || {});
  const BAND = 10;
  const MARK_FROM_PX = 18;
  const HATCH_RUN_PX = 6;

  pourmap.BAND = BAND;

  function ringPath(pen, scene, i) {
    const { spans, screen } = scene;
    for (let k = spans.start[i]; k < spans.start[i + 1]; k++) {
      const x = screen.a * spans.x[k] + screen.b * spans.y[k] + screen.e;
      const y = screen.a * spans.y[k] - screen.b * spans.x[k] + screen.f;
      if (k === spans.start[i]) pen.moveTo(x, y);
      else pen.lineTo(x, y);
    }
    pen.closePath();
  }

  function bandPath(pen, scene, i) {
    const axes = scene.axes;
    const x1 = axes[4 * i], y1 = axes[4 * i + 1], x2 = axes[4 * i + 2], y2 = axes[4 * i + 3];
    /* Bents show as thin gaps where there is room for them. */
    const length = Math.hypot(x2 - x1, y2 - y1);
    const gap = scene.gaps && length > 6 ? 0.6 / length : 0;
    pen.moveTo(x1 + (x2 - x1) * gap, y1 + (y2 - y1) * gap);
    pen.lineTo(x2 - (x2 - x1) * gap, y2 - (y2 - y1) * gap);
  }

  function visibleSpans(scene) {
    const { axes, spans, screen } = scene;
    const margin = (spans.typicalWidth * screen.scale) + 40;
    const seen = [];
    for (let i = 0; i < spans.n; i++) {
      const x1 = axes[4 * i], y1 = axes[4 * i + 1], x2 = axes[4 * i + 2], y2 = axes[4 * i + 3];
      if (Math.max(x1, x2) < -margin || Math.min(x1, x2) > screen.width + margin) continue;
      if (Math.max(y1, y2) < -margin || Math.min(y1, y2) > screen.height + margin) continue;
      seen.push(i);
    }
    return seen;
  }

  function strokeAll(pen, path, scene, list, width, colour) {
    pen.beginPath();
    for (const i of list) path(pen, scene, i);
    pen.lineWidth = width;
    pen.strokeStyle = colour;
    pen.stroke();
  }

  /* One line along all spans that touch, with a corner every few pixels at most. */
  function strokeLine(pen, scene, list, width, colour) {
    const { axes, spans } = scene;
    let [atX, atY, onX, onY, structure] = [Infinity, Infinity, 0, 0, -1];
    pen.beginPath();
    for (const i of list) {
      const [x1, y1, x2, y2] = [axes[4 * i], axes[4 * i + 1], axes[4 * i + 2], axes[4 * i + 3]];
      if (spans.structureOf[i] !== structure || Math.hypot(x1 - atX, y1 - atY) > 2) {
        if (structure >= 0) pen.lineTo(atX, atY);
        pen.moveTo(x1, y1);
        [onX, onY, structure] = [x1, y1, spans.structureOf[i]];
      }
      [atX, atY] = [x2, y2];
      if (Math.hypot(x2 - onX, y2 - onY) < 4) continue;
      pen.lineTo(x2, y2);
      [onX, onY] = [x2, y2];
    }
    if (structure >= 0) pen.lineTo(atX, atY);
    pen.lineWidth = width;
    pen.strokeStyle = colour;
    pen.stroke();
  }

  /* Outlines lie under the fills, so that they never hide a status. */
  function drawOutlines(pen, path, scene, seen, body) {
    const { ground } = scene.palette;
    if (scene.lagging) {
      const late = seen.filter((i) => scene.lagging[i]);
      strokeAll(pen, path, scene, late, body + 11, ground.lag_case);
      strokeAll(pen, path, scene, late, body + 7, ground.lag_core);
    }
    if (scene.chosen.length) {
      strokeAll(pen, path, scene, scene.chosen, body + 15, ground.chosen_case);
      strokeAll(pen, path, scene, scene.chosen, body + 8, ground.chosen_core);
    }
    if (path === bandPath) strokeLine(pen, scene, seen, body + 2, ground.ink);
    else strokeAll(pen, path, scene, seen, body + 2, ground.ink);
  }

  function byStatus(scene, seen) {
    const groups = scene.palette.looks.map(() => []);
    for (const i of seen) groups[scene.statuses[i]].push(i);
    return groups;
  }

  /* Neighbours of one status as one line, so that its hatch runs on; [first span, last span]. */
  function runsByStatus(scene, seen) {
    const { axes, spans, statuses } = scene;
    const visible = new Uint8Array(spans.n);
    for (const i of seen) visible[i] = 1;
    const runs = scene.palette.looks.map(() => []);
    for (const row of spans.alongStructure) {
      let run = null;
      for (const i of row) {
        if (!visible[i]) {
          run = null;
          continue;
        }
        if (run && run.status === statuses[i]) run.spans.push(i);
        else {
          run = { status: statuses[i], spans: [i] };
          runs[run.status].push(run);
        }
      }
    }
    const far = (run) => {
      const [i, k] = [run.spans[0], run.spans[run.spans.length - 1]];
      return Math.hypot(axes[4 * k + 2] - axes[4 * i], axes[4 * k + 3] - axes[4 * i + 1]);
    };
    return runs.map((list) => list.filter((run) => far(run) >= HATCH_RUN_PX));
  }

  function drawBands(pen, scene, seen) {
    const { palette, ratio, screen } = scene;
    pen.lineCap = "butt";
    drawOutlines(pen, bandPath, scene, seen, BAND);
    scene.gaps = true;
    byStatus(scene, seen).forEach((list, status) => {
      strokeAll(pen, bandPath, scene, list, BAND, palette.looks[status].fill);
    });
    runsByStatus(scene, seen).forEach((runs, status) => {
      const hatch = runs.length && palette.hatch(pen, status, ratio, screen.e, screen.f);
      if (hatch) strokeAll(pen, bandPath, scene, runs.flatMap((run) => run.spans), BAND, hatch);
    });
  }

  function drawFootprints(pen, scene, seen) {
    const { palette, screen, spans, ratio } = scene;
    const wide = spans.typicalWidth * screen.scale;
    pen.lineJoin = "round";
    drawOutlines(pen, ringPath, scene, seen, 0);
    byStatus(scene, seen).forEach((list, status) => {
      pen.beginPath();
      for (const i of list) ringPath(pen, scene, i);
      pen.fillStyle = palette.looks[status].fill;
      pen.fill();
      const hatch = palette.hatch(pen, status, ratio, screen.e, screen.f);
      if (hatch) {
        pen.fillStyle = hatch;
        pen.fill();
      }
      pen.lineWidth = 1.5;
      pen.strokeStyle = palette.ground.paper;
      pen.stroke();
      if (wide >= MARK_FROM_PX) for (const i of list) drawMark(pen, scene, i, status, wide);
    });
  }

  function drawMark(pen, scene, i, status, wide) {
    const { axes, palette } = scene;
    const length = Math.hypot(axes[4 * i + 2] - axes[4 * i], axes[4 * i + 3] - axes[4 * i + 1]);
    const size = Math.min(26, wide * 0.6, length * 0.5);
    if (size < 10) return;
    const x = (axes[4 * i] + axes[4 * i + 2]) / 2, y = (axes[4 * i + 1] + axes[4 * i + 3]) / 2;
    pen.beginPath();
    pen.arc(x, y, size * 0.72, 0, 7);
    pen.fillStyle = palette.looks[status].fill;
    pen.fill();
    palette.mark(pen, status, x, y, size);
  }

  /* Far off, a ring finds the selected unit where its outline would be a speck. */
  function drawRing(pen, scene) {
    const { axes, chosen, palette } = scene;
    if (!chosen.length) return;
    const [first, last] = [chosen[0], chosen[chosen.length - 1]];
    pen.beginPath();
    pen.arc((axes[4 * first] + axes[4 * last + 2]) / 2,
      (axes[4 * first + 1] + axes[4 * last + 3]) / 2, 1.6 * BAND, 0, 7);
    for (const [width, colour] of [[7, palette.ground.chosen_case], [3, palette.ground.chosen_core]]) {
      pen.lineWidth = width;
      pen.strokeStyle = colour;
      pen.stroke();
    }
  }

  /* scene: {palette, spans, screen, axes, statuses, lagging|null, chosen, ratio}. */
  pourmap.paintMap = function (pen, scene) {
    const { screen, ratio, spans } = scene;
    pen.setTransform(ratio, 0, 0, ratio, 0, 0);
    pen.clearRect(0, 0, screen.width, screen.height);
    const seen = visibleSpans(scene);
    if (spans.typicalWidth * screen.scale < BAND) {
      drawBands(pen, scene, seen);
      drawRing(pen, scene);
    } else drawFootprints(pen, scene, seen);
    pourmap.paintLabels(pen, scene, seen);
    return seen;
  };
})();
