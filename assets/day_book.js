/* Printing the day book. */
(function () {
  "use strict";
  const dash = (window.dash_clientside = window.dash_clientside || {});

  function printPage(presses) {
    if (presses) window.print();
  }

  dash.pourmap = Object.assign(dash.pourmap || {}, { printPage });
})();
