// What one recorded of one's last shift, as the log has it: it can be corrected from any phone,
// also from one that did not send it.

import { newDraft } from "./drafts.js";
import { el } from "./elements.js";
import { readLoads } from "./loads.js";
import { keyOf } from "./rows.js";
import { dayWords } from "./site_clock.js";
import { ATTACHED, line } from "./words.js";

// One entry for what was sent of a row at once; what this phone shows anyway is left out.
export function toldElsewhere(page) {
  const { told } = page.sheet || {};
  if (!told?.events.length || told.by !== page.by().trim()) return [];
  const sent = page.outbox.entries.flatMap((entry) => entry.events);
  const here = new Set(sent.flatMap((event) => [event.event_id, event.voids]));
  const batches = new Map();
  for (const event of told.events.filter(({ event_id: id }) => !here.has(id))) {
    const batch = `${event.recorded_at} ${keyOf(event)}`;
    batches.set(batch, [...(batches.get(batch) || []), event]);
  }
  return [...batches.values()];
}

export function toldView(page, onCorrect) {
  const entries = toldElsewhere(page);
  if (!entries.length) return [];
  return [
    el("h2", {}, `Recorded by you, shift of ${dayWords(page.sheet.told.shift)}`),
    el("ol", { class: "outbox" }, entries.map((events) => item(page, events, onCorrect))),
  ];
}

function item(page, events, onCorrect) {
  const [{ event_id: id, unit }] = events;
  const row = page.rows.find((each) => keyOf(each) === keyOf(events[0]));
  const begun = page.drafts.all().some((draft) => draft.corrects?.events.includes(id));
  const button = el("button", {
    type: "button", id: `correct-${id}`, class: "button", onclick: () => onCorrect(row, events),
    "aria-label": `Correct: what was recorded on unit ${unit}`,
  }, "Correct");
  return el("li", { class: "card outbox-item is-sent", "data-state": "told" },
    el("p", { class: "outbox-head" },
      el("strong", { class: "outbox-state sent" }, begun ? "In the log, being corrected" : "In the log"),
      el("span", { class: "quiet" }, ` Unit ${unit}`)),
    el("ul", {}, events.map((event) => el("li", {}, line(event, page.sheet)))),
    row ? null : el("p", { class: "quiet" }, "It is of the whole unit: correct it by a note."),
    row && !begun ? el("div", { class: "taps" }, button) : null);
}

// The shift they were told of; it ran past midnight where one of them is of the next date.
export function shiftOf(events, day, usual) {
  const after = events.filter((event) => event.at.slice(0, 10) > day).map((event) => event.at.slice(11, 16));
  return { ...usual, day, to: after.sort().at(-1) || usual.to };
}

// The draft that says anew what the events say, and cancels them.
export function draftOf(row, events, sheet) {
  const { unit, span, activity } = row;
  const draft = newDraft({ unit, span, activity });
  draft.seen_seq = sheet.last_seq;
  draft.measure_unit = row.measure_unit;
  draft.corrects = { entry: null, events: events.map((event) => event.event_id), told: events };
  for (const event of events) takeOver(draft, event, sheet);
  draft.note = draft.note.trim();
  draft.note_open = Boolean(draft.note || draft.files.length);
  return draft;
}

function takeOver(draft, event, sheet) {
  if (event.kind !== "note") draft.did[event.kind] = { time: event.at.slice(11, 16) };
  const files = [...event.note.matchAll(ATTACHED)].map(({ groups: { key } }) => ({ key, name: "Attached earlier" }));
  let note = event.note.replace(ATTACHED, "");
  if (event.kind === "place") {
    draft.measure_unit = event.measure_unit;
    const { loads, rest } = readLoads(note, event.quantity);
    note = rest;
    [draft.tickets, draft.amount] = loads.length ? [loads, ""] : [[], event.quantity];
  }
  if (event.kind === "hold") [draft.reason, draft.words] = reasonIn(event.reason, sheet);
  draft.note += `\n${note}`;
  draft.files.push(...files);
}

function reasonIn(reason, sheet) {
  const known = [...(sheet.hold_reasons || []), ...(sheet.weather_reasons || [])];
  const chosen = known.find((each) => reason === each || reason.startsWith(`${each}: `));
  return chosen ? [chosen, reason.slice(chosen.length + 2)] : ["", reason];
}
