// Weather lost: one panel puts all work that was going on on hold, with the same reason.

import { el, field } from "./elements.js";
import { reasonChoice } from "./hold_panel.js";
import { keyOf } from "./rows.js";
import { placeWords } from "./words.js";

export function noWeather() {
  return { reason: "", from: "", to: "", left: [] };
}

// Work that weather stops: curing and the like go on in the rain.
export function stoppable(app, rows) {
  const exposed = new Set(app.sheet.activities.filter((a) => a.weather !== false).map((a) => a.key));
  return rows.filter((row) => row.status === "under_way" && exposed.has(row.activity));
}

export function weatherPanel(app, rows, state, { onApply, onChange }) {
  const stopped = stoppable(app, rows);
  const reasons = app.sheet.weather_reasons || [];
  const time = (name, label, value) => {
    const input = el("input", {
      id: `weather-${name}`, type: "time", class: "input time", value,
      onchange: () => onChange({ [name]: input.value }),
    });
    return field(label, input);
  };
  const boxes = stopped.map((row) => {
    const key = keyOf(row);
    const box = el("input", {
      id: `weather-row-${key}`, type: "checkbox", checked: !state.left.includes(key),
      onchange: () => onChange({ left: box.checked ? state.left.filter((k) => k !== key) : [...state.left, key] }),
    });
    return el("label", { class: "check-line" }, box, placeWords(row, app.sheet));
  });
  return app.panels.draw("weather", { class: "card", words: "Weather lost" },
    stopped.length ? null : el("p", {}, "No work that weather stops is under way on this heading."),
    stopped.length ? [
      reasonChoice("weather-why", reasons, state.reason, (reason) => onChange({ reason })),
      el("div", { class: "times" },
        time("from", "Stopped from", state.from || app.shift().from),
        time("to", "Went on at (blank: not this shift)", state.to)),
      el("fieldset", { class: "detail" }, el("legend", {}, "What stopped"), boxes),
      el("button", {
        type: "button", id: "weather-apply", class: "button", disabled: !state.reason,
        onclick: () => onApply(stopped.filter((row) => !state.left.includes(keyOf(row)))),
      }, "Fill these in as held"),
    ] : null);
}

// What the panel fills in for one row.
export function heldByWeather(draft, state, shift) {
  draft.did.hold = { time: state.from || shift.from };
  if (state.to) draft.did.resume = { time: state.to };
  draft.reason = state.reason;
}
