// The shift entry page: the sheet, what is filled in, and the outbox, put together.

import { Drafts, anew, isFilled } from "./drafts.js";
import { el, redraw } from "./elements.js";
import { entriesOf, problemsOf } from "./entries.js";
import { openKept } from "./kept.js";
import { Outbox } from "./outbox.js";
import { outboxView } from "./outbox_view.js";
import { anotherRow } from "./another_row.js";
import { card } from "./card.js";
import { reviewPanel } from "./review.js";
import { keyOf, likely, withKept } from "./rows.js";
import { freshSheet, keptSheet } from "./sheet.js";
import { shiftAt } from "./site_clock.js";
import { shiftPanel } from "./shift_panel.js";
import { stateLine, stateOf } from "./state_line.js";
import { heldByWeather, weatherPanel } from "./weather.js";
import { counted } from "./words.js";

const REFRESH_MS = 60_000;
const page = (id) => document.getElementById(id);

class EntryPage {
  constructor(kept, looks, signInAt) {
    this.kept = kept;
    this.looks = looks;
    this.signInAt = signInAt;
    this.held = null;
    this.picked = [];
    this.problems = [];
    this.review = null;
    this.weather = { open: false, reason: "", from: "", to: "", left: [] };
    this.drafts = new Drafts(localStorage, () => this.drawBar());
    this.outbox = new Outbox(kept, { onChange: () => this.outboxChanged(), onSent: () => this.refresh() });
  }

  get sheet() {
    return this.held?.sheet;
  }

  now() {
    return this.held.clock.now();
  }

  by() {
    return this.sheet?.me?.name || this.drafts.held.by;
  }

  shift() {
    return this.drafts.held.shift || shiftAt(this.now(), this.drafts.held.usualStart);
  }

  holdReasons() {
    return this.sheet.hold_reasons || [];
  }

  async begin() {
    this.held = await keptSheet(this.kept);
    await this.outbox.load();
    this.draw();
    await this.refresh();
    await this.outbox.drain();
  }

  async refresh() {
    const { status, held } = await freshSheet(this.kept);
    this.outbox.heard(status);
    if (held) this.held = held;
    this.outbox.me = this.sheet?.me?.name || "";
    this.drawWhenIdle();
  }

  async retry() {
    await this.refresh();
    await this.outbox.drain();
  }

  // Drawing

  // A new sheet must not pull the row away from under the finger that types in it.
  drawWhenIdle() {
    const typing = document.activeElement?.matches("input, textarea, select");
    this.drawState();
    this.drawOutbox();
    if (!typing || !page("entry-rows").childElementCount) this.draw();
    else this.stale = true;
  }

  draw() {
    this.stale = false;
    this.drawState();
    this.drawOutbox();
    if (!this.sheet) {
      redraw(page("entry-rows"), el("p", { class: "banner empty" }, "The list of units has not come yet. It needs signal once; then it is kept on this phone."));
      return;
    }
    this.rows = withKept(this.sheet, this.outbox.entries);
    this.drawShift();
    this.drawHeadings();
    this.drawRows();
    this.drawBar();
  }

  drawState() {
    redraw(page("entry-state"), stateLine(stateOf(this.outbox, this.held), {
      onTry: () => this.retry(), signInAt: this.signInAt,
    }));
  }

  drawOutbox() {
    redraw(page("entry-outbox"), outboxView(this, this.outbox, {
      change: (entry) => this.changeEntry(entry),
      discard: (entry) => this.outbox.discard(entry.id),
      correct: (entry) => this.correctEntry(entry),
      again: (entry) => this.sendAgain(entry),
      sendToo: (entry) => this.sendToo(entry),
      rename: (entry) => this.rename(entry),
    }));
  }

  drawShift() {
    redraw(page("entry-shift"), shiftPanel(this, (name, value) => this.setShift(name, value)));
  }

  drawHeadings() {
    const chosen = this.heading();
    const buttons = this.headings().map((key, position) => el("button", {
      type: "button", id: `heading-${position}`, class: "tap", "aria-pressed": String(key === chosen),
      onclick: () => {
        this.picked = [];
        this.weather = { ...this.weather, left: [] };
        this.drafts.set("heading", key);
        this.draw();
      },
    }, key));
    redraw(page("entry-headings"), el("div", { class: "taps", role: "group", "aria-label": "Heading" }, buttons));
  }

  headings() {
    return this.sheet.headings.map((heading) => heading.key ?? heading);
  }

  heading() {
    const known = this.headings();
    return known.includes(this.drafts.held.heading) ? this.drafts.held.heading : known[0];
  }

  drawRows() {
    const here = this.rows.filter((row) => row.heading === this.heading());
    const cards = this.shownRows(here).map((row) => card(row, this));
    const nothing = el("p", { class: "banner empty" }, "Nothing is under way or next here. Choose other work below.");
    redraw(page("entry-rows"), cards.length ? cards : nothing);
    redraw(page("entry-more"),
      weatherPanel(this, here, this.weather, {
        onApply: (rows) => this.applyWeather(rows),
        onChange: (change) => this.setWeather(change),
      }),
      anotherRow(this, here, (key) => this.pick(key)));
  }

  // Likely next, then what was picked, then whatever is filled in, so that nothing is out of sight.
  shownRows(here) {
    const filled = this.rows.filter((row) => this.drafts.get(keyOf(row)) && isFilled(this.drafts.get(keyOf(row))));
    const picked = here.filter((row) => this.picked.includes(keyOf(row)));
    return [...new Set([...picked, ...likely(this.rows, this.heading()), ...filled])];
  }

  redrawCard(row) {
    const old = page(`card-${keyOf(row)}`);
    if (!old) return this.drawRows();
    const active = old.contains(document.activeElement) ? document.activeElement.id : "";
    old.replaceWith(card(row, this));
    if (active) page(active)?.focus({ preventScroll: true });
    return undefined;
  }

  drawBar() {
    const count = this.drafts.filled().length;
    page("entry-bar").hidden = count === 0 || this.review !== null;
    page("review-open").textContent = `Review ${counted(count, "row")}`;
  }

  outboxChanged() {
    this.drawState();
    this.drawOutbox();
    if (this.sheet) this.rows = withKept(this.sheet, this.outbox.entries);
  }

  // What the person does

  setShift(name, value) {
    if (name === "by") this.drafts.held.by = value;
    else this.drafts.held.shift = { ...this.shift(), [name]: value };
    if (name === "from") this.drafts.held.usualStart = value || "07:00";
    this.drafts.save();
    if (name !== "by") this.draw();
  }

  pick(key) {
    this.picked = [...new Set([key, ...this.picked])];
    this.drawRows();
    page(`card-${key}`)?.querySelector("button")?.focus();
  }

  clear(row) {
    this.drafts.drop([keyOf(row)]);
    this.draw();
  }

  setWeather(change) {
    Object.assign(this.weather, change);
    this.drawRows();
  }

  applyWeather(rows) {
    for (const row of rows) heldByWeather(this.drafts.of(row, this.sheet.last_seq), this.weather, this.shift());
    this.weather = { open: false, reason: "", from: "", to: "", left: [] };
    this.drafts.save();
    this.drawRows();
    page("review-open").focus();
  }

  openReview() {
    const filled = this.drafts.filled();
    // From now on the shift's times stand still, whatever the clock does until it is sent.
    this.drafts.set("shift", this.shift());
    this.problems = problemsOf(filled, this.shift(), this.by(), this.now());
    if (this.problems.length) return this.showProblems();
    const entries = entriesOf(filled, this.shift(), this.by(), this.now(), this.outbox.lastNumber);
    this.drafts.save(); // the identifiers made for the entries stay with the drafts
    this.review = entries;
    redraw(page("entry-review"), reviewPanel(this, entries, {
      onSend: () => this.send(), onBack: () => this.closeReview(),
    }));
    page("entry-form").hidden = true;
    this.drawBar();
    page("review").focus();
    return undefined;
  }

  showProblems() {
    this.draw();
    const list = this.problems.map((problem) => el("li", {}, where(problem), problem.message));
    redraw(page("entry-problems"), el("div", { class: "banner error", id: "problems", tabindex: "-1", role: "alert" },
      el("strong", {}, `${counted(list.length, "thing")} to put right`), el("ul", {}, list)));
    page("problems").focus();
  }

  closeReview() {
    this.review = null;
    page("entry-form").hidden = false;
    page("entry-review").replaceChildren();
    page("entry-problems").replaceChildren();
    this.draw();
    page("review-open").focus();
  }

  async send() {
    const entries = this.review;
    if (!entries) return; // a second tap
    this.review = null;
    this.problems = [];
    await this.outbox.add(entries);
    this.drafts.held.shift = null;
    this.drafts.drop(entries.flatMap((entry) => entry.drafts.map(keyOf)));
    this.picked = [];
    this.closeReview();
    page("entry-state").focus();
    await this.outbox.drain();
  }

  // Takes an entry that is surely not in the log back into the form.
  async changeEntry(entry) {
    if (!this.takeBack(entry, (draft) => ({ ...anew(draft), corrects: draft.corrects, seen_seq: seenBy(entry, draft) }))) return;
    await this.outbox.discard(entry.id);
    this.showForm(entry);
  }

  // A correction is a new entry that cancels the events of the old one and says it anew.
  correctEntry(entry) {
    const made = (draft) => ({
      ...anew(draft),
      seen_seq: this.sheet.last_seq,
      corrects: { entry: entry.id, events: eventIdsOf(entry, draft) },
    });
    if (this.takeBack(entry, made)) this.showForm(entry);
  }

  takeBack(entry, made) {
    const taken = entry.drafts.filter((draft) => this.drafts.get(keyOf(draft)) && isFilled(this.drafts.get(keyOf(draft))));
    if (taken.length) {
      this.problems = taken.map((draft) => ({ key: keyOf(draft), message: "Send or clear this row first." }));
      this.showProblems();
      return false;
    }
    for (const draft of entry.drafts) this.drafts.held.rows[keyOf(draft)] = made(draft);
    this.drafts.held.shift = entry.shift;
    this.drafts.save();
    return true;
  }

  showForm(entry) {
    this.draw();
    const first = page(`card-${keyOf(entry.drafts[0])}`);
    first?.scrollIntoView({ block: "start" });
    first?.querySelector("button")?.focus({ preventScroll: true });
  }

  // The person has seen what the others recorded, up to there; should yet more have come, the
  // log asks again.
  async sendToo(entry) {
    await this.outbox.put({ ...entry, state: "queued", seen_seq: entry.clash_seq, meanwhile: [] });
    await this.outbox.drain();
  }

  async sendAgain(entry) {
    await this.outbox.put({ ...entry, state: "queued", problems: [] });
    await this.outbox.drain();
  }

  async rename(entry) {
    const by = this.outbox.me;
    await this.outbox.put({ ...entry, by, events: entry.events.map((event) => ({ ...event, by })) });
    await this.outbox.drain();
  }
}

function where(problem) {
  const [unit, span] = problem.key.split("|");
  if (!unit) return "";
  return el("strong", {}, `${unit}${span ? ` span ${span}` : ""}: `);
}

function seenBy(entry, draft) {
  return entry.state === "clash" ? entry.clash_seq : draft.seen_seq;
}

function eventIdsOf(entry, draft) {
  const told = entry.events.filter((event) => event.kind !== "void" && keyOf(event) === keyOf(draft));
  return told.map((event) => event.event_id);
}

async function main() {
  const data = JSON.parse(page("entry-data").textContent);
  const entry = new EntryPage(await openKept(), data.looks, data.sign_in);
  page("review-open").addEventListener("click", () => entry.openReview());
  page("entry-form").addEventListener("focusout", () => {
    setTimeout(() => entry.stale && entry.drawWhenIdle(), 0);
  });
  window.addEventListener("online", () => entry.retry());
  window.addEventListener("offline", () => {
    entry.outbox.heard(0);
    entry.drawState();
  });
  window.addEventListener("storage", () => {
    entry.drafts.read();
    entry.drawWhenIdle();
  });
  document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && entry.retry());
  setInterval(() => document.visibilityState === "visible" && entry.refresh(), REFRESH_MS);
  navigator.storage?.persist?.();
  navigator.serviceWorker?.register("/service-worker.js", { scope: "/" });
  await entry.begin();
  document.documentElement.dataset.ready = "yes";
}

main();
