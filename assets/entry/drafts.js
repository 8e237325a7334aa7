// What is filled in and not yet sent. It is written down at every keystroke, in the way entries
// are (see kept.js), so that it is there again after a reload or a dead battery.

import { newId } from "./identifiers.js";
import { asLoad } from "./loads.js";
import { keyOf } from "./rows.js";

const NAME = "drafts";
const FORMER_PLACE = "viaduct-entry-drafts"; // in local storage, which is written out late
const EMPTY = { by: "", usualStart: "07:00", heading: "", shift: null, before: null, during: null, rows: {} };

export class Drafts {
  constructor(kept, { onChange, onOtherTab, onSave }) {
    this.kept = kept;
    this.onChange = onChange;
    this.onSave = onSave;
    this.held = structuredClone(EMPTY);
    this.condition = "kept"; // keeping; lost: the phone is full
    this.otherTabs = "BroadcastChannel" in window ? new BroadcastChannel(FORMER_PLACE) : null;
    this.otherTabs?.addEventListener("message", async () => {
      if (this.condition === "kept") await this.read();
      onOtherTab();
    });
    window.addEventListener("pagehide", () => this.unkept && this.write());
  }

  async read() {
    const kept = await this.kept.thing(NAME);
    const former = this.kept.lasts ? JSON.parse(localStorage.getItem(FORMER_PLACE) || "null") : null;
    this.held = { ...structuredClone(EMPTY), ...former, ...kept, rows: { ...former?.rows, ...kept?.rows } };
    // A draft of an earlier version of this page may lack what was added since.
    for (const [key, draft] of Object.entries(this.held.rows)) this.held.rows[key] = upToDate(draft);
    this.say("kept");
    if (former && (await this.write())) localStorage.removeItem(FORMER_PLACE);
  }

  save() {
    this.onSave();
    this.unkept = true;
    this.say("keeping");
    this.keep();
    this.onChange();
  }

  // One write at a time: what is typed meanwhile goes with the next.
  async keep() {
    if (this.writing) return;
    this.writing = true;
    let kept = true;
    while (this.unkept) kept = await this.write();
    this.writing = false;
    this.say(kept ? "kept" : "lost");
    if (kept) this.otherTabs?.postMessage("changed");
    else this.onChange();
  }

  // Returns whether it is on the disk.
  async write() {
    this.unkept = false;
    const kept = await this.kept.putThing(NAME, this.held);
    // What was sent must not come back as if it still were to be sent.
    if (!kept && !this.filled().length) await this.kept.forgetThing(NAME);
    return kept;
  }

  say(condition) {
    this.condition = condition;
    document.documentElement.dataset.drafts = condition;
  }

  set(name, value) {
    this.held[name] = value;
    this.save();
  }

  get(key) {
    return this.held.rows[key];
  }

  all() {
    return Object.values(this.held.rows);
  }

  filled() {
    return this.all().filter(isFilled);
  }

  // The draft of a row, begun now if there is none. What the person saw then is remembered, so
  // that the log can tell what others recorded since.
  of(row, seenSeq) {
    const key = keyOf(row);
    const { unit, span, activity, free_since, measure_unit } = row;
    const begun = { ...newDraft({ unit, span, activity }), free_since, measure_unit };
    return (this.held.rows[key] ??= { ...begun, seen_seq: seenSeq });
  }

  // A row whose last tick was taken back is as if never touched: begun again, it is begun now.
  keepIfUsed(key) {
    const draft = this.held.rows[key];
    if (!isFilled(draft) && !draft.note_open) delete this.held.rows[key];
    this.save();
  }

  drop(keys) {
    for (const key of keys) delete this.held.rows[key];
    this.save();
  }
}

export function newDraft(place) {
  return {
    ...place, id: newId(), ids: {}, seen_seq: 0, did: {}, tickets: [], amount: "", ticket: "",
    load_open: null, measure_unit: "", reason: "", words: "", note: "", note_open: false, files: [], files_said: "", corrects: null,
  };
}

function upToDate(draft) {
  return { ...newDraft(), ...draft, tickets: (draft.tickets || []).map(asLoad) };
}

// The same content as a new entry: what was refused or is corrected must not reuse identifiers.
export function anew(draft) {
  return { ...upToDate(structuredClone(draft)), load_open: null, files_said: "", id: newId(), ids: {}, corrects: null };
}

export function isFilled(draft) {
  return Object.keys(draft.did).length > 0 || draft.note.trim() !== "" || draft.files.length > 0 || draft.corrects !== null;
}
