// What the address asks to open on: /entry?heading=KEY&unit=UNIT.

import { keyOf } from "./rows.js";

const FIRST = ["under_way", "on_hold", "not_started", "complete"];

// Returns null where it asks for nothing.
export function askedOf(query) {
  const given = new URLSearchParams(query);
  const [heading, unit] = ["heading", "unit"].map((name) => (given.get(name) || "").trim());
  return heading || unit ? { heading, unit } : null;
}

// Returns { heading, picked, words }: what to open on, blank where the list has no such thing, and
// a sentence on what it has not. A unit tells its own heading.
export function answerTo({ heading, unit }, headings, rows) {
  const ofUnit = rows.filter((row) => row.unit === unit);
  const unknown = [
    heading && !headings.includes(heading) ? `heading ${heading}` : "",
    unit && !ofUnit.length ? `unit ${unit}` : "",
  ].filter(Boolean);
  const byStanding = [...ofUnit].sort((a, b) => FIRST.indexOf(a.status) - FIRST.indexOf(b.status));
  return {
    heading: ofUnit[0]?.heading || (headings.includes(heading) ? heading : ""),
    picked: byStanding.map(keyOf),
    words: unknown.length ? `The link asks for ${unknown.join(" and ")}, which ${unknown.length > 1 ? "are" : "is"} not in this list.` : "",
  };
}
