/* What the screen shows: one activity, one day, one selected span. Map, strip, legend and
   numbers are painted from here, in one go, without asking the server. */
(function () {
  "use strict";
  const pourmap = (window.pourmap = window.pourmap || {});

  const state = (pourmap.state = {
    palette: null,
    spans: null,
    stationUnit: "m",
    changes: null,
    numbers: null,
    lag: null,
    activity: 0,
    activityKey: null,
    day: 0,
    showLag: false,
    heading: "",
    span: -1,
    brushed: [],
    statuses: null,
    folded: null,
  });

  pourmap.ready = () => Boolean(state.palette && state.spans && state.changes);

  function refold() {
    if (state.folded && state.folded.changes === state.changes && state.folded.day === state.day) {
      return;
    }
    state.statuses = pourmap.statusesAt(state.changes, state.day);
    state.folded = { changes: state.changes, day: state.day };
  }

  pourmap.repaint = function () {
    if (!pourmap.ready()) return;
    if (state.changes.hash !== state.spans.hash) return;
    refold();
    pourmap.paintMapView();
    pourmap.paintStripView();
    pourmap.paintNumbers();
  };

  /* Statuses of every span for one activity (an index). */
  pourmap.statusesOf = function (activity) {
    const n = state.spans.n;
    return state.statuses.subarray(activity * n, (activity + 1) * n);
  };

  /* One byte a span, 1 where it lags; null where lag is not shown or not known for that day. */
  pourmap.laggingOf = function (activity) {
    const { lag, showLag, day, changes, spans } = state;
    if (!lag || !showLag || lag.hash !== spans.hash || lag.day !== day) return null;
    const flags = new Uint8Array(spans.n);
    for (const i of lag.spans[changes.activities[activity].key] || []) flags[i] = 1;
    return flags;
  };

  /* Units that are selected: that of the span, and those brushed together with it. */
  pourmap.chosenUnits = function () {
    if (state.span < 0) return [];
    const unit = state.spans.unitOf[state.span];
    return state.brushed.includes(unit) ? state.brushed : [unit];
  };

  /* Spans to outline as selected: of the selected units, along the span's structure. */
  pourmap.chosenSpans = function () {
    const { spans, span } = state;
    const units = pourmap.chosenUnits();
    if (units.length < 2) return units.length ? spans.spansOfUnit[units[0]] : [];
    const along = spans.alongStructure[spans.structureOf[span]];
    return along.filter((i) => units.includes(spans.unitOf[i]));
  };

  /* Words for a span in an activity (the chosen one, unless another is given). */
  pourmap.saySpan = function (i, row) {
    const { spans, changes, palette } = state;
    const a = row === undefined ? state.activity : row;
    const status = palette.looks[pourmap.statusesOf(a)[i]].words;
    const late = pourmap.laggingOf(a);
    const place = `Unit ${spans.units[spans.unitOf[i]]}, span ${spans.name[i]}`;
    const stations = `${pourmap.station(spans.from[i])} to ${pourmap.station(spans.to[i])}`;
    const activity = changes.activities[a].name;
    return { place, stations, status: `${activity}: ${status}`, late: late ? late[i] === 1 : false };
  };

  let opened = 0;

  /* Select a span; `open` asks for its unit's history. */
  pourmap.choose = function (i, open) {
    if (i < 0) return;
    state.span = i;
    pourmap.repaint();
    const { spans } = state;
    const words = pourmap.saySpan(i);
    pourmap.announce(`${words.place}, ${words.stations}. ${words.status}.`);
    if (open) opened += 1;
    pourmap.send("selection", {
      unit: spans.units[spans.unitOf[i]],
      span: spans.name[i],
      open: Boolean(open),
      opened,
    });
  };

  /* Select the next (or an earlier) span along the same structure; from its end, go on with the
     next structure (or with the one before). */
  pourmap.step = function (by) {
    const { spans } = state;
    if (!spans) return;
    if (state.span < 0) return pourmap.choose(spans.alongStructure[0][0], false);
    const structure = spans.structureOf[state.span];
    const row = spans.alongStructure[structure];
    const at = row.indexOf(state.span);
    const to = Math.min(row.length - 1, Math.max(0, at + by));
    const onward = spans.alongStructure[structure + Math.sign(by)];
    if (to !== at || !onward) return pourmap.choose(row[to], false);
    pourmap.choose(by > 0 ? onward[0] : onward[onward.length - 1], false);
  };

  /* Select the nearest span of the structure that lies to the right (1) or to the left (-1). */
  pourmap.cross = function (by) {
    const { spans } = state;
    if (!spans) return;
    if (state.span < 0) return pourmap.choose(spans.alongStructure[0][0], false);
    const { order } = spans.lanes;
    const beside = spans.alongStructure[order[order.indexOf(spans.structureOf[state.span]) + by]];
    if (!beside) return;
    const away = (i) => Math.hypot(spans.middleX[i] - spans.middleX[state.span],
                                   spans.middleY[i] - spans.middleY[state.span]);
    pourmap.choose(beside.reduce((best, i) => (away(i) < away(best) ? i : best)), false);
  };

  pourmap.announce = function (text) {
    const line = document.getElementById("selection-words");
    if (line) line.textContent = text;
  };

  pourmap.send = function (id, data) {
    if (window.dash_clientside && window.dash_clientside.set_props) {
      window.dash_clientside.set_props(id, { data });
    }
  };

  /* A station as the trade writes it: 12+40 (hundreds of feet), 1+240 (kilometres). */
  pourmap.station = function (value) {
    const base = state.stationUnit === "ft" ? 100 : 1000;
    const digits = state.stationUnit === "ft" ? 2 : 3;
    const sign = value < 0 ? "-" : "";
    const whole = Math.round(Math.abs(value));
    const rest = String(whole % base).padStart(digits, "0");
    return `${sign}${Math.floor(whole / base)}+${rest}`;
  };
})();
