// One line that says how it stands: signal, what is kept, what needs a choice.

import { el } from "./elements.js";
import { entriesIn } from "./entries.js";
import { showAsked } from "./outbox_view.js";
import { momentWords } from "./site_clock.js";
import { counted, entriesWords } from "./words.js";

// Returns { tone, words }; tone is also said by a mark and by the words.
export function stateOf(outbox, held, drafts) {
  const filledIn = entriesIn(drafts.filled());
  const kept = outbox.withState("queued").length;
  const keptWords = `${entriesWords(kept)} kept on this phone`;
  const asked = outbox.withState("clash", "refused").length;
  if (!outbox.kept.lasts) {
    return { tone: "error", words: "This browser keeps nothing: stay on this page until all is sent." };
  }
  if (drafts.condition === "lost" && filledIn) {
    return { tone: "error", words: "This phone has no room left: what is filled in is not kept. Send it before you leave this page." };
  }
  if (outbox.kept.onlyHere.length && !outbox.sending) {
    return { tone: "error", words: `This phone has no room left: ${entriesWords(outbox.kept.onlyHere.length)} only on this page. Stay on it until all is sent.`, tryNow: true };
  }
  if (outbox.link === "signed_out") {
    return { tone: "warning", words: kept ? `Signed out: ${keptWords}.` : "Signed out.", signIn: true };
  }
  if (outbox.sending) return { tone: "busy", words: `Sending ${entriesWords(kept)}.` };
  if (outbox.link === "down") {
    return { tone: "warning", words: kept ? `No signal: ${keptWords}.` : `No signal. ${sheetWords(held)}` };
  }
  if (outbox.link === "trouble") {
    return { tone: "warning", words: `The server has trouble: ${keptWords}; it is tried again.` };
  }
  if (asked) return { tone: "error", words: `${counted(asked, "entry needs", "entries need")} you.`, seeBelow: true };
  if (kept) return { tone: "warning", words: `${keptWords}.` };
  if (filledIn) return { tone: "warning", words: `${counted(filledIn, "entry is", "entries are")} filled in, not sent yet.`, wait: true };
  if (outbox.justSent) return { tone: "done", words: `${counted(outbox.justSent, "entry is", "entries are")} in the log.` };
  return { tone: "done", words: `Nothing waits to be sent. ${sheetWords(held)}` };
}

function sheetWords(held) {
  return held ? `List of ${momentWords(held.sheet.as_of)}.` : "";
}

export function stateLine(state, { onTry, signInAt }) {
  const parts = [el("span", {}, state.words)];
  if (state.seeBelow) parts.push(el("button", { type: "button", id: "see-below", class: "button", onclick: showAsked }, "See below"));
  else if (state.signIn) parts.push(el("a", { href: signInAt, class: "button" }, "Sign in"));
  else if (state.tryNow || (state.tone === "warning" && !state.wait)) {
    parts.push(el("button", { type: "button", id: "try-now", class: "button", onclick: onTry }, "Try now"));
  }
  return el("div", { class: `banner state-banner ${state.tone}` }, parts);
}
