/* The next pour: its address, and which fields are wrong for who hears the page. */
(function () {
  "use strict";
  const dash = (window.dash_clientside = window.dash_clientside || {});

  /* Told after every answer: the address of what is shown, none while something is wrong. */
  function pourSaid(said) {
    if (!said) return dash.no_update;
    const here = document.getElementById("pour-whole");
    if (said.query && here) window.history.replaceState(window.history.state, "", said.query);
    for (const field of document.querySelectorAll(".pour-form input")) {
      const wrong = said.wrong.includes(field.id);
      field.setAttribute("aria-invalid", String(wrong));
      if (wrong) field.setAttribute("aria-describedby", `${field.id}-told`);
      else field.removeAttribute("aria-describedby");
    }
    // On a phone the choices stand in one row, of which the chosen one may lie out of sight.
    const chosen = document.querySelector(".pour-link.chosen");
    const row = chosen && chosen.closest(".pour-links");
    if (row && !row.dataset.led) row.scrollLeft = chosen.offsetLeft - row.offsetLeft - 8;
    if (row) row.dataset.led = "yes";
    return dash.no_update;
  }

  dash.pourmap = Object.assign(dash.pourmap || {}, { pourSaid });
})();
