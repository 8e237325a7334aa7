// The loads tallied so far: each opens to write its ticket number, its time or another amount.

import { el, field } from "./elements.js";
import { markWords, ticketTyped, withTimes } from "./loads.js";
import { unitWords } from "./words.js";

export function ticketList(key, draft, change) {
  const items = draft.tickets.map((_, place) => item(key, draft, place, change));
  return items.length ? el("ul", { class: "tickets loads" }, items) : null;
}

// While digits are typed the list stays as it is, and only its words follow.
export function refreshList(key, draft) {
  draft.tickets.forEach((_, place) => {
    document.getElementById(`load-${key}-${place}`)?.replaceChildren(...loadWords(draft, place));
  });
}

function item(key, draft, place, change) {
  const open = draft.load_open === place;
  const words = el("button", {
    type: "button", id: `load-${key}-${place}`, class: "load-words", "aria-expanded": String(open),
    onclick: () => change((d) => (d.load_open = open ? null : place)),
  }, loadWords(draft, place));
  const remove = el("button", {
    type: "button", id: `remove-${key}-${place}`, class: "tap quiet-tap", "aria-label": `Remove this load, number ${place + 1}`,
    onclick: () => change((d) => Object.assign(d, { tickets: d.tickets.filter((_, each) => each !== place), load_open: null })),
  }, "Remove this load");
  return el("li", {}, words, remove, open ? editor(key, draft, place, change) : null);
}

// That a time is missing is said only where other loads have one.
function loadWords(draft, place) {
  const loads = withTimes(draft.tickets);
  const load = loads[place];
  const missed = !load.time && loads.some(({ time }) => time) ? "no time" : "";
  const marks = [markWords(load), missed].filter(Boolean).join(", ");
  return [
    el("span", {}, `Load ${place + 1}: ${load.amount} ${unitWords(draft.measure_unit)}`),
    marks ? el("span", { class: "quiet" }, marks) : null,
  ].filter(Boolean);
}

function editor(key, draft, place, change) {
  const load = withTimes(draft.tickets)[place];
  const write = (name, value) => change((d) => (d.tickets[place][name] = value), { redraw: false });
  const input = (name, type, read, more = {}) => {
    const control = el("input", {
      id: `load-${name}-${key}-${place}`, type, class: "input amount", value: load[name], autocomplete: "off", ...more,
      oninput: () => write(name, read(control)),
    });
    return control;
  };
  const time = input("time", "time", (control) => control.value);
  const clear = () => {
    time.value = "";
    write("time", "");
    time.focus();
  };
  return el("div", { class: "load-fields", role: "group", "aria-label": `Load ${place + 1}` },
    field("Ticket no.", input("ticket", "text", (control) => (control.value = ticketTyped(control.value)), {
      autocapitalize: "characters", maxlength: 30, placeholder: "optional",
    })),
    field("Amount", input("amount", "text", (control) => control.value, { inputmode: "decimal" })),
    field("Time", time),
    el("button", { type: "button", id: `untime-${key}-${place}`, class: "tap quiet-tap", onclick: clear }, "Clear the time"),
    load.added && !load.time ? el("p", { class: "field-hint" }, "The clock cannot tell when loads came that were added at once.") : null);
}
