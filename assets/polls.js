/* While the server owes a page an answer, the clock that asks for it stands still.

   Of two askings of one callback only the later answer is taken. A clock that ticks on would have
   each answer thrown away where the signal is thin or the server busy, and nothing would ever be
   shown. What an answer fills may ask in its turn (the log has grown: who lags now?); the clock
   waits for that too. It goes on whatever became of the asking: answered, refused, or lost. */
(function () {
  "use strict";
  const CALLBACKS = "/_dash-update-component";
  const LOST_MS = 30_000; /* what has not come by then is not waited for any longer */
  const ask = window.fetch;
  const owed = new Map(); /* callback → clocks that stand until it is answered */
  const filledBy = new Map(); /* property → clocks of what fills it */

  window.fetch = async function (...request) {
    const asking = readAsking(...request);
    const clocks = asking ? clocksOf(asking) : [];
    if (!clocks.length) return ask.apply(this, request);
    const goOn = standStill(asking.output, clocks);
    const giveUp = setTimeout(goOn, LOST_MS);
    try {
      const answer = await ask.apply(this, request);
      await answer.clone().arrayBuffer(); /* its beginning is not yet all of it */
      return answer;
    } finally {
      clearTimeout(giveUp);
      goOn();
    }
  };

  function readAsking(url, more) {
    const asks = String(url).includes(CALLBACKS) && typeof more?.body === "string";
    return asks ? JSON.parse(more.body) : null;
  }

  /* Its own clocks; those whose answer set it off; and those of an asking that this one replaces. */
  function clocksOf({ output, outputs, inputs, changedPropIds }) {
    const own = inputs.flat().filter(({ property }) => property === "n_intervals");
    const began = changedPropIds.flatMap((name) => [...(filledBy.get(name) || [])]);
    const ticked = own.filter(({ id }) => changedPropIds.includes(`${id}.n_intervals`));
    const behind = [...ticked.map(({ id }) => id), ...began];
    for (const { id, property } of [outputs].flat(2)) {
      if (behind.length) filledBy.set(`${id}.${property}`, new Set(behind));
    }
    return [...new Set([...own.map(({ id }) => id), ...began, ...(owed.get(output) || [])])];
  }

  /* Stop the clocks; what is returned lets them go on, unless the callback is asked anew by then. */
  function standStill(callback, clocks) {
    owed.set(callback, clocks);
    for (const clock of clocks) turn(clock, 0);
    return () => {
      if (owed.get(callback) !== clocks) return;
      owed.delete(callback);
      const awaited = [...owed.values()].flat();
      for (const clock of clocks) if (!awaited.includes(clock)) turn(clock, -1);
    };
  }

  /* A page that is left takes its clocks along. */
  function turn(clock, times) {
    if (isThere(clock)) window.dash_clientside.set_props(clock, { max_intervals: times });
  }

  function isThere(clock) {
    try {
      return Boolean(window.dash_component_api.getLayout(clock));
    } catch {
      return false; /* which is how it says so */
    }
  }
})();
