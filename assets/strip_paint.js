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
    const gutter = width < 620 ? 112 : 190;
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

  /* Cells of a row by status; neighbours of one status that are thinner than 3 px are joined. */
  function cellsOf(scene, row) {
    const { spans, statuses, reach } = scene;
    const { gutter, perStation, first } = scene.frame;
    const groups = scene.palette.looks.map(() => []);
    const line = spans.alongStructure[row.structure];
    let open = null;
    for (const i of line) {
      if (spans.to[i] < reach[0] || spans.from[i] > reach[1]) continue;
      const status = statuses[row.activity * spans.n + i];
      const x1 = gutter + (spans.from[i] - first) * perStation;
      const x2 = gutter + (spans.to[i] - first) * perStation;
      if (open && open.status === status && x2 - open.start < 3 && x1 - open.end < 1) {
        open.end = x2;
        open.cell[1] = x2;
        continue;
      }
      open = { status, start: x1, end: x2, cell: [x1, x2] };
      groups[status].push(open.cell);
    }
    return groups;
  }

  function paintCells(pen, scene, row) {
    const { palette, ratio, frame } = scene;
    cellsOf(scene, row).forEach((cells, status) => {
      if (!cells.length) return;
      const roomy = cells[0][1] - cells[0][0] > 5;
      const gap = roomy ? 1 : 0;
      pen.beginPath();
      for (const [x1, x2] of cells) {
        pen.rect(x1, row.y, Math.max(x2 - x1 - gap, 0.75), row.height);
      }
      pen.fillStyle = palette.looks[status].fill;
      pen.fill();
      const hatch = roomy && palette.hatch(pen, status, ratio, frame.gutter, row.y);
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

  /* Round step so that stations written under the axis keep at least 84 pixels. */
  function stationStep(perStation) {
    const least = 84 / perStation;
    const power = 10 ** Math.floor(Math.log10(least));
    return [1, 2, 5, 10].find((step) => step * power >= least) * power;
  }

  function paintAxis(pen, scene) {
    const { frame, palette, reach } = scene;
    const step = stationStep(frame.perStation);
    pen.font = "400 14px system-ui, sans-serif";
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

  /* scene: {palette, spans, statuses (all activities), activities, activity, frame, reach,
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
    for (const row of frame.rows) paintCells(pen, scene, row);
    for (const row of frame.rows) paintLag(pen, scene, row);
    paintChosen(pen, scene);
    pen.restore();
    paintNames(pen, scene);
    paintAxis(pen, scene);
  };
})();
