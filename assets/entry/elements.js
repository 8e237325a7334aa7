// Builds page elements. Words from people only ever become text, never markup.

export const part = (id) => document.getElementById(id);

export function el(tag, attributes = {}, ...children) {
  const node = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) setAttribute(node, name, value);
  node.append(...children.flat().filter((child) => child !== null && child !== undefined));
  return node;
}

function setAttribute(node, name, value) {
  if (value === false || value === null || value === undefined) return;
  if (name.startsWith("on")) node.addEventListener(name.slice(2), value);
  else if (name === "value") node.value = value;
  else if (name === "checked" || name === "disabled" || name === "hidden") node[name] = value;
  else node.setAttribute(name, value === true ? "" : value);
}

// Leaves the second tap of a double tap alone: wet fingers would undo what they just ticked.
export function onOneTap(act) {
  return (event) => event.detail > 1 || act(event);
}

// Puts new children into a node and leaves the person's place on the page where it was.
export function redraw(node, ...children) {
  const active = document.activeElement;
  const id = node.contains(active) ? active.id : "";
  node.replaceChildren(...children.flat().filter(Boolean));
  if (id) document.getElementById(id)?.focus({ preventScroll: true });
}

export function statusChip(status, looks) {
  const look = looks.find((each) => each.status === status);
  const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  svg.setAttribute("viewBox", "0 0 16 16");
  svg.setAttribute("class", "chip-mark");
  svg.setAttribute("aria-hidden", "true");
  const path = document.createElementNS(svg.namespaceURI, "path");
  path.setAttribute("d", look.mark);
  path.setAttribute("fill", "currentColor");
  path.setAttribute("fill-rule", "evenodd");
  svg.append(path);
  return el("span", { class: `status-chip chip-${status}` }, svg, look.words);
}

export function field(label, control, hint = "") {
  const words = el("span", { class: "field-label" }, label);
  return el("label", { class: "entry-field" }, words, control, hint && el("span", { class: "field-hint" }, hint));
}
