// What is odd about what is filled in, in the log's own limits (sheet.limits, activities' "after").
// It may be sent nevertheless, unless the log refuses it: who stands on site may know better
// than the list.

import { shown } from "./amounts.js";
import { longGaps } from "./load_gaps.js";
import { loadsOf } from "./loads.js";
import { amountOf, inListUnit, placedAfter } from "./measured.js";
import { keyOf } from "./rows.js";
import { counted, unitWords } from "./words.js";

const DOES = { start: "starts", place: "is placed", finish: "is finished" };
const REFUSED = "the log refuses that";

// Returns sentences about one draft of an entry.
export function oddOf(draft, { events, drafts, shift }, rows, sheet) {
  const row = rows.find((each) => keyOf(each) === keyOf(draft));
  const activity = sheet.activities.find((each) => each.key === draft.activity);
  if (!row || !activity) return [];
  return [
    outOfTurn(row, activity, events, rows, sheet),
    overPlan(row, activity, draft, sheet.limits),
    littlePlaced(row, activity, draft, sheet.limits),
    ticketsTwice(draft, drafts),
    loadsApart(draft, shift, sheet.limits),
  ].filter(Boolean).map((words) => `${words[0].toUpperCase()}${words.slice(1)}.`);
}

// Whether one of these sentences says that the log will not take it.
export function isRefused(said) {
  return said.some((words) => words.includes(REFUSED));
}

function outOfTurn(row, activity, events, rows, sheet) {
  const work = events.filter((event) => keyOf(event) === keyOf(row) && event.kind in DOES);
  const [first] = work.sort((a, b) => (a.at < b.at ? -1 : Number(a.at > b.at)));
  if (!first) return "";
  const open = (activity.after || []).map((key) => openWork(key, row, first.at, events, rows, sheet)).filter(Boolean);
  if (!open.length) return "";
  return `${DOES[first.kind]} before ${open.join(" and ")} ${open.length > 1 ? "are" : "is"} finished: ${REFUSED} until it is recorded`;
}

// The name of an earlier activity where it is not finished by then, with the spans that are open
// where all of the unit is waited for.
function openWork(key, row, at, events, rows, sheet) {
  const earlier = rows.filter((each) => each.unit === row.unit && each.activity === key);
  const waitedFor = earlier.filter((each) => !row.span || !each.span || each.span === row.span);
  const open = waitedFor.filter((each) => !isFinished(each, at, events));
  if (!open.length) return "";
  const { name } = sheet.activities.find((each) => each.key === key);
  const spans = row.span ? [] : open.map((each) => each.span).filter(Boolean);
  return spans.length ? `${name} of span ${spans.join(", ")}` : name;
}

function isFinished(row, at, events) {
  const turns = events.filter((event) =>
    keyOf(event) === keyOf(row) && ["finish", "reopen"].includes(event.kind) && event.at <= at);
  return turns.length ? turns.at(-1).kind === "finish" : row.status === "complete";
}

function overPlan(row, activity, draft, limits) {
  if (!limits || !row.planned || !("place" in draft.did)) return "";
  const after = placedAfter(row, draft, activity);
  if (after === null || after <= limits.over_plan * row.planned) return "";
  const amount = inListUnit(amountOf(draft), draft.measure_unit, activity);
  const far = after > limits.far_over_plan * row.planned || amount > limits.single_place * row.planned;
  const over = Math.round((after / row.planned - 1) * 100);
  return `${over} % over plan in all, ${share(after, row)}${far ? `: ${REFUSED} as a slip of the hand` : ""}`;
}

function littlePlaced(row, activity, draft, limits) {
  if (!limits || !row.planned || !("finish" in draft.did)) return "";
  const after = placedAfter(row, draft, activity);
  if (after === null || after >= limits.little_placed * row.planned) return "";
  return `finished with ${share(row.planned - after, row)} not reported`;
}

// A ticket tallied twice, here or with other work of the entry, as the truck's number is one.
function ticketsTwice(draft, drafts) {
  const known = drafts.flatMap(ticketsOf);
  const twice = [...new Set(ticketsOf(draft))].filter((one) => known.filter((each) => each === one).length > 1);
  return twice.length ? `ticket ${twice.join(" and ")} is tallied more than once` : "";
}

function ticketsOf(draft) {
  const loads = "place" in draft.did ? loadsOf(draft) : [];
  return loads.map(({ ticket }) => ticket.trim().toUpperCase()).filter(Boolean);
}

function loadsApart(draft, shift, limits) {
  if (!limits?.load_gap_minutes || !("place" in draft.did)) return "";
  const gaps = longGaps(loadsOf(draft), shift, limits.load_gap_minutes);
  if (!gaps.length) return "";
  const apart = gaps.map(({ from, to, between }) =>
    `${named(from)} and ${named(to)}${between ? `, even with ${counted(between, "load")} between` : ""}`);
  return `more than ${limits.load_gap_minutes} minutes between loads ${apart.join("; ")}: a cold joint may have formed, `
    + "for the engineer of record to look at";
}

function named({ place, time }) {
  return `${place + 1} (${time})`;
}

function share(amount, row) {
  return `${shown(amount)} of ${shown(row.planned)} ${unitWords(row.measure_unit)}`;
}
