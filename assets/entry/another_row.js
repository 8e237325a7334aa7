// Any other row of the heading: choose the unit, then its work.

import { el, field } from "./elements.js";
import { keyOf } from "./rows.js";
import { placeWords } from "./words.js";

export function anotherRow(app, rows, onPick) {
  const units = [...new Set(rows.map((row) => row.unit))];
  const work = el("select", { id: "another-work", class: "input" });
  const unit = el("select", { id: "another-unit", class: "input" },
    units.map((name) => el("option", { value: name }, name)));
  const listWork = () => work.replaceChildren(...rows.filter((row) => row.unit === unit.value).map((row) =>
    el("option", { value: keyOf(row) }, placeWords({ ...row, unit: "" }, app.sheet))));
  unit.addEventListener("change", listWork);
  listWork();
  return el("details", { class: "card", id: "another-row" },
    el("summary", { id: "another-summary" }, "Other work on this heading"),
    el("div", { class: "times" }, field("Unit", unit), field("Work", work)),
    el("button", { type: "button", id: "another-add", class: "button", onclick: () => onPick(work.value) }, "Show it"));
}
