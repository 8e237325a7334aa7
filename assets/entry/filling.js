// What the person does while filling in: the shift, a row picked or cleared, weather lost.

import { noOther } from "./another_row.js";
import { answerTo } from "./asked.js";
import { el, part, redraw } from "./elements.js";
import { isTaken } from "./likely.js";
import { keyOf } from "./rows.js";
import { heldByWeather, noWeather } from "./weather.js";

export function setShift(page, name, value) {
  const { held } = page.drafts;
  if (name === "by") held.by = value;
  else {
    page.chooseShift({ ...page.shift(), [name]: value });
    page.panels.keepOpen("shift-panel"); // there may be more of it to set
  }
  if (name === "from") held.usualStart = value || "07:00";
  page.drafts.save();
  if (name !== "by") page.draw();
}

// Opens on what the address asks for; returns the row to show first. What a kept list does not
// have is asked again of the next one, until the person chooses.
export function openAsked(page) {
  const { heading, picked, words } = answerTo(page.asked, page.headings(), page.rows);
  if (heading && heading !== page.heading()) page.drafts.set("heading", heading);
  if (picked.length || !words) forgetAsked(page);
  page.picked = picked;
  redraw(part("entry-asked"), words ? el("p", { class: "banner warning" }, words) : null);
  return page.by() ? picked[0] : undefined; // else the name comes first
}

function forgetAsked(page) {
  page.asked = null;
  redraw(part("entry-asked"));
  history.replaceState(null, "", location.pathname);
}

export function chooseHeading(page, key) {
  forgetAsked(page);
  page.picked = [];
  page.weather = noWeather();
  page.another = noOther();
  page.panels.forget("weather", "another-row");
  page.drafts.set("heading", key);
  page.draw();
}

export function pick(page, key) {
  forgetAsked(page);
  page.picked = [...new Set([key, ...page.picked])];
  page.panels.forget("another-row");
  page.drawRows();
  part(`card-${key}`)?.querySelector("button")?.focus();
}

// Takes over what is proposed, or takes it back. A pour needs its loads: they are asked for next.
export function take(page, proposal) {
  const key = keyOf(proposal.row);
  const taken = isTaken(proposal, page.drafts.get(key));
  const draft = page.drafts.of(proposal.row, page.sheet.last_seq);
  for (const kind of proposal.kinds) {
    if (taken) delete draft.did[kind];
    else draft.did[kind] ??= { time: kind === "start" && startsLate(page, proposal.row) ? page.shift().to : "" };
  }
  page.drafts.keepIfUsed(key);
  page.redrawCard(proposal.row);
  if (!taken && proposal.kinds.includes("place")) showCard(key, `add-${key}`);
}

// Work that waits for other work of this shift did not start when the shift did.
function startsLate(page, row) {
  const crewElsewhere = page.rows.some((other) =>
    other.status === "under_way" && other.heading === row.heading && other.activity === row.activity);
  return crewElsewhere || row.waits_for !== "";
}

export function showCard(key, focusOn) {
  const shown = part(`card-${key}`);
  shown?.scrollIntoView({ block: "start" });
  (part(focusOn) || shown?.querySelector("button"))?.focus({ preventScroll: true });
}

export function clear(page, row) {
  page.drafts.drop([keyOf(row)]);
  page.problems = page.problems.filter((problem) => problem.key !== keyOf(row));
  page.draw();
  (part(`card-${keyOf(row)}`)?.querySelector("button") || part("entry-state")).focus({ preventScroll: true });
}

export function setWeather(page, change) {
  Object.assign(page.weather, change);
  page.drawRows();
}

export function applyWeather(page, rows) {
  for (const row of rows) {
    heldByWeather(page.drafts.of(row, page.sheet.last_seq), page.weather, page.shift());
  }
  page.weather = noWeather();
  page.panels.forget("weather");
  page.drafts.save();
  page.drawRows();
  part("review-open").focus();
}
