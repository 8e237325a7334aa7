/* The strip's canvas: zoom and pan along the stations, pick a cell, walk with keys. */
(function () {
  "use strict";
  const pourmap = (window.pourmap = window.pourmap || {});
  const strip = (pourmap.strip = { range: null, scene: null });
  const LEAST_STATIONS = 20;

  const wrapper = () => document.getElementById("strip-view");

  function wholeRange(spans) {
    let low = Infinity, high = -Infinity;
    for (let i = 0; i < spans.n; i++) {
      low = Math.min(low, spans.from[i]);
      high = Math.max(high, spans.to[i]);
    }
    return [low, high];
  }

  function sceneOf(box, state) {
    const width = box.clientWidth;
    const { spans, changes } = state;
    if (!strip.range || strip.of !== spans) {
      strip.whole = wholeRange(spans);
      strip.range = [...strip.whole];
      strip.of = spans;
      const lengths = spans.to.map((to, i) => to - spans.from[i]).sort();
      strip.typicalLength = lengths[lengths.length >> 1];
    }
    const frame = pourmap.stripRows(spans, changes.activities, state.activity, width);
    frame.width = width;
    frame.first = strip.range[0];
    frame.perStation = (width - frame.gutter - 8) / (strip.range[1] - strip.range[0]);
    const slack = 10 / frame.perStation;
    return {
      palette: state.palette,
      spans,
      typicalLength: strip.typicalLength,
      statuses: state.statuses,
      activities: changes.activities,
      activity: state.activity,
      frame,
      reach: [strip.range[0] - slack, strip.range[1] + slack],
      chosen: pourmap.chosenSpans(),
      span: state.span,
      ends: (i) => [
        frame.gutter + (spans.from[i] - frame.first) * frame.perStation,
        frame.gutter + (spans.to[i] - frame.first) * frame.perStation,
      ],
      laggingOf: pourmap.laggingOf,
      structureNames: state.structureNames || {},
      ratio: Math.min(window.devicePixelRatio || 1, 2),
    };
  }

  pourmap.paintStripView = function () {
    const box = wrapper();
    const { state } = pourmap;
    if (!box || !box.clientWidth || !pourmap.ready() || !state.statuses) return;
    attach(box);
    keepChosenInSight(state);
    const canvas = box.querySelector("canvas");
    const scene = (strip.scene = sceneOf(box, state));
    const wide = Math.round(scene.frame.width * scene.ratio);
    const high = Math.round(scene.frame.height * scene.ratio);
    if (canvas.width !== wide || canvas.height !== high) {
      canvas.width = wide;
      canvas.height = high;
      canvas.style.height = scene.frame.height + "px";
    }
    pourmap.paintStrip(canvas.getContext("2d"), scene);
  };

  /* A span selected elsewhere comes into sight; one already seen moves nothing. */
  function keepChosenInSight(state) {
    if (state.span < 0 || strip.sought === state.span || !strip.range) return;
    strip.sought = state.span;
    const [low, high] = strip.range;
    const { from, to } = state.spans;
    if (from[state.span] >= low && to[state.span] <= high) return;
    const middle = (from[state.span] + to[state.span]) / 2;
    setRange(middle - (high - low) / 2, high - low);
  }

  function setRange(low, length) {
    const [first, last] = strip.whole;
    length = Math.min(last - first, Math.max(LEAST_STATIONS, length));
    low = Math.min(last - length, Math.max(first, low));
    strip.range = [low, low + length];
  }

  /* Zoom by a factor about a station. */
  pourmap.zoomStrip = function (factor, about) {
    if (!strip.range) return;
    const [low, high] = strip.range;
    const at = about === undefined ? (low + high) / 2 : about;
    setRange(at - (at - low) * factor, (high - low) * factor);
    pourmap.paintStripView();
  };

  pourmap.panStrip = function (stations) {
    setRange(strip.range[0] + stations, strip.range[1] - strip.range[0]);
    pourmap.paintStripView();
  };

  pourmap.stationAtPixel = function (x) {
    const { frame } = strip.scene;
    return frame.first + (x - frame.gutter) / frame.perStation;
  };

  /* Cell at a pixel: {span, activity}, span -1 between cells or off the rows. */
  pourmap.cellAt = function (x, y) {
    const { frame, spans } = strip.scene;
    const row = frame.rows.find((r) => y >= r.y - 2 && y <= r.y + r.height + 2);
    if (!row) return { span: -1, activity: -1 };
    if (x < frame.gutter) return { span: -1, activity: row.activity };
    const station = pourmap.stationAtPixel(x);
    const line = spans.alongStructure[row.structure];
    let low = 0, high = line.length - 1;
    while (low < high) {
      const middle = (low + high + 1) >> 1;
      if (spans.from[line[middle]] <= station) low = middle;
      else high = middle - 1;
    }
    const hit = line[low] !== undefined && station >= spans.from[line[low]] - 3 / frame.perStation
      && station <= spans.to[line[low]] + 3 / frame.perStation;
    return { span: hit ? line[low] : -1, activity: row.activity };
  };

  function place(event) {
    const edge = wrapper().getBoundingClientRect();
    return [event.clientX - edge.left, event.clientY - edge.top];
  }

  function pick(x, y) {
    const cell = pourmap.cellAt(x, y);
    if (cell.activity >= 0 && cell.activity !== pourmap.state.activity) {
      pourmap.chooseActivity(cell.activity);
    }
    if (cell.span >= 0) pourmap.choose(cell.span, true);
  }

  /* One finger or the mouse pans, two fingers zoom, a tap picks. */
  function listenToPointers(box) {
    const fingers = new Map();
    let travelled = 0;
    box.addEventListener("pointerdown", (event) => {
      if (event.target.closest("button")) return;
      if (fingers.size === 0) travelled = 0;
      fingers.set(event.pointerId, place(event));
      box.setPointerCapture(event.pointerId);
      pourmap.hover(box, -1);
    });
    box.addEventListener("pointermove", (event) => {
      if (!strip.scene) return;
      const now = place(event);
      if (!fingers.has(event.pointerId)) return hoverCell(box, event, now);
      const before = fingers.get(event.pointerId);
      fingers.set(event.pointerId, now);
      travelled += Math.hypot(now[0] - before[0], now[1] - before[1]);
      if (travelled < 6) return;
      if (fingers.size === 1) {
        pourmap.panStrip((before[0] - now[0]) / strip.scene.frame.perStation);
      } else pinch(fingers, event.pointerId, before, now);
    });
    const lift = (event, picks) => {
      const was = fingers.get(event.pointerId);
      fingers.delete(event.pointerId);
      if (picks && was && fingers.size === 0 && travelled < 6 && strip.scene) pick(...was);
    };
    box.addEventListener("pointerup", (event) => lift(event, true));
    box.addEventListener("pointercancel", (event) => lift(event, false));
    box.addEventListener("pointerleave", () => pourmap.hover(box, -1));
  }

  function pinch(fingers, id, before, now) {
    const other = [...fingers.entries()].find(([key]) => key !== id)[1];
    const [was, is] = [Math.abs(before[0] - other[0]), Math.abs(now[0] - other[0])];
    if (was > 8 && is > 8) pourmap.zoomStrip(was / is, pourmap.stationAtPixel((now[0] + other[0]) / 2));
  }

  function hoverCell(box, event, [x, y]) {
    if (event.pointerType === "touch") return;
    const cell = pourmap.cellAt(x, y);
    box.classList.toggle("over-span", cell.span >= 0);
    pourmap.hover(box, cell.span, x, y, cell.activity);
  }

  function listenToWheel(box) {
    box.addEventListener("wheel", (event) => {
      if (!strip.scene) return;
      const [x] = place(event);
      if (x < strip.scene.frame.gutter) return;
      event.preventDefault();
      if (Math.abs(event.deltaX) > Math.abs(event.deltaY) || event.shiftKey) {
        pourmap.panStrip((event.deltaX || event.deltaY) / strip.scene.frame.perStation);
      } else pourmap.zoomStrip(Math.exp(event.deltaY * 0.002), pourmap.stationAtPixel(x));
    }, { passive: false });
  }

  function zoomByKey(by) {
    if (by === 0) {
      strip.range = [...strip.whole];
      return pourmap.paintStripView();
    }
    const { span, spans } = pourmap.state;
    pourmap.zoomStrip(by > 0 ? 0.5 : 2, span < 0 ? undefined : spans.from[span]);
  }

  function listenToKeys(box) {
    box.addEventListener("keydown", (event) => {
      const { changes, activity } = pourmap.state;
      const by = { ArrowDown: 1, ArrowUp: -1 }[event.key];
      if (!by || !changes) return pourmap.walkKeys(event, zoomByKey);
      event.preventDefault();
      pourmap.chooseActivity(Math.min(changes.activities.length - 1, Math.max(0, activity + by)));
    });
  }

  function attach(box) {
    if (box.dataset.attached) return;
    box.dataset.attached = "yes";
    listenToPointers(box);
    listenToWheel(box);
    listenToKeys(box);
    const press = { "strip-zoom-in": 1, "strip-zoom-out": -1, "strip-fit": 0 };
    for (const [id, by] of Object.entries(press)) {
      const button = document.getElementById(id);
      if (button) button.addEventListener("click", () => zoomByKey(by));
    }
    new ResizeObserver(() => pourmap.paintStripView()).observe(box);
  }
})();
