// What happened, in the words of the trade; one sentence an event.

import { momentWords } from "./site_clock.js";

export const DID = {
  start: "Started",
  finish: "Finished",
  place: "Placed",
  hold: "Hold",
  resume: "Resumed",
  reopen: "Reopened",
  check: "Checked",
  note: "Note",
};

const SAID = {
  start: "started",
  finish: "finished",
  place: "placed",
  hold: "put on hold",
  resume: "resumed",
  reopen: "reopened",
  check: "checked",
  void: "an earlier entry cancelled",
  note: "note",
};

const PRINTED = {
  m2: "m²", ft2: "ft²", m3: "m³", yd3: "yd³", ft3: "ft³", board_ft: "board ft",
};

// How a note names what is attached, by a hash of 64 digits that tells people nothing.
export const ATTACHED = /(?<before>\s*)\battachment:(?<key>[0-9a-f]{64})/g;

export function unitWords(unit) {
  return PRINTED[unit] || unit || "";
}

export function placeWords(row, sheet) {
  const activity = sheet?.activities.find((each) => each.key === row.activity);
  const span = row.span ? ` span ${row.span}` : "";
  return `${row.unit}${span} ${activity ? activity.name : row.activity}`.trim();
}

// Of a void also what it cancels, where that is known.
export function sentence(event, cancelled = []) {
  const gone = event.kind === "void" && cancelled.find((each) => each.event_id === event.voids);
  if (gone) return `cancelled “${sentence({ ...gone, note: "", files: [] })}”`;
  const words = [SAID[event.kind] || event.kind];
  if (event.quantity) words.push(`${event.quantity} ${unitWords(event.measure_unit)}`);
  if (event.reason) words.push(`(${event.reason})`);
  if (event.kind !== "void") words.push(`· ${momentWords(event.at)}`);
  if (event.note) words.push(`· “${event.note.replace(ATTACHED, "$<before>(photo or document)")}”`);
  if (event.files?.length) words.push(`· with ${event.files.map((file) => file.name).join(", ")}`);
  return words.join(" ");
}

// The same with where it happened.
export function line(event, sheet, cancelled = []) {
  const where = event.kind === "void" ? cancelled.find((each) => each.event_id === event.voids) : event;
  const words = sentence(event, cancelled);
  return where ? `${placeWords(where, sheet)}: ${words}` : words;
}

export function counted(number, one, many = `${one}s`) {
  return `${number} ${number === 1 ? one : many}`;
}

export function entriesWords(number) {
  return counted(number, "entry", "entries");
}
