// The sheet of what can be recorded: fresh when there is signal, else the last one kept.

import { fetchSheet } from "./door.js";
import { SiteClock } from "./site_clock.js";

export async function keptSheet(kept) {
  const held = await kept.thing("sheet");
  return held ? withClock(held) : null;
}

// Returns { status, held }: held is the new sheet, or null where none came, or a newer one came
// before it (isNewest says so when the answer is there).
export async function freshSheet(kept, by, isNewest) {
  const answer = await fetchSheet(by);
  if (answer?.status !== 200 || !answer.body) return { status: answer ? answer.status : 0, held: null };
  if (!isNewest()) return { status: 200, held: null };
  const held = { sheet: answer.body, cameAt: Date.now() };
  await kept.putThing("sheet", held);
  return { status: 200, held: withClock(held) };
}

function withClock({ sheet, cameAt }) {
  return { sheet, cameAt, clock: new SiteClock(sheet.as_of, cameAt) };
}
