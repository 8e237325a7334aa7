/* The straight-line strip: station along, one row an activity, a block of rows a structure. */
(function () {
  "use strict";
  const pourmap = (window.pourmap = window.pourmap || {});
  const HEAD = 26; /* a structure's name over its rows */
  const AXIS = 30; /* stations under all rows */
  const ROW = 24;
  const CHOSEN_ROW = 40;
  const GAP = 3;

  /* Where rows lie. Returns {gutter, left, right, top rows: [{structure, activity, y, height}]}. */
  pourmap.stripRows = function (spans, activities, chosen, width) {
    const gutter = width < 620 ? 118 : 190;
    const rows = [];
    let y = 4;
    spans.structures.forEach((_, structure) => {
      const head = y;
      y += HEAD;
      activities.forEach((_, activity) => {
        const height = activity === chosen ? CHOSEN_ROW : ROW;
        rows.push({ structure, activity, y, height, head: activity === 0 ? head : null });
        y += height + GAP;
      });
      y += 8;
    });
    return { gutter, rows, axisAt: y, height: y + AXIS };
  };

  /* What is open is never hidden behind what is done, where spans share a column of pixels. */
  const RANK = { complete: 1, not_started: 2, under_way: 3, on_hold: 4 };
  const THIN_PX = 3;
  const HATCH_RUN_PX = 6;

  function pixel(colour) {
    const [r, g, b] = [1, 3, 5].map((at) => parseInt(colour.slice(at, at + 2), 16));
    return ((255 << 24) | (b << 16) | (g << 8) | r) >>> 0;
  }

  /* Spans thinner than THIN_PX: one column of pixels after another, all rows in one picture. */
  function paintColumns(pen, scene) {
    const { spans, statuses, frame, palette, reach, ratio } = scene;
    const wide = Math.round((frame.width - frame.gutter) * ratio);
    const picture = new ImageData(wide, frame.rows.length);
    const pixels = new Uint32Array(picture.data.buffer);
    const colours = palette.looks.map((look) => pixel(look.fill));
    const ranks = palette.looks.map((look) => RANK[look.status]);
    const best = new Uint8Array(wide);
    const scale = frame.perStation * ratio;
    frame.rows.forEach((row, r) => {
      best.fill(0);
      for (const i of spans.alongStructure[row.structure]) {
        if (spans.to[i] < reach[0] || spans.from[i] > reach[1]) continue;
        const status = statuses[row.activity * spans.n + i];
        const first = Math.max(0, Math.floor((spans.from[i] - frame.first) * scale));
        const last = Math.min(wide, Math.ceil((spans.to[i] - frame.first) * scale));
        for (let x = first; x < last; x++) {
          if (ranks[status] <= best[x]) continue;
          best[x] = ranks[status];
          pixels[r * wide + x] = colours[status];
        }
      }
    });
    const helper = new OffscreenCanvas(wide, frame.rows.length);
    helper.getContext("2d").putImageData(picture, 0, 0);
    pen.imageSmoothingEnabled = false;
    frame.rows.forEach((row, r) => {
      pen.drawImage(helper, 0, r, wide, 1, frame.gutter, row.y, wide / ratio, row.height);
    });
    hatchRuns(pen, scene, pixels, colours, wide);
  }

  /* Hatch wherever one status runs on for a tile or so. */
  function hatchRuns(pen, scene, pixels, colours, wide) {
    const { frame, palette, ratio } = scene;
    const runs = colours.map(() => []);
    frame.rows.forEach((row, r) => {
      for (let x = 0; x < wide; ) {
        const colour = pixels[r * wide + x];
        const start = x;
        while (x < wide && pixels[r * wide + x] === colour) x++;
        const status = colours.indexOf(colour);
        if (status >= 0 && x - start >= HATCH_RUN_PX * ratio) {
          runs[status].push([start / ratio + frame.gutter, row.y, (x - start) / ratio, row.height]);
        }
      }
    });
    runs.forEach((boxes, status) => {
      const hatch = boxes.length && palette.hatch(pen, status, ratio, frame.gutter, 0);
      if (!hatch) return;
      pen.fillStyle = hatch;
      for (const box of boxes) pen.fillRect(...box);
    });
  }

  function cellsOf(scene, row) {
    const { spans, statuses, reach } = scene;
    const groups = scene.palette.looks.map(() => []);
    for (const i of spans.alongStructure[row.structure]) {
      if (spans.to[i] < reach[0] || spans.from[i] > reach[1]) continue;
      groups[statuses[row.activity * spans.n + i]].push(scene.ends(i));
    }
    return groups;
  }

  function paintCells(pen, scene, row) {
    const { palette, ratio, frame } = scene;
    cellsOf(scene, row).forEach((cells, status) => {
      if (!cells.length) return;
      const roomy = scene.typicalLength * frame.perStation > 5;
      const gap = roomy ? 1 : 0;
      pen.beginPath();
      for (const [x1, x2] of cells) {
        pen.rect(x1, row.y, Math.max(x2 - x1 - gap, 1), row.height);
      }
      pen.fillStyle = palette.looks[status].fill;
      pen.fill();
      const hatch = palette.hatch(pen, status, ratio, frame.gutter, row.y);
      if (hatch) {
        pen.fillStyle = hatch;
        pen.fill();
      }
      if (row.height > ROW) paintMarks(pen, scene, row, cells, status);
    });
  }

  function paintMarks(pen, scene, row, cells, status) {
    for (const [x1, x2] of cells) {
      if (x2 - x1 < 20) continue;
      const [x, y] = [(x1 + x2) / 2, row.y + row.height / 2];
      pen.beginPath();
      pen.arc(x, y, 12, 0, 7);
      pen.fillStyle = scene.palette.looks[status].fill;
      pen.fill();
      scene.palette.mark(pen, status, x, y, 16);
    }
  }

  function outline(pen, x1, x2, row, width, colour) {
    pen.lineWidth = width;
    pen.strokeStyle = colour;
    pen.strokeRect(x1, row.y, Math.max(x2 - x1 - 1, 1), row.height);
  }

  /* Neighbours that lag share one outline; where that is too thin to see, bars above and below. */
  function paintLag(pen, scene, row) {
    const lagging = scene.laggingOf(row.activity);
    if (!lagging) return;
    const line = scene.spans.alongStructure[row.structure];
    for (let k = 0; k < line.length; k++) {
      if (!lagging[line[k]]) continue;
      const [x1] = scene.ends(line[k]);
      while (k + 1 < line.length && lagging[line[k + 1]]) k++;
      const [, x2] = scene.ends(line[k]);
      if (x2 < scene.frame.gutter || x1 > scene.frame.width) continue;
      if (x2 - x1 < 10) paintLagBars(pen, scene, row, x1, Math.max(x2, x1 + 3));
      else {
        outline(pen, x1, x2, row, 5, scene.palette.ground.lag_case);
        outline(pen, x1, x2, row, 2.5, scene.palette.ground.lag_core);
      }
    }
  }

  function paintLagBars(pen, scene, row, x1, x2) {
    for (const y of [row.y - 1, row.y + row.height - 4]) {
      pen.fillStyle = scene.palette.ground.lag_case;
      pen.fillRect(x1 - 1, y, x2 - x1 + 2, 5);
      pen.fillStyle = scene.palette.ground.lag_core;
      pen.fillRect(x1, y + 1, x2 - x1, 3);
    }
  }

  function paintChosen(pen, scene) {
    const { palette, chosen, frame, spans } = scene;
    if (!chosen.length) return;
    const rows = frame.rows.filter((row) => row.structure === spans.structureOf[chosen[0]]);
    const [x1] = scene.ends(chosen[0]);
    const [, x2] = scene.ends(chosen[chosen.length - 1]);
    const last = rows[rows.length - 1];
    const block = { y: rows[0].y - 1, height: last.y + last.height - rows[0].y + 2 };
    outline(pen, x1, x2, block, 6, palette.ground.chosen_case);
    outline(pen, x1, x2, block, 2.5, palette.ground.chosen_core);
    const [s1, s2] = scene.ends(scene.span);
    pen.fillStyle = palette.ground.ink;
    pen.beginPath();
    pen.moveTo((s1 + s2) / 2 - 7, block.y - 12);
    pen.lineTo((s1 + s2) / 2 + 7, block.y - 12);
    pen.lineTo((s1 + s2) / 2, block.y - 3);
    pen.fill();
  }

  function fitText(pen, text, width) {
    if (pen.measureText(text).width <= width) return text;
    let short = text;
    while (short.length > 2 && pen.measureText(short + "…").width > width) short = short.slice(0, -1);
    return short.trimEnd() + "…";
  }

  function paintNames(pen, scene) {
    const { frame, palette, spans, activities } = scene;
    pen.textBaseline = "middle";
    pen.textAlign = "left";
    for (const row of frame.rows) {
      if (row.head !== null) {
        pen.font = "700 15px system-ui, sans-serif";
        pen.fillStyle = palette.ground.ink;
        const name = scene.structureNames[spans.structures[row.structure]];
        pen.fillText(name || "Structure " + spans.structures[row.structure], 4, row.head + HEAD / 2);
      }
      const chosen = row.activity === scene.activity;
      pen.font = (chosen ? "700 15px" : "400 14px") + " system-ui, sans-serif";
      pen.fillStyle = palette.ground.ink;
      if (chosen) pen.fillRect(0, row.y, 4, row.height);
      const text = fitText(pen, activities[row.activity].name, frame.gutter - 16);
      pen.fillText(text, 9, row.y + row.height / 2 + 1);
    }
  }

  const STATION_GAP = 16;

  /* Round step so that stations written under the axis, as wide as the last one, keep apart. */
  pourmap.stationStep = function (perStation, wide) {
    const least = (wide + STATION_GAP) / perStation;
    const power = 10 ** Math.floor(Math.log10(least));
    const round = power < 10 ? [1, 2, 5, 10] : [1, 2, 2.5, 5, 10];
    return round.find((step) => step * power >= least) * power;
  };

  function paintAxis(pen, scene) {
    const { frame, palette, reach } = scene;
    pen.font = "400 14px system-ui, sans-serif";
    const wide = pen.measureText(pourmap.station(reach[1])).width;
    const step = pourmap.stationStep(frame.perStation, wide);
    pen.textAlign = "center";
    pen.strokeStyle = palette.ground.quiet_ink;
    pen.fillStyle = palette.ground.ink;
    pen.lineWidth = 1;
    pen.beginPath();
    for (let s = Math.ceil(reach[0] / step) * step; s <= reach[1]; s += step) {
      const x = frame.gutter + (s - frame.first) * frame.perStation;
      pen.moveTo(x, frame.axisAt - 4);
      pen.lineTo(x, frame.axisAt + 4);
      const half = pen.measureText(pourmap.station(s)).width / 2;
      if (x + half < frame.width && x - half > frame.gutter - 6) {
        pen.fillText(pourmap.station(s), x, frame.axisAt + 16);
      }
    }
    pen.stroke();
  }

  /* scene: {palette, spans, typicalLength, statuses (all activities), activities, activity, frame, reach,
     chosen, span, ends(i), laggingOf(a), structureNames, ratio}. */
  pourmap.paintStrip = function (pen, scene) {
    const { frame, ratio } = scene;
    pen.setTransform(ratio, 0, 0, ratio, 0, 0);
    pen.fillStyle = scene.palette.ground.paper;
    pen.fillRect(0, 0, frame.width, frame.height);
    pen.save();
    pen.beginPath();
    pen.rect(frame.gutter, 0, frame.width - frame.gutter, frame.height);
    pen.clip();
    if (scene.typicalLength * frame.perStation < THIN_PX) paintColumns(pen, scene);
    else for (const row of frame.rows) paintCells(pen, scene, row);
    for (const row of frame.rows) paintLag(pen, scene, row);
    paintChosen(pen, scene);
    pen.restore();
    paintNames(pen, scene);
    paintAxis(pen, scene);
  };
})();
