// Looking it over before it leaves the hand: every event in words, what is odd, then one button.

import { el } from "./elements.js";
import { isRefused, oddOf } from "./odd.js";
import { cancelledBy, keyOf } from "./rows.js";
import { counted, entriesWords, placeWords, sentence } from "./words.js";

export function reviewPanel(app, entries, { onSend, onBack }) {
  const remarks = new Map(entries.flatMap((entry) => entry.drafts.map((draft) =>
    [draft, oddOf(draft, entry, app.rows, app.sheet)])));
  const odd = [...remarks.values()].filter((said) => said.length);
  return el("section", { class: "card review", id: "review", tabindex: "-1", "aria-label": "Review before sending" },
    el("h2", {}, "Is this right?"),
    el("p", {}, `${entriesWords(entries.length)} by ${app.by()}`),
    odd.length ? el("p", {}, oddWords(odd)) : null,
    el("ol", { class: "review-list" }, entries.map((entry) =>
      el("li", {}, entry.drafts.map((draft) => draftPart(app, entry, draft, remarks.get(draft)))))),
    el("div", { class: "taps" },
      el("button", { type: "button", id: "send", class: "button main", onclick: onSend }, "Send"),
      el("button", { type: "button", id: "back", class: "button", onclick: onBack }, "Back")));
}

function oddWords(odd) {
  const words = `Look again at ${counted(odd.length, "marked row")}.`;
  return odd.some(isRefused) ? words : `${words} It can be sent as it is.`;
}

function draftPart(app, entry, draft, odd) {
  return el("div", {},
    el("strong", {}, placeWords(draft, app.sheet)),
    el("ul", {}, eventsOfDraft(entry, draft).map((event) => el("li", {}, sentence(event, cancelledBy(entry))))),
    odd.length ? el("p", { class: "odd" }, odd.join(" ")) : null);
}

function eventsOfDraft(entry, draft) {
  const voids = new Set(draft.corrects?.events || []);
  return entry.events.filter((event) =>
    event.kind === "void" ? voids.has(event.voids) : keyOf(event) === keyOf(draft));
}
