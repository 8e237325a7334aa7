// Amounts placed, counted as the list counts them: what it has, what is kept here, what is cancelled.

import { readAmount, total } from "./amounts.js";

export function amountOf(draft) {
  const typed = draft.amount.trim() ? [draft.amount] : [];
  const amounts = [...draft.tickets.map((load) => load.amount), ...typed].map(readAmount);
  return amounts.length && !amounts.includes(null) ? total(amounts) : null;
}

// Returns null where the list does not say what one such unit is in its own.
export function inListUnit(quantity, unit, activity) {
  const factor = unit === activity.measure_unit ? 1 : activity.factors?.[unit];
  return factor ? Number(quantity) * factor : null;
}

export function placedBy(events, activity) {
  const places = events.filter((event) => event.kind === "place");
  return places.reduce((sum, event) => sum + (inListUnit(event.quantity, event.measure_unit, activity) || 0), 0);
}

// What the list has of a row is with what this draft cancels, for that is in the log.
export function placedBefore(row, draft, activity) {
  return Math.max(0, Number(row.placed || 0) - placedBy(draft.corrects?.told || [], activity));
}

// What will be placed in all once the draft is in the log; null where that cannot be told.
export function placedAfter(row, draft, activity) {
  const typed = "place" in draft.did ? amountOf(draft) : "0";
  const amount = typed === null ? null : inListUnit(typed, draft.measure_unit || activity.measure_unit, activity);
  return amount === null ? null : placedBefore(row, draft, activity) + amount;
}
