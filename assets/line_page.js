/* The line page: how wide the screen is, what is selected on the chart, and its address. */
(function () {
  "use strict";
  const pourmap = (window.pourmap = window.pourmap || {});
  const dash = (window.dash_clientside = window.dash_clientside || {});
  const NARROW_PX = 700;
  const ADDRESS_REST_MS = 300;
  let addressing = null;

  /* (log's number, screen so far) → how wide the screen is, told once. */
  function lineScreen(seq, screen) {
    return screen ? dash.no_update : { narrow: window.innerWidth <= NARROW_PX };
  }

  function unitsOf(event) {
    const units = ((event && event.points) || []).map((point) => point.customdata && point.customdata[0]);
    return [...new Set(units.filter(Boolean))];
  }

  /* (click, brush, selection so far) → {unit, units}; a click on the selected unit lets it go. */
  function lineChosen(click, brush, before) {
    const context = dash.callback_context;
    const asked = (context.triggered[0] || {}).prop_id || "";
    if (asked.endsWith("selectedData")) {
      const units = unitsOf(brush);
      return units.length ? { unit: units[0], units } : dash.no_update;
    }
    const [unit] = unitsOf(click);
    if (!unit) return dash.no_update;
    return { unit: unit === before.unit ? "" : unit, units: [] };
  }

  /* (heading, activity, selection) → the query that names what one sees. */
  function lineAddress(heading, activity, chosen) {
    const words = new URLSearchParams(window.location.search);
    words.set("heading", heading);
    words.set("activity", activity);
    if (chosen && chosen.unit) words.set("unit", chosen.unit);
    else words.delete("unit");
    const query = "?" + words.toString();
    clearTimeout(addressing);
    addressing = setTimeout(() => {
      if (document.getElementById("line-chart")) {
        window.history.replaceState(window.history.state, "", query);
      }
    }, ADDRESS_REST_MS);
    return query;
  }

  /* How far back to look → the page anew, for all of it goes by that. */
  function lineBack(back) {
    const words = new URLSearchParams(window.location.search);
    if ((words.get("back") || "8-units") === back) return dash.no_update;
    words.set("back", back);
    window.location.assign("?" + words.toString());
    return back;
  }

  /* A unit's button in the table shows it on the chart. */
  document.addEventListener("click", ({ target }) => {
    const button = target.closest && target.closest(".unit-button");
    if (!button) return;
    const { unit, activity, heading } = button.dataset;
    dash.set_props("line-heading", { value: heading });
    dash.set_props("line-activity", { value: activity });
    pourmap.send("line-chosen", { unit, units: [] });
    const chart = document.getElementById("line-heading");
    if (chart) chart.scrollIntoView({ block: "start" });
  });

  dash.pourmap = Object.assign(dash.pourmap || {}, { lineScreen, lineChosen, lineAddress, lineBack });
})();
