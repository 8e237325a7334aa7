// Photos and documents chosen for a row: kept on this phone until they are sent.

import { el, field, part } from "./elements.js";
import { newId } from "./identifiers.js";
import { keyOf } from "./rows.js";

const MIB = 2 ** 20;
const LARGEST = 10 * MIB;
const KEPT_AS_SENT = "Kept as it is: a photo may tell where, when and with which phone it was taken.";
const TOO_LARGE = "A file of more than 10 MB cannot be sent.";
const TAKEN = "image/jpeg,image/png,image/webp,image/heic,application/pdf";

export function filesField(row, draft, app, change) {
  const key = keyOf(row);
  const input = el("input", {
    id: `file-${key}`, type: "file", class: "input", accept: TAKEN, multiple: true,
    onchange: async () => {
      const chosen = [...input.files];
      const small = chosen.filter((file) => file.size <= LARGEST);
      const held = await Promise.all(small.map((file) => keep(file, app.kept)));
      const words = small.length < chosen.length ? TOO_LARGE : "";
      change((d) => {
        d.files.push(...held);
        d.files_said = words;
      }, { redraw: held.length > 0 });
      say(key, words);
    },
  });
  const said = el("span", { id: `files-said-${key}`, class: "field-hint", role: "status" }, draft.files_said);
  return el("div", {}, field("Photo or document", input, KEPT_AS_SENT), said, list(key, draft, change));
}

// The row may have been drawn anew while the files were written down.
function say(key, words) {
  const said = part(`files-said-${key}`);
  if (said) said.textContent = words;
}

async function keep(file, kept) {
  const id = newId();
  await kept.putFile(id, file);
  return { id, name: file.name };
}

function list(key, draft, change) {
  const items = draft.files.map((file, position) => el("li", {}, el("span", {}, file.name), el("button", {
    type: "button", id: `unattach-${key}-${position}`, class: "tap quiet-tap",
    onclick: () => change((d) => d.files.splice(position, 1)),
  }, removeWords(file))));
  return items.length ? el("ul", { class: "tickets files" }, items) : null;
}

function removeWords({ id, name }) {
  if (!id) return "Remove what was attached earlier";
  return `Remove the ${name.toLowerCase().endsWith(".pdf") ? "document" : "photo"} ${name}`;
}

// The ids of all files that something here still names.
export function filesInUse(drafts, entries) {
  const unsent = entries.filter((entry) => entry.state !== "sent");
  const named = [...drafts, ...unsent.flatMap((entry) => entry.drafts)];
  return new Set(named.flatMap((draft) => draft.files || []).map((file) => file.id));
}
