// Any other row of the heading: choose the unit, then its work.

import { el, field } from "./elements.js";
import { keyOf } from "./rows.js";
import { placeWords } from "./words.js";

export function noOther() {
  return { unit: "", work: "" };
}

// `chosen` is what was chosen so far: it is there again when the panel is drawn anew.
export function anotherRow(app, rows, chosen, onPick) {
  const units = [...new Set(rows.map((row) => row.unit))];
  const work = el("select", { id: "another-work", class: "input", onchange: () => (chosen.work = work.value) });
  const unit = el("select", { id: "another-unit", class: "input" },
    units.map((name) => el("option", { value: name, selected: name === chosen.unit }, name)));
  const listWork = () => work.replaceChildren(...rows.filter((row) => row.unit === unit.value).map((row) =>
    el("option", { value: keyOf(row), selected: keyOf(row) === chosen.work }, placeWords({ ...row, unit: "" }, app.sheet))));
  unit.addEventListener("change", () => {
    Object.assign(chosen, { unit: unit.value, work: "" });
    listWork();
  });
  listWork();
  return app.panels.draw("another-row", { class: "card", words: "Other work on this heading" },
    el("div", { class: "times" }, field("Unit", unit), field("Work", work)),
    el("button", { type: "button", id: "another-add", class: "button", onclick: () => onPick(work.value) }, "Show it"));
}
