"""How fast the fold is, against a pandas group-by over the same frame, in one run.

Run: ``python -m tests.benchmarks.bench_fold [EVENTS] [UNITS]``
"""

from __future__ import annotations

import datetime as dt
import statistics
import sys
import time
from collections.abc import Callable

import numpy as np
import pandas as pd

from model.changes import changes
from model.events import EVENT_COLUMNS
from model.fold import fold
from model.log_arrays import LogArrays
from model.placed import by_day
from tests.model.builders import ACTIVITIES, a_job

DAYS = 270
AS_OF = dt.datetime(2026, 8, 1)


def a_big_log(events: int, units: list[str], seed: int = 1) -> pd.DataFrame:
    """Events drawn at random: the worst case, nothing is in order."""
    rng = np.random.default_rng(seed)
    seconds = rng.integers(0, DAYS * 86_400, events).astype("timedelta64[s]")
    start = np.datetime64("2026-03-02", "us")
    recorded = start + np.arange(events).astype("timedelta64[s]")
    keys = [activity.key for activity in ACTIVITIES]

    def drawn(words: list[str]) -> pd.Series:
        return pd.Series(np.array(words, dtype=object)[rng.integers(0, len(words), events)])

    frame = pd.DataFrame(
        {
            "event_id": pd.Series([f"event-{number:09d}" for number in range(events)]),
            "seq": np.arange(1, events + 1),
            "recorded_at": pd.Series(recorded).dt.tz_localize("UTC"),
            "at": start + seconds,
            "by": "R. Alder",
            "unit": drawn(units),
            "span": "",
            "activity": drawn(keys),
            "kind": drawn(["start", "place", "place", "place", "hold", "resume", "finish"]),
            "quantity": 1.0,
            "measure_unit": "m3",
            "reason": "",
            "note": "",
            "voids": "",
        }
    )
    return frame[list(EVENT_COLUMNS)]


def by_group(frame: pd.DataFrame) -> pd.DataFrame:
    """The plain way: the last status event of each cell and what was placed."""
    happened = frame[frame["at"] <= pd.Timestamp(AS_OF)]
    steps = happened[happened["kind"].isin(["start", "hold", "resume", "finish"])]
    last = steps.sort_values("at").groupby(["unit", "activity"])["kind"].last()
    placed = happened[happened["kind"] == "place"]
    return pd.DataFrame(
        {"kind": last, "placed": placed.groupby(["unit", "activity"])["quantity"].sum()}
    )


def milliseconds(task: Callable[[], object], runs: int = 5) -> float:
    """Median time of a task after one to warm up."""
    task()
    times = []
    for _ in range(runs):
        began = time.perf_counter()
        task()
        times.append(1000 * (time.perf_counter() - began))
    return statistics.median(times)


def main(events: int = 1_000_000, units: int = 1_000) -> None:
    """Print times and ratios."""
    job = a_job(units=units, spans=1)
    frame = a_big_log(events, list(job.units["unit"]))
    log = LogArrays(job, frame)
    fold(log, job)
    one = a_big_log(1, ["E01"]).assign(event_id="one more")
    known_on = dt.datetime(2026, 3, 5, tzinfo=dt.UTC)
    rows = log.present.rows
    plain = milliseconds(lambda: by_group(frame), runs=3)
    held = milliseconds(lambda: fold(log, job, as_of=AS_OF))
    tasks = {
        "copy of cells, times and kinds": lambda: [
            a.copy() for a in (rows.cell, rows.at_us, rows.kind)
        ],
        "fold, log held, another moment": lambda: fold(log, job, as_of=AS_OF),
        "fold, log held, known on a moment": lambda: fold(log, job, known_on=known_on),
        "lay out the whole frame and fold": lambda: fold(LogArrays(job, frame), job, as_of=AS_OF),
        "add one event and fold": lambda: fold(log.extend(one), job),
        "changes for the slider": lambda: changes(log, job),
        "placed and complete by day": lambda: by_day(log, job),
    }
    print(f"{events:,} events, {units:,} units × {len(ACTIVITIES)} activities")
    print(f"{'pandas group-by, frame held':<36} {plain:9.1f} ms")
    for name, task in tasks.items():
        took = milliseconds(task, runs=3)
        print(f"{name:<36} {took:9.1f} ms {plain / took:8.1f} × faster than the group-by")
    print(f"ratio, group-by to fold with the log held: {plain / held:.0f}")


if __name__ == "__main__":
    main(*(int(number) for number in sys.argv[1:]))
