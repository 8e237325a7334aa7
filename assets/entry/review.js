// Looking it over before it leaves the hand: every event in words, then one button.

import { el } from "./elements.js";
import { keyOf } from "./rows.js";
import { placeWords, sentence, counted } from "./words.js";

export function reviewPanel(app, entries, { onSend, onBack }) {
  const events = entries.flatMap((entry) => entry.events);
  const items = entries.flatMap((entry) => entry.drafts.map((draft) => el("li", {},
    el("strong", {}, placeWords(draft, app.sheet)),
    el("ul", {}, eventsOfDraft(entry, draft).map((event) => el("li", {}, sentence(event)))))));
  return el("section", { class: "card review", id: "review", tabindex: "-1", "aria-label": "Review before sending" },
    el("h2", {}, "Is this right?"),
    el("p", {}, `${counted(events.length, "line")} by ${app.by()}`),
    el("ul", { class: "review-list" }, items),
    el("div", { class: "taps" },
      el("button", { type: "button", id: "send", class: "button main", onclick: onSend }, "Send"),
      el("button", { type: "button", id: "back", class: "button", onclick: onBack }, "Back")));
}

function eventsOfDraft(entry, draft) {
  const voids = new Set(draft.corrects?.events || []);
  return entry.events.filter((event) =>
    event.kind === "void" ? voids.has(event.voids) : keyOf(event) === keyOf(draft));
}
