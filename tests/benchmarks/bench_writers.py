"""Many who write at once: how many events a second, and what the slowest of them gets.

Run: ``python -m tests.benchmarks.bench_writers [SECONDS] [FOLDER]``.

Everything is set beside one plain SQLite writer with full synchronisation, measured in the
same run: rounds take turns, and each row is the median of its rounds. Held to: with 8 writers
at least twice the plain writer's events a second, the slowest writer at least half of its fair
share, no write over 50 ms.
"""

from __future__ import annotations

import sqlite3
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from model.events import EVENT_COLUMNS, Event
from model.store import Store, open_store
from model.store.rows import to_row
from tests.model.builders import an_event

WRITERS = 8
ROUNDS = 5
LOGGED = 100_000
UNITS = 1_000

Write = Callable[[int], object]
"""Writes one event and returns when it is confirmed."""


@dataclass(frozen=True)
class Round:
    """What one round of writers came to: milliseconds of each write, by writer."""

    took_ms: Sequence[np.ndarray]
    seconds: float

    @property
    def rate(self) -> float:
        return sum(map(len, self.took_ms)) / self.seconds

    @property
    def slowest_share(self) -> float:
        counts = [len(took) for took in self.took_ms]
        return min(counts) / (sum(counts) / len(counts))


def at_once(writers: Sequence[Write], seconds: float) -> Round:
    """Let writers write as fast as they can, each in a thread of its own."""
    ready = threading.Barrier(len(writers) + 1)
    took: list[list[float]] = [[] for _ in writers]

    def run(write: Write, mine: list[float]) -> None:
        ready.wait()
        now, until = time.perf_counter(), time.perf_counter() + seconds
        while now < until:
            write(len(mine))
            began, now = now, time.perf_counter()
            mine.append(1000 * (now - began))

    threads = [threading.Thread(target=run, args=pair) for pair in zip(writers, took, strict=True)]
    for thread in threads:
        thread.start()
    ready.wait()
    began = time.perf_counter()
    for thread in threads:
        thread.join()
    return Round([np.array(mine) for mine in took], time.perf_counter() - began)


def show(name: str, rounds: Sequence[Round], plain: float | None = None) -> float:
    """Print one row; return its rate."""
    rate = float(np.median([one.rate for one in rounds]))
    every = np.concatenate([took for one in rounds for took in one.took_ms])
    p50, p95 = np.percentile(every, [50, 95])
    share = min(one.slowest_share for one in rounds)
    times = f"{rate / plain:5.2f}×" if plain else "      "
    print(f"{name:<44} {rate:8,.0f}/s {times}  p50 {p50:6.2f}  p95 {p95:6.2f}  "
          f"max {every.max():7.2f} ms  slowest {share:4.2f} of its share")  # fmt: skip
    return rate


def plain_writer(path: Path) -> Write:
    """One event in one transaction, with nothing around it."""
    connection = sqlite3.connect(path, isolation_level=None, check_same_thread=False, timeout=60)
    connection.execute("PRAGMA synchronous = FULL")
    connection.execute("PRAGMA journal_mode = WAL")
    marks = ", ".join("?" * len(EVENT_COLUMNS))
    columns = ", ".join(f'"{name}"' for name in EVENT_COLUMNS)
    insert = f"INSERT INTO events ({columns}) VALUES ({marks})"

    def write(_: int) -> None:
        row = list(to_row(a_note(), 0, "2026-03-02T08:00:00.000000Z"))
        row[EVENT_COLUMNS.index("seq")] = None
        connection.execute(insert, row)

    return write


def a_note(unit: str = "E01") -> Event:
    return an_event("note", unit=unit, note="concrete truck late")


def store_writer(log: Store) -> Write:
    return lambda _: log.append([a_note()])


def rounds_of(rows: dict[str, Callable[[], Round]]) -> dict[str, list[Round]]:
    """Run every row in turn, several times, so that a busy minute hits all alike."""
    rounds: dict[str, list[Round]] = {name: [] for name in rows}
    for _ in range(ROUNDS):
        for name, measure in rows.items():
            rounds[name].append(measure())
    return rounds


def main(seconds: str = "1", folder: str | None = None) -> None:
    """Print rates, times, shares and ratios."""
    s = float(seconds)
    with tempfile.TemporaryDirectory(dir=folder) as name, ExitStack() as stack:
        place = Path(name)
        log = stack.enter_context(open_store(place / "log.sqlite"))
        for other in ("plain.sqlite", "contended.sqlite"):
            open_store(place / other).close()  # the same table, indexes and triggers
        plain = plain_writer(place / "plain.sqlite")
        contended = [plain_writer(place / "contended.sqlite") for _ in range(WRITERS)]
        rounds = rounds_of(
            {
                "one plain writer": lambda: at_once([plain], s),
                f"{WRITERS} plain writers": lambda: at_once(contended, s),
                "the store, one writer": lambda: at_once([store_writer(log)], s),
                f"the store, {WRITERS} writers": lambda: at_once([store_writer(log)] * WRITERS, s),
            }
        )
        base = show("one plain writer", rounds.pop("one plain writer"))
        for row, measured in rounds.items():
            show(row, measured, base)


if __name__ == "__main__":
    main(*sys.argv[1:])
