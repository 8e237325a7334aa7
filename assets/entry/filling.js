// What the person does while filling in: the shift, a row picked or cleared, weather lost.

import { part } from "./elements.js";
import { keyOf } from "./rows.js";
import { heldByWeather, noWeather } from "./weather.js";

export function setShift(page, name, value) {
  const { held } = page.drafts;
  if (name === "by") held.by = value;
  else held.shift = { ...page.shift(), [name]: value };
  if (name === "from") held.usualStart = value || "07:00";
  page.drafts.save();
  if (name !== "by") page.draw();
}

export function chooseHeading(page, key) {
  page.picked = [];
  page.weather = noWeather();
  page.drafts.set("heading", key);
  page.draw();
}

export function pick(page, key) {
  page.picked = [...new Set([key, ...page.picked])];
  page.drawRows();
  part(`card-${key}`)?.querySelector("button")?.focus();
}

export function clear(page, row) {
  page.drafts.drop([keyOf(row)]);
  page.problems = page.problems.filter((problem) => problem.key !== keyOf(row));
  page.draw();
}

export function setWeather(page, change) {
  Object.assign(page.weather, change);
  page.drawRows();
}

export function applyWeather(page, rows) {
  for (const row of rows) {
    heldByWeather(page.drafts.of(row, page.sheet.last_seq), page.weather, page.shift());
  }
  page.weather = noWeather();
  page.drafts.save();
  page.drawRows();
  part("review-open").focus();
}
