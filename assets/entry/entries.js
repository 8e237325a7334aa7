// From what is filled in to what is sent: one entry a unit, its events together or not at all.

import { readAmount } from "./amounts.js";
import { newId } from "./identifiers.js";
import { loadsOf, loadsWords, withTimes } from "./loads.js";
import { amountOf } from "./measured.js";
import { keyOf, ORDER } from "./rows.js";
import { isDay, isTime, minutesLater, momentOf } from "./site_clock.js";

const CLOCKS_APART = 5; // minutes

export function timeOf(draft, kind, shift) {
  return draft.did[kind]?.time || usualTime(draft, kind, shift);
}

// A start counts from the beginning of the shift, unless the work before it was only finished
// on that day; all else counts from the end.
function usualTime(draft, kind, shift) {
  const freedToday = (draft.free_since || "") >= shift.day;
  return kind === "start" && !freedToday ? shift.from : shift.to;
}

export function reasonOf(draft) {
  return [draft.reason, draft.words.trim()].filter(Boolean).join(": ");
}

function loadsNote(draft) {
  return loadsWords(loadsOf(draft).map((load) => ({ ...load, amount: readAmount(load.amount) })));
}

// Everything wrong with what is filled in, said at once: { key, field, message }.
export function problemsOf(drafts, shift, by, now) {
  const general = [];
  if (!by.trim()) general.push(wrong("", "by", "Nobody is named. Write your name, so that others know whom to ask."));
  if (!isDay(shift.day)) general.push(wrong("", "day", "The day cannot be read. Write it like 2026-11-24."));
  for (const end of ["from", "to"]) {
    if (!isTime(shift[end])) general.push(wrong("", end, "The shift's time cannot be read. Write it like 15:30."));
  }
  if (general.some((problem) => problem.field !== "by")) return general;
  return [...general, ...drafts.flatMap((draft) => problemsOfDraft(draft, shift, now))];
}

function problemsOfDraft(draft, shift, now) {
  const key = keyOf(draft);
  const found = [];
  if ("place" in draft.did && amountOf(draft) === null) {
    found.push(wrong(key, "amount", "The amount placed is no number above 0. Write it like 300 or 60.5."));
  }
  if ("place" in draft.did) found.push(...problemsOfLoads(draft, shift, now));
  if ("hold" in draft.did && !reasonOf(draft)) {
    found.push(wrong(key, "reason", "The hold has no reason. Choose one, or write what the work waits for."));
  }
  if ("check" in draft.did && !draft.note.trim() && !draft.files.length) {
    found.push(wrong(key, "note", "The check has no result. Write what was found as a note."));
  }
  for (const kind of Object.keys(draft.did)) {
    const message = wrongTime(timeOf(draft, kind, shift), shift, now);
    if (message) found.push(wrong(key, `time-${kind}`, message));
  }
  return found;
}

function wrongTime(time, shift, now) {
  if (!isTime(time)) return "The time cannot be read. Write it like 15:30.";
  const isLate = momentOf(shift, time) > minutesLater(now, CLOCKS_APART);
  return isLate ? `${time} is later than now. Record what has happened.` : "";
}

function problemsOfLoads(draft, shift, now) {
  const key = keyOf(draft);
  const messages = withTimes(draft.tickets).map(({ time }) => (time ? wrongTime(time, shift, now) : ""));
  const found = messages.map((message, place) => message && wrong(key, "loads", `Load ${place + 1}: ${message}`));
  const ticket = draft.ticket.trim();
  if (ticket && !draft.amount.trim()) {
    found.push(wrong(key, "ticket", `Ticket ${ticket} has no load yet. Add its load, or clear the number.`));
  }
  return found.filter(Boolean);
}

function wrong(key, field, message) {
  return { key, field, message };
}

// Events of one draft. Their identifiers are made once and stay with the draft.
export function eventsOf(draft, shift, by, now) {
  const idOf = (what) => (draft.ids[what] ??= newId());
  const { unit, span, activity } = draft;
  const blank = { by, unit, span, activity, quantity: "", measure_unit: "", reason: "", note: "", voids: "" };
  const voids = (draft.corrects?.events || []).map((voided) => ({
    ...blank, span: "", activity: "", event_id: idOf(`void ${voided}`), at: now, kind: "void", voids: voided,
    note: "Corrected by who recorded it",
  }));
  const kinds = ORDER.filter((kind) => kind in draft.did);
  if (!kinds.length && (draft.note.trim() || draft.files.length)) kinds.push("note");
  const told = kinds.map((kind, position) => ({
    ...blank, event_id: idOf(kind), at: momentOf(shift, timeOf(draft, kind, shift)), kind,
    quantity: kind === "place" ? amountOf(draft) : "",
    measure_unit: kind === "place" ? draft.measure_unit : "",
    reason: kind === "hold" ? reasonOf(draft) : "",
    note: noteOf(draft, kind, kinds, position),
    files: carriesNote(kind, kinds, position) ? draft.files : [],
  }));
  return [...voids, ...told];
}

function carriesNote(kind, kinds, position) {
  return kinds.includes("check") ? kind === "check" : position === 0;
}

function noteOf(draft, kind, kinds, position) {
  const words = carriesNote(kind, kinds, position) ? draft.note.trim() : "";
  const loads = kind === "place" ? loadsNote(draft) : "";
  return [loads, words].filter(Boolean).join(". ");
}

// Entries ready for the outbox, one a unit, numbered in the order in which they were made.
export function entriesOf(drafts, shift, by, now, lastNumber) {
  return [...byUnit(drafts).values()].map((rows, position) => ({
    id: rows[0].id,
    number: lastNumber + position + 1,
    unit: rows[0].unit,
    by,
    made: now,
    seen_seq: Math.min(...rows.map((draft) => draft.seen_seq)),
    events: rows.flatMap((draft) => eventsOf(draft, shift, by, now)),
    drafts: rows,
    shift,
    corrects: [...new Set(rows.map((draft) => draft.corrects?.entry).filter(Boolean))],
    state: "queued",
    tries: 0,
    problems: [],
    meanwhile: [],
  }));
}

export function entriesIn(drafts) {
  return byUnit(drafts).size;
}

function byUnit(drafts) {
  const units = new Map();
  for (const draft of drafts) units.set(draft.unit, [...(units.get(draft.unit) || []), draft]);
  return units;
}
