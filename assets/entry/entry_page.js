// The page: what it holds, and where each part of it is drawn.

import { Drafts, isFilled } from "./drafts.js";
import { el, part, redraw } from "./elements.js";
import { Outbox } from "./outbox.js";
import { outboxView } from "./outbox_view.js";
import { anotherRow, noOther } from "./another_row.js";
import { askedOf } from "./asked.js";
import { card } from "./card.js";
import { entriesIn } from "./entries.js";
import { filesInUse } from "./files.js";
import { dueOn, likelyPanel, proposalsOf } from "./likely.js";
import * as filling from "./filling.js";
import { Panels } from "./panels.js";
import { Press } from "./press.js";
import { keyOf, likely, withKept } from "./rows.js";
import * as sending from "./sending.js";
import { freshSheet, keptSheet } from "./sheet.js";
import { shiftAt } from "./site_clock.js";
import { shiftPanel } from "./shift_panel.js";
import { stateLine, stateOf } from "./state_line.js";
import { toldView } from "./told.js";
import { noWeather, weatherPanel } from "./weather.js";
import { duringWhich, shiftMeant } from "./which_shift.js";
import { entriesWords } from "./words.js";

export class EntryPage {
  constructor(kept, looks, signInAt) {
    this.kept = kept;
    this.looks = looks;
    this.signInAt = signInAt;
    this.held = null;
    this.picked = [];
    this.asked = askedOf(location.search);
    this.problems = [];
    this.review = null;
    this.weather = noWeather();
    this.another = noOther();
    this.panels = new Panels();
    this.press = new Press(() => this.drawWhatWaited());
    this.lastAsked = this.lastCame = 0; // lists are numbered as they are asked for
    this.drafts = new Drafts(kept, {
      onChange: () => this.drawBar(), onOtherTab: () => this.drawWhenIdle(), onSave: () => this.noteShift(),
    });
    this.outbox = new Outbox(kept, {
      onChange: () => this.outboxChanged(), onSent: () => this.refresh(), onTime: () => this.retry(),
    });
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
    return shiftMeant(this.drafts.held, this.drafts.filled().length > 0, this.usualShift());
  }

  usualShift() {
    return shiftAt(this.now(), this.drafts.held.usualStart);
  }

  chooseShift(shift) {
    this.drafts.held.shift = shift && { ...shift, chosen_on: this.usualShift().day };
  }

  noteShift() {
    if (!this.held) return; // no list yet, and so no clock
    const { held } = this.drafts;
    const isFilled = this.drafts.filled().length > 0;
    // What was taken back and then left as it was leaves the shift as it was too.
    if (!isFilled && held.before) Object.assign(held, { shift: held.before.shift, before: null });
    held.during = duringWhich(held, isFilled, this.usualShift());
  }

  holdReasons() {
    return this.sheet.hold_reasons || [];
  }

  async begin() {
    this.held = await keptSheet(this.kept);
    await this.drafts.read();
    await this.outbox.load();
    await this.kept.keepFilesOf(filesInUse(this.drafts.all(), this.outbox.entries));
    this.draw();
    await this.retry();
  }

  async refresh() {
    const turn = (this.lastAsked += 1);
    const isNewest = () => {
      if (turn < this.lastCame) return false;
      this.lastCame = turn;
      return true;
    };
    const { status, held } = await freshSheet(this.kept, this.drafts.held.by.trim(), isNewest);
    this.outbox.heard(status);
    if (held) this.held = held;
    this.outbox.me = this.sheet?.me?.name || "";
    this.drawWhenIdle();
  }

  // On a thin signal what waits goes first. But where people sign in, the list goes first, for
  // it says who that is by now.
  async retry() {
    if (!this.sheet?.me) await this.outbox.drain();
    try {
      await this.refresh();
    } finally {
      await this.outbox.drain(); // and with it the next try is planned, whatever the list did
    }
  }

  // Drawing

  // A new sheet must not pull the row away from under the finger that types in it.
  drawWhenIdle() {
    if (this.mustWait()) return;
    const typing = document.activeElement?.matches("input, textarea, select");
    this.drawState();
    this.drawOutbox();
    if (!typing || !part("entry-rows").childElementCount) this.draw();
    else this.stale = true;
  }

  // Whether something is pressed: then it is drawn when that is let go.
  mustWait() {
    if (this.press.isOn) this.stale = true;
    return this.press.isOn;
  }

  drawWhatWaited() {
    if (this.stale) this.drawWhenIdle();
    else this.drawState();
  }

  draw() {
    if (this.mustWait()) return;
    this.stale = false;
    this.drawState();
    if (!this.sheet) {
      this.drawOutbox();
      redraw(part("entry-rows"), el("p", { class: "banner empty" }, "The list of units has not come yet. It needs signal once; then it is kept on this phone."));
      return;
    }
    this.rows = withKept(this.sheet, this.outbox.entries);
    const asked = this.asked ? filling.openAsked(this) : "";
    this.drawOutbox();
    this.drawShift();
    this.drawHeadings();
    this.drawRows();
    this.drawBar();
    if (asked) filling.showCard(asked);
  }

  drawState() {
    if (this.press.isOn) return; // it has buttons too
    const state = stateOf(this.outbox, this.held, this.drafts);
    if (state.words === this.stateWords) return; // it is read aloud: not at every key
    this.stateWords = state.words;
    redraw(part("entry-state"), stateLine(state, {
      onTry: () => this.retry(), signInAt: this.signInAt,
    }));
  }

  drawOutbox() {
    const actions = Object.fromEntries(
      ["change", "correct", "sendAgain", "sendToo", "rename", "discard"].map((name) => [name, (entry) => sending[name](this, entry)]),
    );
    const told = this.rows ? toldView(this, (row, events) => sending.correctTold(this, row, events)) : [];
    redraw(part("entry-outbox"), outboxView(this, this.outbox, actions), told);
  }

  drawShift() {
    redraw(part("entry-shift"), shiftPanel(this, (name, value) => filling.setShift(this, name, value)));
  }

  drawHeadings() {
    const chosen = this.heading();
    const buttons = this.headings().map((key, position) => el("button", {
      type: "button", id: `heading-${position}`, class: "tap", "aria-pressed": String(key === chosen),
      onclick: () => filling.chooseHeading(this, key),
    }, key, this.dueWords(key)));
    redraw(part("entry-headings"), el("div", { class: "taps", role: "group", "aria-label": "Heading" }, buttons));
  }

  // So that nobody opens every heading to see whether there is something to tell.
  dueWords(key) {
    const due = dueOn(this.sheet, this.rows, key, this.shift().day);
    return due ? ` · ${due} due` : null;
  }

  headings() {
    return this.sheet.headings.map((heading) => heading.key ?? heading);
  }

  heading() {
    const known = this.headings();
    return known.includes(this.drafts.held.heading) ? this.drafts.held.heading : known[0];
  }

  drawRows() {
    if (this.mustWait()) return;
    const here = this.rows.filter((row) => row.heading === this.heading());
    this.drawLikely();
    const cards = this.shownRows(here).map((row) => card(row, this));
    const nothing = el("p", { class: "banner empty" }, "Nothing is under way or next here. Choose other work below.");
    redraw(part("entry-rows"), cards.length ? cards : nothing);
    redraw(part("entry-more"),
      weatherPanel(this, here, this.weather, {
        onApply: (rows) => filling.applyWeather(this, rows),
        onChange: (change) => filling.setWeather(this, change),
      }),
      anotherRow(this, here, this.another, (key) => filling.pick(this, key)));
  }

  proposals() {
    return proposalsOf(this.sheet, this.rows, this.heading(), this.shift().day);
  }

  drawLikely() {
    redraw(part("entry-likely"), likelyPanel(this, this.proposals(), (proposal) => filling.take(this, proposal)));
  }

  // What was picked, what is likely, then what else is going on or next, then whatever is filled
  // in, so that nothing is out of sight.
  shownRows(here) {
    const filled = this.rows.filter((row) => this.drafts.get(keyOf(row)) && isFilled(this.drafts.get(keyOf(row))));
    const picked = here.filter((row) => this.picked.includes(keyOf(row)));
    const proposed = this.proposals().map(({ row }) => row);
    return [...new Set([...picked, ...proposed, ...likely(this.rows, this.heading()), ...filled])];
  }

  redrawCard(row) {
    if (this.mustWait()) return;
    this.drawLikely();
    const old = part(`card-${keyOf(row)}`);
    if (!old) {
      this.drawRows();
      return;
    }
    const active = old.contains(document.activeElement) ? document.activeElement.id : "";
    old.replaceWith(card(row, this));
    if (active) part(active)?.focus({ preventScroll: true });
  }

  clear(row) {
    filling.clear(this, row);
  }

  drawBar() {
    const count = entriesIn(this.drafts.filled());
    this.drawState();
    part("entry-bar").hidden = count === 0 || this.review !== null;
    part("review-open").textContent = `Review ${entriesWords(count)}`;
  }

  outboxChanged() {
    if (this.sheet) this.rows = withKept(this.sheet, this.outbox.entries);
    if (this.mustWait()) return;
    this.drawState();
    this.drawOutbox();
  }
}
