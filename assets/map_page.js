/* What the map page asks the server for, and when: a projection once the slider rests, a unit's
   history once it is opened. */
(function () {
  "use strict";
  const pourmap = (window.pourmap = window.pourmap || {});
  const dash = (window.dash_clientside = window.dash_clientside || {});
  const REST_MS = 300;
  let resting = null;

  /* (view, changes) → nothing; the store `settled` follows when the slider has come to rest. */
  function settle(view, changes) {
    if (!view || !changes) return;
    clearTimeout(resting);
    const day = Math.min(view.day, changes.dates.length - 1);
    const settled = { activity: view.activity, date: changes.dates[day] };
    const tell = () => {
      // A projection keeps the server busy; the map comes first.
      if (document.querySelector("#map-view[data-ready=yes]")) pourmap.send("settled", settled);
      else resting = setTimeout(tell, REST_MS);
    };
    resting = setTimeout(tell, REST_MS);
  }

  let shown = 0;
  let openedFrom = null;

  function closeHistory() {
    const panel = document.getElementById("history-panel");
    if (!panel || panel.classList.contains("closed")) return;
    panel.classList.add("closed");
    if (openedFrom && openedFrom.isConnected) openedFrom.focus({ preventScroll: true });
  }

  /* (selection, presses of the close button) → nothing; shows the panel when a unit is opened. */
  function openHistory(selection) {
    const panel = document.getElementById("history-panel");
    if (!panel) return;
    if (!selection || !selection.opened || selection.opened === shown) return closeHistory();
    shown = selection.opened;
    openedFrom = document.activeElement;
    panel.classList.remove("closed");
    panel.focus({ preventScroll: true });
  }

  document.addEventListener("keydown", (event) => {
    if (event.key === "Escape") closeHistory();
  });

  dash.pourmap = Object.assign(dash.pourmap || {}, { settle, openHistory });
})();
