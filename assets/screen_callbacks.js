/* What Dash calls: each function takes stores and controls and paints, without the server. */
(function () {
  "use strict";
  const pourmap = (window.pourmap = window.pourmap || {});
  const dash = (window.dash_clientside = window.dash_clientside || {});
  /* Browsers ask for the page's icon again, or refuse, when the address changes too often. */
  const ADDRESS_REST_MS = 400;
  let addressing = null;

  async function fetchSpans(info) {
    const answer = await fetch(info.url);
    if (!answer.ok) throw new Error(`footprints: the server answered ${answer.status}`);
    const spans = pourmap.readSpans(await answer.json());
    spans.hash = info.hash;
    return spans;
  }

  /* The chosen activity may be known before the list of activities is, or after. */
  function findActivity() {
    const { changes, activityKey } = pourmap.state;
    const keys = changes ? changes.activities.map((activity) => activity.key) : [];
    pourmap.state.activity = Math.max(0, keys.indexOf(activityKey));
  }

  /* The span that the address named: number of the span, or the first of the unit, or none. */
  function chosenAtFirst(spans, chosen) {
    if (!chosen || !spans.unitIndex.has(chosen.unit)) return -1;
    const list = spans.spansOfUnit[spans.unitIndex.get(chosen.unit)];
    return list.find((i) => spans.name[i] === String(chosen.span)) ?? list[0];
  }

  let read = null;

  /* Decode what is new; a log that grew sends other changes and leaves the footprints alone. */
  function readStores(palette, changes, numbers, lag) {
    const { state } = pourmap;
    if (!state.palette) state.palette = pourmap.readPalette(palette);
    if (changes && changes !== read) state.changes = pourmap.readChanges(changes);
    read = changes;
    state.numbers = numbers;
    state.lag = lag;
    findActivity();
  }

  async function readGeometry(info) {
    const { state } = pourmap;
    state.stationUnit = info.station_unit;
    state.structureNames = info.structure_names;
    if (state.spans && state.spans.hash === info.hash && state.spans.of === info) return;
    state.spans = await fetchSpans(info);
    state.spans.of = info;
    state.span = chosenAtFirst(state.spans, info.chosen);
    const brushed = (info.chosen && info.chosen.units) || [];
    state.brushed = brushed.map((unit) => state.spans.unitIndex.get(unit));
  }

  /* (palette, geometry-info, changes, numbers, lag) → text of the map's note, blank once all is
     drawn. */
  async function takeStores(palette, info, changes, numbers, lag) {
    if (!palette || !info || !changes) return dash.no_update;
    readStores(palette, changes, numbers, lag);
    try {
      await readGeometry(info);
    } catch (error) {
      return `The footprints could not be fetched (${error.message}). Reload the page.`;
    }
    if (pourmap.state.changes.hash !== info.hash) {
      return "The footprints have changed since this page was opened. Reload the page.";
    }
    pourmap.repaint();
    pourmap.paintAhead();
    await pourmap.attachMap();
    pourmap.repaint();
    return "";
  }

  /* Change what is shown and paint it; nothing new paints nothing. */
  function apply(changed) {
    const { state } = pourmap;
    const same = Object.entries(changed).every(([key, value]) => state[key] === value);
    if (same) return;
    const moved = "heading" in changed && changed.heading !== state.heading;
    Object.assign(state, changed);
    findActivity();
    pourmap.repaint();
    if (moved && pourmap.map.plot) pourmap.fitMap(state.heading);
  }

  /* Paint at the person's own event, some ten milliseconds before Dash gets to it. */
  document.addEventListener("input", ({ target }) => {
    if (!pourmap.ready()) return;
    if (target.id === "day") apply({ day: Number(target.value) });
    else if (target.closest("#activity")) apply({ activityKey: target.value });
  }, true);

  /* (activity key, day, heading, outlines) → the store `view`. */
  function showView(activity, day, heading, outlines) {
    const showLag = Boolean(outlines && outlines.length);
    apply({ activityKey: activity, day: Number(day), heading: heading || "", showLag });
    return { activity, day: Number(day), heading: heading || "", lag: showLag };
  }

  /* (view, selection) → the query that names what one sees, also put in the address bar. */
  function writeAddress(view, selection) {
    if (!view || !pourmap.state.changes) return dash.no_update;
    const words = new URLSearchParams(window.location.search);
    const set = (key, value) => (value ? words.set(key, value) : words.delete(key));
    const last = pourmap.state.changes.labels.length - 1;
    set("activity", view.activity);
    set("as-of", view.day < last ? pourmap.state.changes.dates[view.day] : "");
    set("heading", view.heading);
    set("lag", view.lag ? "1" : "");
    set("unit", selection && selection.unit);
    const { spans } = pourmap.state;
    const together = spans ? pourmap.chosenUnits() : [];
    if (spans) set("units", together.length > 1 && together.map((u) => spans.units[u]).join(","));
    set("span", selection && selection.unit && selection.span);
    const query = "?" + words.toString();
    clearTimeout(addressing);
    const write = () => {
      // Another page may have come meanwhile, and has an address of its own.
      if (document.getElementById("map-view")) window.history.replaceState(window.history.state, "", query);
    };
    addressing = setTimeout(write, ADDRESS_REST_MS);
    return query;
  }

  /* Choose an activity from the strip, as if its button had been pressed. */
  pourmap.chooseActivity = function (a) {
    const { key } = pourmap.state.changes.activities[a];
    apply({ activityKey: key });
    window.dash_clientside.set_props("activity", { value: key });
    pourmap.announce(`Activity ${pourmap.state.changes.activities[a].name}.`);
  };

  dash.pourmap = Object.assign(dash.pourmap || {}, { takeStores, showView, writeAddress });
})();
