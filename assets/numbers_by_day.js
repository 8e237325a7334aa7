/* Numbers that follow the slider: looked up in what the server sent, never worked out here.

   The store `numbers` holds {hash, series}. series[key][activity] (or series[key]["*"] where the
   number is of no one activity) is {at: [days], text: [words]}, rising by day; on a day the last
   entry up to then counts. An element with data-number="key" shows it. */
(function () {
  "use strict";
  const pourmap = (window.pourmap = window.pourmap || {});

  pourmap.textAt = function (series, day) {
    let text = "–";
    for (let i = 0; i < series.at.length && series.at[i] <= day; i++) text = series.text[i];
    return text;
  };

  function setText(element, text) {
    if (element.textContent !== text) element.textContent = text;
  }

  pourmap.paintNumbers = function () {
    const { changes, numbers, day, activity } = pourmap.state;
    for (const element of document.querySelectorAll("[data-day-label]")) {
      setText(element, changes.labels[day] || "");
    }
    for (const element of document.querySelectorAll("[data-activity-label]")) {
      setText(element, changes.activities[activity].name);
    }
    const slider = document.getElementById("day");
    if (slider) slider.setAttribute("aria-valuetext", changes.labels[day] || "");
    if (!numbers) return;
    for (const element of document.querySelectorAll("[data-number]")) {
      const found = numbers.series[element.dataset.number] || {};
      const key = element.dataset.activity || changes.activities[activity].key;
      const series = found[key] || found["*"];
      setText(element, series ? pourmap.textAt(series, day) : "–");
    }
  };
})();
