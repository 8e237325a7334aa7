"""How fast events are confirmed: one writer, a SQLite file with full synchronisation.

Run: ``python -m tests.benchmarks.bench_store [FOLDER]`` (the folder says which disk).

The floor is what the disk allows: overwriting 4 kB and waiting until it is on the disk.
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from model.acceptance import judge
from model.events import Event
from model.sequence import Line
from model.store import Store, open_store
from tests.benchmarks.bench_fold import milliseconds
from tests.model.builders import NOW, a_job, an_event

APPENDS = 2_000
EVENTS = 100_000
UNITS = 1_000


def each(task: Callable[[int], object], times: int) -> np.ndarray:
    """Return the milliseconds of each of many runs."""
    took = np.empty(times)
    for number in range(times):
        began = time.perf_counter()
        task(number)
        took[number] = 1000 * (time.perf_counter() - began)
    return took


def show(name: str, took: np.ndarray) -> float:
    """Print one row; return the rate a second."""
    rate = 1000 * len(took) / took.sum()
    p50, p95 = np.percentile(took, [50, 95])
    print(f"{name:<34} {rate:9,.0f} a second  p50 {p50:6.2f}  p95 {p95:6.2f}  "
          f"max {took.max():7.2f} ms")  # fmt: skip
    return rate


def disk_floor(folder: Path) -> np.ndarray:
    """Overwrite 4 kB and wait for the disk, again and again."""
    page = os.urandom(4096)
    handle = os.open(folder / "floor", os.O_RDWR | os.O_CREAT)

    def write(_: int) -> None:
        os.pwrite(handle, page, 0)
        os.fdatasync(handle)

    try:
        os.pwrite(handle, page, 0)
        return each(write, APPENDS)
    finally:
        os.close(handle)


def notes(count: int) -> list[Event]:
    """Notes on one unit after another."""
    return [
        an_event("note", unit=f"E{number % UNITS + 1:02d}", note="concrete truck late")
        for number in range(count)
    ]


def appends(log: Store, judged: bool, times: int) -> np.ndarray:
    """Append one event at a time; notes, so that every one is accepted."""
    job = a_job(units=UNITS)
    line = Line(job)
    events = notes(times)

    def look(new: object, frame: object) -> object:
        return judge(new, frame, job, now_local=NOW, line=line)

    return each(lambda n: log.append([events[n]], judge=look if judged else None), times)


def main(folder: str | None = None) -> None:
    """Print rates, times and ratios."""
    with tempfile.TemporaryDirectory(dir=folder) as name:
        place = Path(name)
        floor = show("floor: 4 kB and fdatasync", disk_floor(place))
        with open_store(place / "log.sqlite") as log:
            rate = show("one writer, one event each", appends(log, False, APPENDS))
            print(f"{'share of the floor':<34} {rate / floor:9.2f}")
            show("the same, judged", appends(log, True, 300))
            batch = notes(EVENTS)
            took = each(lambda _: log.append(batch), 1)
            print(f"{'batch of 100,000':<34} {took[0]:9,.0f} ms")
            show(f"judged, with {log.last_seq():,} held", appends(log, True, 100))
        with open_store(place / "log.sqlite") as log:
            first = each(lambda _: log.frame(), 1)[0]
            held = milliseconds(log.frame)
            print(f"{'frame of 100,000, first / held':<34} {first:9.0f} / {held:.2f} ms")


if __name__ == "__main__":
    main(*sys.argv[1:])
