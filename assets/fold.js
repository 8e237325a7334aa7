/* Status of every span and activity on a day, from the list of changes.

   Browser twin of `changes` in model/fold.py; tests/data/fold_cases.json holds for both.
   The store `changes` holds {hash, dates, labels, activities, n_spans, day, span, activity, status}:
   the last four are base64 of little-endian uint16, uint32, uint8, uint8 arrays, one entry a
   change, rising by day; a later entry of the same day wins. */
(function () {
  "use strict";
  const pourmap = (window.pourmap = window.pourmap || {});

  const KINDS = { uint8: Uint8Array, uint16: Uint16Array, uint32: Uint32Array };

  pourmap.decodeArray = function (base64, kind) {
    const text = atob(base64);
    const bytes = new Uint8Array(text.length);
    for (let i = 0; i < text.length; i++) bytes[i] = text.charCodeAt(i);
    return new KINDS[kind](bytes.buffer);
  };

  pourmap.readChanges = function (store) {
    return {
      hash: store.hash,
      dates: store.dates,
      labels: store.labels,
      activities: store.activities,
      nSpans: store.n_spans,
      day: pourmap.decodeArray(store.day, "uint16"),
      span: pourmap.decodeArray(store.span, "uint32"),
      activity: pourmap.decodeArray(store.activity, "uint8"),
      status: pourmap.decodeArray(store.status, "uint8"),
    };
  };

  /* Number of changes up to and with `day`. */
  function countUntil(days, day) {
    let low = 0;
    let high = days.length;
    while (low < high) {
      const middle = (low + high) >> 1;
      if (days[middle] <= day) low = middle + 1;
      else high = middle;
    }
    return low;
  }

  /* Statuses as one array, activity after activity: entry a·nSpans + s. */
  pourmap.statusesAt = function (changes, day) {
    const { span, activity, status, nSpans } = changes;
    const statuses = new Uint8Array(changes.activities.length * nSpans);
    const count = countUntil(changes.day, day);
    for (let i = 0; i < count; i++) statuses[activity[i] * nSpans + span[i]] = status[i];
    return statuses;
  };
})();
