// Who records, and which shift: said once, then remembered.

import { el, field } from "./elements.js";
import { dayWords, momentWords } from "./site_clock.js";
import { isEarlier } from "./which_shift.js";

export function shiftPanel(app, onChange) {
  const shift = app.shift();
  const by = app.by();
  const signedIn = Boolean(app.sheet.me);
  const input = (name, type, value, more = {}) => {
    const control = el("input", {
      id: `shift-${name}`, type, class: "input", value, ...more,
      [type === "text" ? "oninput" : "onchange"]: () => onChange(name, control.value),
      ...(type === "text" ? { onchange: () => app.refresh() } : {}),
    });
    return control;
  };
  const name = signedIn
    ? el("p", {}, "Recorded as ", el("strong", {}, by), ". ", el("a", { href: "/account" }, "Your account"))
    : field("Your name", input("by", "text", by, { autocomplete: "name", maxlength: 100 }));
  const found = app.problems.filter((problem) => problem.key === "");
  const earlier = isEarlier(shift, app.usualShift());
  const why = [by ? "" : "no name", ...found.map((p) => p.message), earlier ? shift.day : ""].filter(Boolean).join();
  const words = `${by || "Your name"} · ${momentWords(`${shift.day}T${shift.from}`)} to ${shift.to}`;
  return app.panels.draw("shift-panel", { class: "card shift-panel", words, why },
    earlier ? el("p", { class: "banner warning" }, `Of an earlier shift: what is filled in here counts for ${dayWords(shift.day)}. Change the day if that is wrong.`) : null,
    name,
    app.sheet.me?.records === false ? el("p", { class: "banner warning" }, "Your role reads only; what you fill in here will be refused.") : null,
    el("div", { class: "times" },
      el("div", { class: "wide" }, field("Day", input("day", "date", shift.day))),
      field("Shift from", input("from", "time", shift.from)),
      field("to", input("to", "time", shift.to))),
    el("p", { class: "field-hint" }, "What was started counts from the beginning of the shift, all else from its end, unless another time is given."),
    found.length ? el("ul", { class: "row-problems" }, found.map((p) => el("li", {}, p.message))) : null);
}
