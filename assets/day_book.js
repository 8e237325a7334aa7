/* The day book: its address, and printing it. */
(function () {
  "use strict";
  const dash = (window.dash_clientside = window.dash_clientside || {});

  function printPage(presses) {
    if (presses) window.print();
  }

  /* Day chosen → the address, so that a reload or a link shows the same shift. */
  function dayBookAddress(day) {
    if (!/^[0-9]{4}-[0-9]{2}-[0-9]{2}$/.test(day || "")) return;
    const words = new URLSearchParams(window.location.search);
    words.set("date", day);
    window.history.replaceState(window.history.state, "", "?" + words.toString());
  }

  let titleBefore = null;

  // Only the style sheet reaches the margin of a sheet of paper, so it is told what to write
  // there; the title is what the browser calls the file when it prints into one.
  function nameSheets() {
    const sheet = document.querySelector(".page-day-book .sheet");
    if (!sheet) return;
    const name = sheet.dataset.name.replace(/\s+/g, " ");
    document.documentElement.style.setProperty("--sheet-name", JSON.stringify(name));
    titleBefore = titleBefore ?? document.title;
    document.title = name;
  }

  function takeTitleBack() {
    if (titleBefore !== null) document.title = titleBefore;
    titleBefore = null;
  }

  window.addEventListener("beforeprint", nameSheets);
  window.addEventListener("afterprint", takeTitleBack);
  dash.pourmap = Object.assign(dash.pourmap || {}, { dayBookAddress, printPage });
})();
