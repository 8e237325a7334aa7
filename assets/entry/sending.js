// From the review to the outbox, and back: sending, changing, correcting, choosing.

import { anew, isFilled } from "./drafts.js";
import { el, part, redraw } from "./elements.js";
import { entriesOf, problemsOf, timeOf } from "./entries.js";
import { showCard } from "./filling.js";
import { reviewPanel } from "./review.js";
import { keyOf } from "./rows.js";
import { dayWords } from "./site_clock.js";
import { draftOf, shiftOf } from "./told.js";
import { meanTheSame } from "./which_shift.js";
import { counted, placeWords } from "./words.js";

export function openReview(page) {
  const filled = page.drafts.filled();
  page.problems = problemsOf(filled, page.shift(), page.by(), page.now());
  page.draw();
  if (page.problems.length) {
    showProblems(page);
    return;
  }
  // From now on the shift's times stand still, whatever the clock does until it is sent.
  const before = page.drafts.held.shift;
  page.chooseShift(page.shift());
  page.review = entriesOf(filled, page.shift(), page.by(), page.now(), page.outbox.lastNumber);
  page.drafts.save(); // the identifiers made for the entries stay with the drafts
  redraw(part("entry-problems"));
  redraw(part("entry-review"), reviewPanel(page, page.review, {
    onSend: () => send(page), onBack: () => back(page, before),
  }));
  part("entry-form").hidden = true;
  page.drawBar();
  part("review").focus();
}

function showProblems(page) {
  const list = page.problems.map((problem) => el("li", {}, where(page, problem), problem.message));
  redraw(part("entry-problems"), el("div", { class: "banner error", id: "problems", tabindex: "-1", role: "alert" },
    el("strong", {}, `${counted(list.length, "thing")} to put right`), el("ul", {}, list)));
  part("problems").focus();
}

// The work that is to be put right, where it is of one row; it leads to the field.
function where(page, { key, field }) {
  const draft = page.drafts.get(key);
  return draft ? el("button", {
    type: "button", class: "tap leads", onclick: () => showField(key, `${field}-${key}`),
  }, placeWords(draft, page.sheet)) : null;
}

function showField(key, id) {
  showCard(key, id);
  part(id)?.scrollIntoView({ block: "center" });
}

function back(page, shift) {
  page.drafts.set("shift", shift);
  closeReview(page, "review-open");
}

function closeReview(page, focusOn) {
  page.review = null;
  part("entry-form").hidden = false;
  redraw(part("entry-review"));
  page.draw();
  part(focusOn).focus();
}

async function send(page) {
  const entries = page.review;
  if (!entries) return; // a second tap
  page.review = null;
  await page.outbox.add(entries);
  Object.assign(page.drafts.held, { shift: null, before: null });
  page.drafts.drop(entries.flatMap((entry) => entry.drafts.map(keyOf)));
  page.picked = [];
  page.panels.forgetAll();
  closeReview(page, "entry-state");
  await page.outbox.drain();
}

// Takes an entry that is surely not in the log back into the form.
export async function change(page, entry) {
  const made = (draft) => ({ ...anew(draft), corrects: draft.corrects, seen_seq: seenBy(entry, draft) });
  if (!takeBack(page, entry, made)) return;
  await page.outbox.discard(entry.id);
  showForm(page, entry);
}

// What waited for it can go now.
export async function discard(page, entry) {
  await page.outbox.discard(entry.id);
  await page.outbox.drain();
}

// A correction is a new entry that cancels the events of the old one and says it anew.
export function correct(page, entry) {
  const made = (draft) => {
    const told = toldBy(entry, draft);
    return {
      ...anew(draft), seen_seq: page.sheet.last_seq,
      files: told.flatMap((event) => event.files || []),
      corrects: { entry: entry.id, events: told.map((event) => event.event_id), told },
    };
  };
  if (takeBack(page, entry, made)) showForm(page, entry);
}

// The same of what another phone sent: the draft is made from what the log has.
export function correctTold(page, row, events) {
  const draft = draftOf(row, events, page.sheet);
  const entry = { drafts: [draft], shift: shiftOf(events, page.sheet.told.shift, page.shift()) };
  if (takeBack(page, entry, () => draft)) showForm(page, entry);
}

function takeBack(page, entry, made) {
  const taken = entry.drafts.map(keyOf).filter((key) => page.drafts.get(key) && isFilled(page.drafts.get(key)));
  if (taken.length) return stopped(page, taken, "Send this row or clear it first.");
  const othersWait = page.drafts.filled().length > 0;
  if (othersWait && !meanTheSame(page.shift(), entry.shift)) {
    return stopped(page, entry.drafts.slice(0, 1).map(keyOf),
      `Send or clear what is filled in first: this is of ${dayWords(entry.shift.day)}, and that of another shift.`);
  }
  for (const draft of entry.drafts) page.drafts.held.rows[keyOf(draft)] = othersWait ? timed(made(draft), entry.shift) : made(draft);
  if (!othersWait) {
    page.drafts.held.before = { shift: page.drafts.held.shift };
    page.panels.forget("shift-panel");
    page.chooseShift(entry.shift);
  }
  page.drafts.save();
  return true;
}

function stopped(page, keys, message) {
  page.problems = keys.map((key) => ({ key, message }));
  page.draw();
  showProblems(page);
  return false;
}

// With the times of its own shift, whatever those of the other entries are.
function timed(draft, shift) {
  const times = Object.keys(draft.did).map((kind) => [kind, { ...draft.did[kind], time: timeOf(draft, kind, shift) }]);
  return { ...draft, did: Object.fromEntries(times) };
}

function showForm(page, entry) {
  page.draw();
  showCard(keyOf(entry.drafts[0]));
}

// The person has seen what the others recorded, up to there; should yet more have come, the
// log asks again.
export function sendToo(page, entry) {
  return requeue(page, { ...entry, seen_seq: entry.clash_seq, meanwhile: [] });
}

export function sendAgain(page, entry) {
  return requeue(page, { ...entry, problems: [] });
}

export function rename(page, entry) {
  const by = page.outbox.me;
  return requeue(page, { ...entry, by, events: entry.events.map((event) => ({ ...event, by })) });
}

async function requeue(page, entry) {
  await page.outbox.put({ ...entry, state: "queued" });
  await page.outbox.drain();
}

function seenBy(entry, draft) {
  return entry.state === "clash" ? entry.clash_seq : draft.seen_seq;
}

function toldBy(entry, draft) {
  return entry.events.filter((event) => event.kind !== "void" && keyOf(event) === keyOf(draft));
}
