/* What Dash calls: each function takes stores and controls and paints, without the server. */
(function () {
  "use strict";
  const pourmap = (window.pourmap = window.pourmap || {});
  const dash = (window.dash_clientside = window.dash_clientside || {});
  async function fetchSpans(info) {
    const answer = await fetch(info.url);
    if (!answer.ok) throw new Error(`footprints: the server answered ${answer.status}`);
    const spans = pourmap.readSpans(await answer.json());
    spans.hash = info.hash;
    return spans;
  }

  /* (palette, geometry-info) → text of the map's note: blank once all is drawn. */
  async function setUpMap(palette, info) {
    if (!palette || !info) return dash.no_update;
    pourmap.state.palette = pourmap.readPalette(palette);
    pourmap.state.stationUnit = info.station_unit;
    pourmap.state.structureNames = info.structure_names;
    try {
      if (!pourmap.state.spans || pourmap.state.spans.hash !== info.hash) pourmap.state.spans = await fetchSpans(info);
    } catch (error) {
      return `The footprints could not be fetched (${error.message}). Reload the page.`;
    }
    pourmap.repaint();
    await pourmap.attachMap();
    pourmap.repaint();
    return "";
  }

  /* The chosen activity may be known before the list of activities is, or after. */
  function findActivity() {
    const { changes, activityKey } = pourmap.state;
    const keys = changes ? changes.activities.map((activity) => activity.key) : [];
    pourmap.state.activity = Math.max(0, keys.indexOf(activityKey));
  }

  /* (changes) → nothing; a log that grew repaints at once. */
  function takeChanges(changes) {
    if (changes) {
      pourmap.state.changes = pourmap.readChanges(changes);
      findActivity();
    }
    pourmap.repaint();
  }

  /* (numbers) → nothing. */
  function takeNumbers(numbers) {
    pourmap.state.numbers = numbers;
    pourmap.repaint();
  }

  /* (lag) → nothing. */
  function takeLag(lag) {
    pourmap.state.lag = lag;
    pourmap.repaint();
  }

  /* (activity key, day, heading, outlines) → the store `view`. */
  function showView(activity, day, heading, outlines) {
    pourmap.state.activityKey = activity;
    findActivity();
    pourmap.state.day = Number(day);
    pourmap.state.showLag = Boolean(outlines && outlines.length);
    if (pourmap.state.heading !== (heading || "")) {
      pourmap.state.heading = heading || "";
      if (pourmap.map.plot) pourmap.fitMap(pourmap.state.heading);
    }
    pourmap.repaint();
    return { activity, day: pourmap.state.day, heading: pourmap.state.heading, lag: pourmap.state.showLag };
  }

  /* (view, selection) → nothing; the address then names what one sees. */
  function writeAddress(view, selection) {
    if (!view || !pourmap.state.changes) return;
    const words = new URLSearchParams(window.location.search);
    const set = (key, value) => (value ? words.set(key, value) : words.delete(key));
    const last = pourmap.state.changes.labels.length - 1;
    set("activity", view.activity);
    set("as-of", view.day < last ? pourmap.state.changes.dates[view.day] : "");
    set("heading", view.heading);
    set("lag", view.lag ? "1" : "");
    set("unit", selection && selection.unit);
    set("span", selection && selection.unit && selection.span);
    window.history.replaceState(window.history.state, "", "?" + words.toString());
  }

  /* Choose an activity from the strip, as if its button had been pressed. */
  pourmap.chooseActivity = function (a) {
    const { key } = pourmap.state.changes.activities[a];
    pourmap.state.activity = a;
    pourmap.state.activityKey = key;
    pourmap.repaint();
    window.dash_clientside.set_props("activity", { value: key });
    pourmap.announce(`Activity ${pourmap.state.changes.activities[a].name}.`);
  };

  dash.pourmap = { setUpMap, takeChanges, takeNumbers, takeLag, showView, writeAddress };
})();
