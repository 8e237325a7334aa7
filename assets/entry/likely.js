// What the forecast holds for likely in this shift: one tap takes it into what is filled in.

import { el, onOneTap } from "./elements.js";
import { keyOf } from "./rows.js";
import { dayWords } from "./site_clock.js";
import { DID, placeWords } from "./words.js";

const LEAST = 0.05;
const DUE = 0.5;
const NEXT_OF = { under_way: "finish", not_started: "start", on_hold: "resume" };
const BY_ORDER = "The list below follows building order.";

// What is proposed on a heading, with the chance by the end of the page's shift ("soon") and of
// the one after it. A list kept since the shift before tells of this one as its next.
export function proposalsOf(sheet, rows, heading, day) {
  const likely = sheet.likely;
  if (!likely || ![likely.shift, likely.next_shift].includes(day)) return [];
  const soon = day === likely.shift ? "chance" : "chance_by_next";
  const rowOf = new Map(rows.map((row) => [keyOf(row), row]));
  return likely.proposals
    .filter((one) => one.heading === heading)
    .map((one) => ({ ...one, row: rowOf.get(keyOf(one)), soon: one[soon] }))
    // What is filled in and kept here may have moved the work on since.
    .filter(({ row, kinds }) => row && kinds.includes(NEXT_OF[row.status]));
}

export function dueOn(sheet, rows, heading, day) {
  return proposalsOf(sheet, rows, heading, day).filter((one) => one.soon >= DUE).length;
}

export function isTaken(proposal, draft) {
  return proposal.kinds.every((kind) => kind in (draft?.did || {}));
}

// Why it is proposed, in words.
export function reasonOf({ soon, chance_by_next: later, by_plan: byPlan, row }) {
  const [chance, when] = soon >= LEAST ? [soon, "this shift"] : [later, "by the end of the next shift"];
  const words = `${chance >= DUE ? "due" : "possible"} ${when}: ${inTen(chance)}`;
  const after = row.status === "not_started" && row.waits_for ? `, once it no longer waits for ${row.waits_for}` : "";
  return `${words}${after}${byPlan ? ", going by the plan" : ""}`;
}

export function inTen(chance) {
  if (chance > 0.95) return "more than 9 in 10";
  if (chance < 0.05) return "less than 1 in 10";
  return `${Math.min(Math.max(Math.round(chance * 10), 1), 9)} in 10`;
}

export function likelyPanel(app, proposals, onTake) {
  const now = proposals.filter((one) => one.soon >= LEAST);
  const later = proposals.filter((one) => one.soon < LEAST);
  const buttons = (some) => some.map((one) => button(app, one, onTake));
  return el("section", { class: "likely", "aria-labelledby": "likely-title" },
    el("h3", { id: "likely-title" }, "Likely this shift"),
    el("p", { class: "field-hint" }, now.length ? "By the forecast. Tap what has happened." : nothingWords(app, later)),
    buttons(now),
    later.length ? app.panels.draw("likely-later", { words: `Likely by the end of the next shift (${later.length})` },
      el("div", { class: "likely" }, buttons(later))) : null,
    proposals.length ? el("p", { class: "field-hint" }, "A chance says nothing about strength: the engineer of record decides on stripping and release.") : null);
}

function nothingWords(app, later) {
  const { likely } = app.sheet;
  if (!likely) return BY_ORDER;
  if (likely.note) return `${likely.note} ${BY_ORDER}`;
  if (![likely.shift, likely.next_shift].includes(app.shift().day)) {
    return `The forecast tells of ${dayWords(likely.shift)} and ${dayWords(likely.next_shift)} only. ${BY_ORDER}`;
  }
  return later.length ? "Nothing more, by the forecast." : `Nothing, by the forecast. ${BY_ORDER}`;
}

function button(app, proposal, onTake) {
  const { row, kinds } = proposal;
  const taken = isTaken(proposal, app.drafts.get(keyOf(row)));
  return el("button", {
    type: "button", id: `likely-${kinds.at(-1)}-${keyOf(row)}`, class: "tap proposal", "aria-pressed": String(taken),
    onclick: onOneTap(() => onTake(proposal)),
  },
  el("span", { class: "proposal-what" }, `${placeWords(row, app.sheet)}: ${kinds.map((kind) => DID[kind].toLowerCase()).join(" and ")}`),
  el("span", { class: "proposal-why" }, reasonOf(proposal)));
}
