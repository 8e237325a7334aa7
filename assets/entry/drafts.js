// What is filled in and not yet sent. Every keystroke is written at once to local storage, which
// is there again after a reload or a dead battery.

import { newId } from "./identifiers.js";
import { keyOf } from "./rows.js";

const PLACE = "viaduct-entry-drafts";
const EMPTY = { by: "", usualStart: "07:00", heading: "", shift: null, rows: {} };

export class Drafts {
  constructor(storage, onChange) {
    this.storage = storage;
    this.onChange = onChange;
    this.read();
  }

  read() {
    const kept = this.storage.getItem(PLACE);
    this.held = { ...structuredClone(EMPTY), ...JSON.parse(kept || "{}") };
    // A draft of an earlier version of this page may lack what was added since.
    for (const [key, draft] of Object.entries(this.held.rows)) this.held.rows[key] = { ...newDraft(), ...draft };
  }

  save() {
    this.storage.setItem(PLACE, JSON.stringify(this.held));
    this.onChange();
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
    ...place, id: newId(), ids: {}, seen_seq: 0, did: {}, tickets: [], amount: "",
    measure_unit: "", reason: "", words: "", note: "", note_open: false, files: [], corrects: null,
  };
}

// The same content as a new entry: what was refused or is corrected must not reuse identifiers.
export function anew(draft) {
  return { ...structuredClone(draft), id: newId(), ids: {}, corrects: null };
}

export function isFilled(draft) {
  return Object.keys(draft.did).length > 0 || draft.note.trim() !== "" || draft.files.length > 0 || draft.corrects !== null;
}
