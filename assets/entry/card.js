// One row of the sheet: where it stands, what can be ticked, and what each tick asks for.

import { el, field, onOneTap, statusChip } from "./elements.js";
import { timeOf } from "./entries.js";
import { shown } from "./amounts.js";
import { filesField } from "./files.js";
import { holdPanel } from "./hold_panel.js";
import { keyOf, offered } from "./rows.js";
import { nowIn } from "./site_clock.js";
import { placedPanel, refreshWords } from "./tickets.js";
import { DID, placeWords, unitWords } from "./words.js";

export function card(row, app) {
  const key = keyOf(row);
  const draft = app.drafts.get(key);
  const activity = app.sheet.activities.find((each) => each.key === row.activity);
  const change = (mutate, { redraw = true } = {}) => {
    const held = app.drafts.of(row, app.sheet.last_seq);
    mutate(held);
    app.drafts.keepIfUsed(key);
    if (redraw) app.redrawCard(row);
    else refreshWords(row, held, activity);
  };
  return el("fieldset", { class: "entry-row", id: `card-${key}`, "data-unit": row.unit, "data-activity": row.activity, "data-span": row.span },
    el("legend", {}, placeWords(row, app.sheet)),
    standing(row, app),
    draft?.corrects ? correcting(row, app) : null,
    taps(row, draft, activity, change),
    details(row, draft, activity, app, change),
    problems(key, app));
}

function standing(row, app) {
  const words = [];
  if (row.status === "on_hold" && row.reason) words.push(row.reason);
  if (row.status === "not_started" && row.waits_for) words.push(`waits for ${row.waits_for}`);
  if (row.planned) words.push(`${shown(row.placed || 0)} of ${shown(row.planned)} ${unitWords(row.measure_unit)}`);
  return el("p", { class: "standing" }, statusChip(row.status, app.looks),
    row.kept ? el("span", { class: "kept-mark" }, "with what is kept here") : null,
    el("span", { class: "quiet" }, words.join(" · ")));
}

function correcting(row, app) {
  return el("p", { class: "correcting" }, el("strong", {}, "Correcting what was sent. "),
    "With nothing ticked, the earlier entry is only taken out. ",
    el("button", { type: "button", class: "tap quiet-tap", id: `keep-${keyOf(row)}`, onclick: () => app.clear(row) }, "Leave it as it was"));
}

function taps(row, draft, activity, change) {
  const key = keyOf(row);
  const toggle = (kind) => change((d) => {
    if (kind in d.did) delete d.did[kind];
    else d.did[kind] = { time: "" };
  });
  const buttons = offered(row, draft, activity).map((kind) =>
    tap(`did-${kind}-${key}`, DID[kind], Boolean(draft && kind in draft.did), () => toggle(kind)));
  const open = noteIsOpen(draft);
  buttons.push(tap(`did-note-${key}`, DID.note, open, () => change((d) => {
    d.note_open = !open;
    if (open) Object.assign(d, { note: "", files: [], files_said: "" });
  })));
  return el("div", { class: "taps", role: "group", "aria-label": `What was done on ${row.unit}` }, buttons);
}

function tap(id, words, pressed, onclick) {
  return el("button", { type: "button", id, class: "tap", "aria-pressed": String(pressed), onclick: onOneTap(onclick) }, words);
}

function noteIsOpen(draft) {
  return Boolean(draft && (draft.note_open || draft.note || draft.files.length || "check" in draft.did));
}

function details(row, draft, activity, app, change) {
  if (!draft) return null;
  const parts = [];
  const ticked = offered(row, draft, activity).filter((kind) => kind in draft.did);
  const timed = ticked.map((kind) => timeField(row, draft, kind, app, change));
  if (timed.length) parts.push(el("div", { class: "times" }, timed));
  if ("place" in draft.did) parts.push(placedPanel(row, draft, activity, change, () => clock(draft, app)));
  if ("hold" in draft.did) parts.push(holdPanel(row, draft, app.holdReasons(), change));
  if (noteIsOpen(draft)) parts.push(noteField(row, draft, change), filesField(row, draft, app, change));
  return parts.length ? el("div", { class: "details" }, parts) : null;
}

// What the clock tells of a load that is added now: nothing of an earlier shift, nor of a correction.
function clock(draft, app) {
  return draft.corrects ? "" : nowIn(app.shift(), app.now(), app.drafts.held.usualStart);
}

function timeField(row, draft, kind, app, change) {
  const input = el("input", {
    id: `time-${kind}-${keyOf(row)}`, type: "time", class: "input time", value: timeOf(draft, kind, app.shift()),
    onchange: () => change((d) => (d.did[kind].time = input.value), { redraw: false }),
  });
  return field(kind === "hold" ? "On hold from" : `${DID[kind]} at`, input);
}

function noteField(row, draft, change) {
  const input = el("textarea", {
    id: `note-${keyOf(row)}`, class: "input", rows: 3, value: draft.note, maxlength: 2000,
    oninput: () => change((d) => (d.note = input.value), { redraw: false }),
  });
  return field(DID.note, input);
}

function problems(key, app) {
  const found = app.problems.filter((problem) => problem.key === key);
  return found.length ? el("ul", { class: "row-problems" }, found.map((p) => el("li", {}, p.message))) : null;
}
