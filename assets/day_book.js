/* Printing the day book. */
(function () {
  "use strict";
  const dash = (window.dash_clientside = window.dash_clientside || {});

  function printPage(presses) {
    if (presses) window.print();
  }

  // Only the style sheet reaches the margin of a sheet of paper, so it is told what to write there.
  function nameSheets() {
    const sheet = document.querySelector(".page-day-book .sheet");
    const name = sheet ? sheet.dataset.name.replace(/\s+/g, " ") : "";
    document.documentElement.style.setProperty("--sheet-name", JSON.stringify(name));
  }

  window.addEventListener("beforeprint", nameSheets);
  dash.pourmap = Object.assign(dash.pourmap || {}, { printPage });
})();
