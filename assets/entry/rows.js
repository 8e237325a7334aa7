// Which rows are likely next, and how they stand with what is still on this phone.

import { placedBy } from "./measured.js";

export function keyOf(row) {
  return [row.unit, row.span, row.activity].join("|");
}

const BECOMES = {
  start: "under_way", place: "under_way", hold: "on_hold", resume: "under_way",
  finish: "complete", reopen: "under_way",
};

// The sheet's rows as they will stand once the entries kept here are in the log.
export function withKept(sheet, entries) {
  const unseen = entries.filter((entry) => !isInList(entry, sheet));
  const told = byRow(unseen.flatMap((entry) => entry.events));
  const cancelled = byRow(unseen.flatMap(cancelledBy));
  const activityOf = new Map(sheet.activities.map((each) => [each.key, each]));
  const turnOf = new Map(sheet.headings.flatMap((each) => each.units.map((unit, turn) => [unit, turn])));
  return sheet.rows.map((row) => {
    const [events, gone] = [told, cancelled].map((some) => some.get(keyOf(row)) || []);
    const activity = activityOf.get(row.activity);
    const more = placedBy(events, activity) - placedBy(gone, activity);
    return {
      ...row, status: events.reduce(statusAfter, row.status), placed: more ? Math.max(0, (row.placed || 0) + more) : row.placed,
      measure_unit: activity.measure_unit, turn: turnOf.get(row.unit), kept: events.length + gone.length > 0,
    };
  });
}

function byRow(events) {
  const rows = new Map();
  for (const event of events) rows.set(keyOf(event), [...(rows.get(keyOf(event)) || []), event]);
  return rows;
}

// An entry whose answer was lost may be in the list, which names what its person told last.
function isInList(entry, sheet) {
  const known = new Set((sheet.told?.events || []).map((event) => event.event_id));
  const named = entry.events.some((event) => known.has(event.event_id));
  return named || (entry.state === "sent" && entry.last_seq <= sheet.last_seq);
}

// The events that an entry takes out of the log, as they were told.
export function cancelledBy(entry) {
  return entry.drafts.flatMap((draft) => draft.corrects?.told || []);
}

function statusAfter(status, event) {
  if (event.kind === "place" && status !== "not_started") return status;
  return BECOMES[event.kind] || status;
}

// Work going on, and on each activity of the heading the unit whose turn is next.
export function likely(rows, heading) {
  const here = rows.filter((row) => row.heading === heading);
  const going = here.filter((row) => ["under_way", "on_hold"].includes(row.status));
  return [...going, ...nextToStart(here)];
}

// A heading may run against the order of the units' names, so its own order counts.
function nextToStart(rows) {
  const waiting = rows.filter((row) => row.at_hand && row.status === "not_started");
  const first = new Map();
  for (const { activity, turn } of waiting) first.set(activity, Math.min(turn, first.get(activity) ?? turn));
  return waiting.filter((row) => first.get(row.activity) === row.turn);
}

// In the order in which things with the same time happened.
export const ORDER = ["start", "place", "hold", "check", "resume", "finish", "reopen"];

// What can be ticked for a row, by where it stands.
const OFFERED = {
  not_started: ["start", "hold"],
  under_way: ["finish", "place", "hold", "check"],
  on_hold: ["resume", "finish", "place"],
  complete: ["reopen", "place", "check"],
};
const ONCE_STARTED = ["place", "finish"];
const CORRECTED = ["start", "place", "finish", "hold", "resume"];

export function offered(row, draft, activity) {
  const ticked = Object.keys(draft?.did || {});
  const kinds = new Set([...OFFERED[row.status], ...ticked]);
  if (ticked.includes("start")) ONCE_STARTED.forEach((kind) => kinds.add(kind));
  if (draft?.corrects) CORRECTED.forEach((kind) => kinds.add(kind));
  if (activity.measure === "none") kinds.delete("place");
  else if (row.status === "under_way" && !ticked.includes("check")) kinds.delete("check");
  // Elsewhere the likeliest comes first, and nothing moves under the thumb.
  return draft?.corrects ? ORDER.filter((kind) => kinds.has(kind)) : [...kinds];
}
