// Loads of concrete: what was on each truck, its ticket and its time, and how a note tells of them.
//
// "3 loads: 10 (ticket 48213, 08:10), 10 (08:24), 9.5" is read by people and read back here; a
// note of bare amounts, as earlier versions of this page wrote it, is read too.

import { readAmount, total } from "./amounts.js";
import { minutesApart } from "./site_clock.js";
import { counted } from "./words.js";

// A truck takes longer than that to unload (common practice, no source): loads added
// closer together are tallied afterwards, and the clock then tells nothing of when they came.
const AT_ONCE = 2; // minutes

const NOT_IN_A_NUMBER = /[(),]/g; // they part the loads of a note
const TIME = "(?:[01]\\d|2[0-3]):[0-5]\\d";
const MARKS = `(?:ticket (?<ticket>[^(),]+)(?:, (?<time>${TIME}))?|(?<only_time>${TIME}))`;
const LOAD = `(?<amount>[\\d.]+)(?: \\(${MARKS}\\))?`;
const LIST = LOAD.replace(/\?<\w+>/g, "?:"); // the same, naming nothing
const LOADS = new RegExp(`^\\d+ loads?: (${LIST}(?:, ${LIST})*?)(?:\\. |$)`);

// `time` is what a person wrote, or null where only the clock tells when it was `added`.
export function newLoad(amount, { ticket = "", time = "", added = "" } = {}) {
  return { amount, ticket, time, added };
}

// Earlier versions of this page kept bare amounts.
export function asLoad(kept) {
  return typeof kept === "string" ? newLoad(kept) : { ...newLoad(""), ...kept };
}

export function ticketTyped(text) {
  return text.replace(NOT_IN_A_NUMBER, "").replace(/\s+/g, " ");
}

// The loads with the time that goes to the log: of loads added at once none has the clock's.
export function withTimes(loads) {
  return loads.map((load, place) => ({ ...load, time: load.time ?? clockTime(load, [loads[place - 1], loads[place + 1]]) }));
}

function clockTime({ added }, neighbours) {
  const atOnce = neighbours.some((other) => other?.added && minutesApart(other.added, added) < AT_ONCE);
  return atOnce ? "" : added.slice(11);
}

// Every load of a draft, with the one still being typed.
export function loadsOf(draft) {
  const typed = readAmount(draft.amount);
  const last = typed ? [newLoad(typed, { ticket: draft.ticket })] : [];
  return [...withTimes(draft.tickets), ...last];
}

export function markWords(load) {
  const ticket = load.ticket.trim();
  return [ticket && `ticket ${ticket}`, load.time].filter(Boolean).join(", ");
}

// As a note tells of them; of one bare load the quantity tells all.
export function loadsWords(loads) {
  const words = loads.map((load) => [load.amount, markWords(load) && `(${markWords(load)})`].filter(Boolean).join(" "));
  const tellsMore = loads.length > 1 || loads.some(markWords);
  return tellsMore ? `${counted(loads.length, "load")}: ${words.join(", ")}` : "";
}

// Returns { loads, rest } of a note; loads only where they are written as here and add up to
// what is in the log, so that nothing a person wrote is lost when they are written again.
export function readLoads(note, quantity) {
  const [found, list] = note.match(LOADS) || ["", ""];
  const loads = [...list.matchAll(new RegExp(LOAD, "g"))].map(({ groups }) =>
    newLoad(groups.amount, { ticket: groups.ticket, time: groups.time || groups.only_time }));
  const amounts = loads.map((load) => readAmount(load.amount));
  const adds = amounts.length && !amounts.includes(null) && Number(total(amounts)) === Number(quantity);
  const same = found.replace(/\. $/, "") === loadsWords(loads);
  return adds && same ? { loads, rest: note.slice(found.length) } : { loads: [], rest: note };
}
