// Why the work is held: a reason of the project's list, words of one's own, or both.

import { el, field } from "./elements.js";
import { keyOf } from "./rows.js";

export function reasonChoice(id, reasons, chosen, onChoose) {
  const buttons = reasons.map((reason, position) => el("button", {
    type: "button", id: `${id}-${position}`, class: "tap", "aria-pressed": String(reason === chosen),
    onclick: () => onChoose(reason === chosen ? "" : reason),
  }, reason));
  return el("div", { class: "taps", role: "group", "aria-label": "Reason" }, buttons);
}

export function holdPanel(row, draft, reasons, change) {
  const key = keyOf(row);
  const words = el("input", {
    id: `reason-${key}`, type: "text", class: "input", value: draft.words, autocomplete: "off", maxlength: 500,
    oninput: () => change((d) => (d.words = words.value), { redraw: false }),
  });
  return el("fieldset", { class: "detail" },
    el("legend", {}, "Why it is held"),
    reasonChoice(`why-${key}`, withOwn(reasons, draft.reason), draft.reason, (reason) => change((d) => (d.reason = reason))),
    field("In your words", words));
}

// What was filled in otherwise, as weather is, may not be in the list: it is shown all the same.
function withOwn(reasons, own) {
  return own && !reasons.includes(own) ? [own, ...reasons] : reasons;
}
