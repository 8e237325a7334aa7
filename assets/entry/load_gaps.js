// Gaps between loads: where concrete waited for the next truck, a cold joint may have formed.

import { momentOf, wall } from "./site_clock.js";

const MINUTE = 60_000;

// Returns pairs { from, to, between } of places in the list, `between` how many loads without a
// time stand between the two: had even these come evenly, one gap would be longer than the limit.
export function longGaps(loads, shift, limit) {
  const timed = loads
    .map(({ time }, place) => ({ place, time, at: time && wall(momentOf(shift, time)) }))
    .filter(({ time }) => time)
    .sort((a, b) => a.at - b.at || a.place - b.place);
  return timed.slice(1)
    .map((to, position) => ({ from: timed[position], to, between: untimed(loads, timed[position].place, to.place) }))
    .filter(({ from, to, between }) => (to.at - from.at) / MINUTE / (between + 1) > limit);
}

function untimed(loads, one, other) {
  return loads.slice(Math.min(one, other) + 1, Math.max(one, other)).filter(({ time }) => !time).length;
}
