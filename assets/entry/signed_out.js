// Runs where somebody has just signed out. What this phone keeps of the log (the list, what was
// sent) tells what that person may see and has recorded, and is not for who takes the phone next.
// What was filled in or waits to be sent stays: nothing that a person typed is lost.

import { openKept } from "./kept.js";

const kept = await openKept();
for (const entry of await kept.entries()) {
  if (entry.state === "sent") await kept.removeEntry(entry.id);
}
await kept.forgetThing("sheet");
