// Load tickets tallied to what was placed: typed, or stepped up and down with a thumb.

import { readAmount, shown, stepped } from "./amounts.js";
import { el, field, part } from "./elements.js";
import { newLoad, ticketTyped } from "./loads.js";
import { amountOf, placedAfter } from "./measured.js";
import { keyOf } from "./rows.js";
import { refreshList, ticketList } from "./ticket_list.js";
import { counted, unitWords } from "./words.js";

// A usual truck load and half a step of it (common practice, no source).
const USUAL_LOAD = { yd3: "10", m3: "8", ft3: "270" };
const STEP = { yd3: "0.5", m3: "0.5", ft3: "10" };

// The clock is asked when a load is added: `now` returns a moment, or blank where it tells nothing.
export function placedPanel(row, draft, activity, change, now) {
  const key = keyOf(row);
  const loads = activity.measure === "concrete";
  const add = () => change((d) => addLoad(d, now()));
  const input = amountInput(key, draft, loads, change, add);
  const parts = [el("legend", {}, loads ? "Load tickets" : "Placed")];
  parts.push(loads ? stepper(key, draft, input, change) : field("Amount", input));
  const unit = unitChoice(key, draft, activity, change);
  parts.push(loads ? el("div", { class: "times" }, ticketField(key, draft, change, add), unit) : unit);
  if (loads) parts.push(addButton(key, draft, add));
  parts.push(el("p", { class: "tally", id: `tally-${key}`, "aria-live": "polite" }, tallyWords(row, draft, activity)));
  if (loads) parts.push(ticketList(key, draft, change)); // last, for on a long pour it is many rows
  return el("fieldset", { class: "detail" }, parts);
}

function amountInput(key, draft, loads, change, add) {
  const input = el("input", {
    id: `amount-${key}`, type: "text", inputmode: "decimal", autocomplete: "off", class: "input amount",
    value: draft.amount, placeholder: loads ? nextLoad(draft) : "", "aria-describedby": `tally-${key}`,
    oninput: () => change((d) => (d.amount = input.value), { redraw: false }),
    onkeydown: (event) => loads && onEnter(event, add),
  });
  return input;
}

// No number is proposed: one that only counts up would be wrong unnoticed when trucks overtake.
function ticketField(key, draft, change, add) {
  const input = el("input", {
    id: `ticket-${key}`, type: "text", autocomplete: "off", autocapitalize: "characters", class: "input amount",
    maxlength: 30, value: draft.ticket, placeholder: "optional", onkeydown: (event) => onEnter(event, add),
    oninput: () => change((d) => (d.ticket = input.value = ticketTyped(input.value)), { redraw: false }),
  });
  return field("Ticket no.", input);
}

function onEnter(event, act) {
  if (event.key !== "Enter") return;
  event.preventDefault();
  act();
}

function stepper(key, draft, input, change) {
  const step = (up) => change((d) => {
    const now = readAmount(d.amount);
    d.amount = now ? stepped(now, STEP[d.measure_unit] || "0.5", up) : nextLoad(d);
  });
  const button = (up, words, sign) => el("button", {
    type: "button", id: `step-${up ? "up" : "down"}-${key}`, class: "tap step", "aria-label": words,
    onclick: () => step(up),
  }, sign);
  return el("div", { class: "stepper" },
    button(false, "Less in this load", "−"), field("This load", input), button(true, "More in this load", "+"));
}

function unitChoice(key, draft, activity, change) {
  const options = activity.accepted_units.map((unit) =>
    el("option", { value: unit, selected: unit === draft.measure_unit }, unitWords(unit)));
  const select = el("select", {
    id: `unit-${key}`, class: "input", onchange: () => change((d) => (d.measure_unit = select.value)),
  }, options);
  return field("Unit", select);
}

function addButton(key, draft, add) {
  return el("button", { type: "button", id: `add-${key}`, class: "button", onclick: add }, addWords(draft));
}

function addWords(draft) {
  return draft.amount.trim() ? "Add this load" : `Add a load of ${nextLoad(draft)} ${unitWords(draft.measure_unit)}`;
}

// While digits are typed the panel stays as it is, and only its words follow.
export function refreshWords(row, draft, activity) {
  const say = (id, words) => {
    const node = part(`${id}-${keyOf(row)}`);
    if (node) node.textContent = words;
  };
  say("tally", tallyWords(row, draft, activity));
  say("add", addWords(draft));
  refreshList(keyOf(row), draft);
}

function addLoad(draft, now) {
  const load = draft.amount.trim() ? readAmount(draft.amount) : nextLoad(draft);
  if (load === null) return; // the tally says what is wrong
  draft.tickets.push(newLoad(load, { ticket: draft.ticket.trim(), time: now ? null : "", added: now }));
  Object.assign(draft, { amount: "", ticket: "", load_open: null });
}

function nextLoad(draft) {
  return readAmount(draft.tickets.at(-1)?.amount || "") || USUAL_LOAD[draft.measure_unit] || "10";
}

function tallyWords(row, draft, activity) {
  const amount = amountOf(draft);
  if (amount === null) return draft.amount.trim() || draft.tickets.length ? "This is no number above 0. Write it like 60.5." : "Nothing tallied yet.";
  const unit = unitWords(draft.measure_unit);
  const loads = draft.tickets.length + (draft.amount.trim() ? 1 : 0);
  const words = `${draft.tickets.length ? `${counted(loads, "load")}, ` : ""}${amount} ${unit}`;
  const after = placedAfter(row, draft, activity);
  if (!row.planned || after === null) return words;
  return `${words}; then ${shown(after)} of ${shown(row.planned)} ${unitWords(row.measure_unit)} planned.`;
}
