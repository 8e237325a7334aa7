// Panels that open and close. What a person opened stays open, however often it is drawn anew,
// until they close it or go on to something else.

import { el } from "./elements.js";

export class Panels {
  constructor() {
    this.chosen = new Map();
  }

  forget(...ids) {
    for (const id of ids) this.chosen.delete(id);
  }

  forgetAll() {
    this.chosen.clear();
  }

  keepOpen(id) {
    this.chosen.set(id, { open: true });
  }

  // `why` is what the page itself opens it for; what was closed is opened again for another reason.
  isOpen(id, why) {
    const chosen = this.chosen.get(id);
    return chosen && (chosen.open || chosen.why === why) ? chosen.open : why !== "";
  }

  // The click is heard and not the panel's own "toggle", which comes too late for what is drawn
  // right after the click.
  draw(id, { words, why = "", ...attributes }, ...children) {
    const panel = el("details", { id, open: this.isOpen(id, why), ...attributes },
      el("summary", { id: `${id}-summary`, onclick: () => this.chosen.set(id, { open: !panel.open, why }) }, words),
      ...children);
    return panel;
  }
}
