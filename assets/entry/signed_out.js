// Runs where somebody has just signed out. The list that this phone keeps tells what that person
// may see and has recorded, and is not for who takes the phone next. What was filled in or waits
// to be sent stays: nothing that a person typed is lost.

import { openKept } from "./kept.js";

const kept = await openKept();
await kept.forgetThing("sheet");
