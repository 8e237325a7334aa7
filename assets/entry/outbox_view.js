// The list of what this phone kept and sent, each with how it stands and what can be done.

import { el } from "./elements.js";
import { cancelledBy } from "./rows.js";
import { counted, line } from "./words.js";

const STANDS = {
  queued: "Kept on this phone",
  sending: "Sending",
  sent: "In the log",
  refused: "Refused, nothing was recorded",
  clash: "Others recorded on this unit meanwhile",
};

const ASKED = ["clash", "refused"]; // they need a choice

export function outboxView(app, outbox, actions) {
  if (!outbox.entries.length) return [];
  const latestFirst = [...outbox.entries].reverse();
  const needs = latestFirst.filter((entry) => entry.state !== "sent");
  const sent = latestFirst.filter((entry) => entry.state === "sent");
  return [
    needs.length ? el("h2", { id: "kept-title" }, "Kept on this phone") : null,
    needs.length ? el("ol", { class: "outbox" }, needs.map((entry) => item(app, outbox, entry, actions))) : null,
    sent.length ? el("h2", {}, "Sent from here") : null,
    sent.length ? el("ol", { class: "outbox" }, sent.map((entry) => item(app, outbox, entry, actions))) : null,
  ];
}

// Leads to the first entry that needs a choice.
export function showAsked() {
  const shown = document.querySelector(ASKED.map((state) => `.outbox-item.is-${state}`).join());
  shown?.scrollIntoView({ block: "start" });
  shown?.focus({ preventScroll: true });
}

function item(app, outbox, entry, actions) {
  const shows = outbox.sending === entry.id ? "sending" : entry.state;
  const heading = el("p", { class: "outbox-head" },
    el("strong", { class: `outbox-state ${shows}` }, stands(outbox, entry, shows)),
    el("span", { class: "quiet" }, ` Unit ${entry.unit}`));
  const cancelled = cancelledBy(entry);
  const mine = el("ul", {}, entry.events.map((event) => el("li", {}, line(event, app.sheet, cancelled))));
  return el("li", {
    class: `card outbox-item is-${shows}`, id: `entry-${entry.id}`, "data-state": shows,
    tabindex: ASKED.includes(shows) ? "-1" : null,
  },
    heading, entry.state === "clash" ? clash(app, entry, mine) : mine,
    remarks(entry.problems), remarks(entry.warnings, "Look again: "),
    el("div", { class: "taps" }, buttons(outbox, entry, shows, actions)));
}

function stands(outbox, entry, shows) {
  if (shows === "sent" && entry.corrected) return "In the log, corrected since";
  if (outbox.waitsForName(entry)) return `Filled in by ${entry.by}, who is not signed in`;
  if (shows === "queued" && outbox.isBlocked(entry)) return "Kept, waits for the entry before it";
  return STANDS[shows];
}

function clash(app, entry, mine) {
  return el("div", { class: "both" },
    el("div", {}, el("h3", {}, "Yours, not recorded yet"), mine),
    el("div", {}, el("h3", {}, "Recorded meanwhile on this unit"),
      el("ul", {}, entry.meanwhile.map((event) => el("li", {}, `${line(event, app.sheet)} · by ${event.by}`)))));
}

function remarks(problems = [], before = "") {
  if (!problems.length) return null;
  const words = problems.map((problem) => `${before}${problem.message} ${problem.fix || ""}`.trim());
  return el("ul", { class: "row-problems" }, words.map((each) => el("li", {}, each)));
}

// Only what cannot be in the log yet may be changed or thrown away.
function buttons(outbox, entry, shows, actions) {
  const untried = shows === "queued" && entry.tries === 0;
  const open = ASKED.includes(shows);
  const corrected = entry.corrected || outbox.entries.some((other) => other.corrects.includes(entry.id));
  return [
    outbox.waitsForName(entry) ? button(entry, "rename", `Send as ${outbox.me}`, actions.rename) : null,
    shows === "clash" ? button(entry, "send-too", "Send mine as well", actions.sendToo) : null,
    untried || open ? button(entry, "change", "Change", actions.change) : null,
    shows === "refused" ? button(entry, "again", "Try again", actions.sendAgain) : null,
    open ? button(entry, "discard", "Leave mine out", actions.discard) : null,
    shows === "sent" && !corrected ? button(entry, "correct", "Correct", actions.correct) : null,
  ];
}

function button(entry, name, words, action) {
  return el("button", {
    type: "button", id: `${name}-${entry.id}`, class: "button",
    "aria-label": `${words}: ${counted(entry.events.length, "line")} on unit ${entry.unit}`,
    onclick: () => action(entry),
  }, words);
}
