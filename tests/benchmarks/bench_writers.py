"""Many who write at once: how many events a second, and what the slowest of them gets.

Run: ``python -m tests.benchmarks.bench_writers [SECONDS] [FOLDER]``.

Everything is set beside one plain SQLite writer with full synchronisation who writes one event
in each transaction, measured in the same run: rounds take turns, and each row shows the medians
of its rates and of its ratios, each to the plain writer of the same round, for a disk that others
use changes from second to second. Held to, with 8 writers: at least twice the plain writer's
events a second, the slowest writer at least half of its fair share, no write over 50 ms. A row of
whole shifts sends 12 events in one request, as a phone does at the end of a shift; its events are
counted, and its times are those of a request.

Whole shifts, which is what the entry page sends, reached 3.5 to 3.9 times the plain writer.
Single entries did not reach twice beside a disk that brings a block home in 0.1 ms: 1.2 to 1.5
times, for to judge an event and to wake who waits for it takes about 0.1 ms of Python, which one
thread does at a time. With nobody judging, the same door made 1.6 times, so that this is not for
a quicker judge to mend. They did whenever the disk was slow: 3 times and more with a plain writer
at 300 to 1,300 a second. So the bare disk stands above: one block overwritten and brought to it,
over and over.
"""

from __future__ import annotations

import datetime as dt
import os
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import uuid
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any

import numpy as np

from dashboard.demo import open_demo
from dashboard.serving import keep_for_good
from model.events import EVENT_COLUMNS, Kind
from model.job import Job
from model.project import Project
from model.store import Store, open_store
from model.store.rows import to_row
from tests.benchmarks.at_once import Round, Server, Write, at_once, store_writer
from tests.benchmarks.shift_writers import (
    EVENTS_OF_A_SHIFT,
    Place,
    door_writers,
    http_writers,
    shared_out,
    single_entries,
    whole_shifts,
)
from tests.model.builders import a_job, an_event
from tests.model.store.writer_process import a_note

WRITERS = 8
BY = f"{WRITERS} writers"
ROUNDS = 7
LOGGED = 100_000
UNITS = 1_000
HOLDS_FROM = dt.datetime(2026, 6, 1)
NOW_UTC = dt.datetime(2027, 1, 4, 20, tzinfo=dt.UTC)

Rows = dict[str, tuple[Callable[[], Round], int]]
"""What each row measures, and how many events its requests have."""


def show(name: str, rounds: Sequence[Round], plain: Sequence[Round], each: int = 1) -> None:
    """Print one row of requests with ``each`` so many events."""
    rates = each * np.array([one.rate for one in rounds])
    ratios = rates / [one.rate for one in plain]
    every = np.concatenate([took for one in rounds for took in one.took_ms])
    p50, p95 = np.percentile(every, [50, 95])
    share = min(one.slowest_share for one in rounds)
    over = 100 * np.mean(every > 50)
    print(f"{name:<44} {np.median(rates):8,.0f}/s {np.median(ratios):5.2f}×  p50 {p50:6.2f}  "
          f"p95 {p95:6.2f}  max {every.max():7.2f} ms ({over:.3f}% over 50)  "
          f"slowest {share:4.2f} of its share")  # fmt: skip


def plain_writer(path: Path, each: int = 1) -> Write:
    """So many events in one transaction, with nothing around it."""
    connection = sqlite3.connect(path, isolation_level=None, check_same_thread=False, timeout=60)
    connection.execute("PRAGMA synchronous = FULL")
    connection.execute("PRAGMA journal_mode = WAL")
    marks = ", ".join("?" * len(EVENT_COLUMNS))
    columns = ", ".join(f'"{name}"' for name in EVENT_COLUMNS)
    insert = f"INSERT INTO events ({columns}) VALUES ({marks})"

    def row() -> list[Any]:
        row = list(to_row(a_note(str(uuid.uuid4())), 0, "2026-03-02T08:00:00.000000Z"))
        row[EVENT_COLUMNS.index("seq")] = None
        return row

    def one(_: int) -> None:
        connection.execute(insert, row())

    def several(_: int) -> None:
        connection.execute("BEGIN IMMEDIATE")
        connection.executemany(insert, [row() for _ in range(each)])
        connection.execute("COMMIT")

    return one if each == 1 else several


def bare_disk(path: Path) -> Write:
    """A block of 4 kB, overwritten in place and brought to the disk."""
    handle = os.open(path, os.O_RDWR | os.O_CREAT)
    to_disk = getattr(os, "fdatasync", os.fsync)  # what SQLite asks for, where there is one

    def one(number: int) -> None:
        os.pwrite(handle, number.to_bytes(4, "little") * 1024, 0)
        to_disk(handle)

    return one


def long_log(path: Path, job: Job) -> Store:
    """A log of 100,000 events, 100 on every unit."""
    log = open_store(path)
    units = list(job.units["unit"])
    log.append([an_event("start", unit=unit) for unit in units])
    each = LOGGED // len(units) - 1
    for number in range(each):
        moment = dt.datetime(2026, 3, 3) + dt.timedelta(hours=number)
        kind: Kind = "resume" if number % 2 else "hold"
        if number < each - each % 2:
            log.append([an_event(kind, moment, unit) for unit in units])
    return log


def servers(path: Path, seconds: float, count: int, gate: str) -> Round:
    """Several programs write to one log at once, 8 threads in all."""
    running = [Server(path, seconds, WRITERS // count, gate) for _ in range(count)]
    for server in running:
        server.ready()
    for server in running:
        server.go()
    return Round([took for server in running for took in server.came()], seconds)


def places_to_go_on(project: Project) -> list[Place]:
    """Return every unit that is not finished, with an activity that neither is nor is held."""
    units = project.state().units
    open_ones = units[units["status"].isin(["under_way", "not_started"])]
    last = open_ones.drop_duplicates("unit", keep="last")
    return list(zip(last["unit"], last["activity"], strict=True))


@contextmanager
def dashboard(folder: Path) -> Iterator[str]:
    """The demo, served by a program of its own; gives the address."""
    command = "from dashboard.command import main; main()"
    process = subprocess.Popen(
        [sys.executable, "-c", command, "demo", "--folder", str(folder), "--port", "0",
         "--no-open"],
        stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert process.stdout is not None
    try:
        yield next(line.split()[1] for line in process.stdout if line.startswith("serving "))
    finally:
        process.terminate()
        process.wait()


def rounds_of(rows: dict[str, Callable[[], Round]]) -> dict[str, list[Round]]:
    """Run every row in turn, several times, so that a busy minute hits all alike."""
    rounds: dict[str, list[Round]] = {name: [] for name in rows}
    for _ in range(ROUNDS):
        for name, measure in rows.items():
            rounds[name].append(measure())
    return rounds


def just_opened(log: Path, job: Job, s: float) -> Round:
    """The door of a program that has just been started and knows no unit yet."""
    path = Path(shutil.copy(log, log.with_name("opened.sqlite")))
    with Project(path.parent, job, open_store(path), lambda: NOW_UTC) as project:
        places = [(unit, "falsework") for unit in job.units["unit"]]
        after = project.log().events["at"].max().to_pydatetime()
        keep_for_good()  # as the program that serves does
        return at_once(door_writers(project, places, after, WRITERS, single_entries), s)


def main(seconds: str = "0.5", folder: str | None = None) -> None:
    """Print rates, times, shares and ratios."""
    s = float(seconds)
    with tempfile.TemporaryDirectory(dir=folder) as name, ExitStack() as stack:
        place = Path(name)
        log = stack.enter_context(open_store(place / "log.sqlite"))
        for other in ("plain.sqlite", "contended.sqlite"):
            open_store(place / other).close()  # the same table, indexes and triggers
        plain = plain_writer(place / "plain.sqlite")
        plain_shift = plain_writer(place / "plain.sqlite", EVENTS_OF_A_SHIFT)
        contended = [plain_writer(place / "contended.sqlite") for _ in range(WRITERS)]
        block = bare_disk(place / "block")
        rows: Rows = {
            "the bare disk, a block at a time": (lambda: at_once([block], s), 1),
            "one plain writer": (lambda: at_once([plain], s), 1),
            f"{WRITERS} plain writers": (lambda: at_once(contended, s), 1),
            "the store, one writer": (lambda: at_once([store_writer(log)], s), 1),
            f"the store, {BY}": (lambda: at_once([store_writer(log)] * WRITERS, s), 1),
            f"2 servers, {BY} in all": (
                lambda: servers(place / "log.sqlite", s, 2, "shut"), 1),
            f"4 servers, {BY} in all": (
                lambda: servers(place / "log.sqlite", s, 4, "shut"), 1),
            "the same without the gate": (
                lambda: servers(place / "log.sqlite", s, 4, "open"), 1),
        }  # fmt: skip
        rows |= door_rows(stack, place, s)
        rows["one plain writer, 12 in each transaction"] = (
            lambda: at_once([plain_shift], s), EVENTS_OF_A_SHIFT)  # fmt: skip
        rows |= http_rows(stack, place, s)
        load = os.getloadavg()[0]
        rounds = rounds_of({name: measure for name, (measure, _) in rows.items()})
        for row, measured in rounds.items():
            show(row, measured, rounds["one plain writer"], rows[row][1])
        print(f"{os.cpu_count()} cores; load before {load:.1f}, after {os.getloadavg()[0]:.1f}")


def door_rows(stack: ExitStack, place: Path, s: float) -> Rows:
    """The door without HTTP, on a log of 100,000 events."""
    job = a_job(units=UNITS, spans=3)
    long_log(place / "long.sqlite", job).close()
    shutil.copy(place / "long.sqlite", place / "before.sqlite")
    project = Project(place, job, open_store(place / "long.sqlite"), lambda: NOW_UTC)
    stack.enter_context(project).prepare()
    keep_for_good()  # as the program that serves does
    places = [(unit, "falsework") for unit in job.units["unit"]]
    each = shared_out(places, 3)
    one = door_writers(project, each[0], HOLDS_FROM, 1, single_entries)
    many = door_writers(project, each[1], HOLDS_FROM, WRITERS, single_entries)
    shifts = door_writers(project, each[2], HOLDS_FROM, WRITERS, whole_shifts)
    return {
        "the door, judged, one writer": (lambda: at_once(one, s), 1),
        f"the door, judged, {BY}": (lambda: at_once(many, s), 1),
        "the same, the program just opened": (
            lambda: just_opened(place / "before.sqlite", job, s), 1),
        f"the same, whole shifts of {EVENTS_OF_A_SHIFT}": (
            lambda: at_once(shifts, s), EVENTS_OF_A_SHIFT),
    }  # fmt: skip


def http_rows(stack: ExitStack, place: Path, s: float) -> Rows:
    """The door over HTTP, on the demo's log."""
    with open_demo(place / "demo") as project:
        places = places_to_go_on(project)
        after = project.now() - dt.timedelta(minutes=50)  # later than all that the log tells
    address = stack.enter_context(dashboard(place / "demo"))
    half = shared_out(places, 2)
    singles = http_writers(address, half[0], after, WRITERS, single_entries)
    shifts = http_writers(address, half[1], after, WRITERS, whole_shifts)
    return {
        f"over HTTP, judged, {BY}": (lambda: at_once(singles, s), 1),
        f"the same, whole shifts of {EVENTS_OF_A_SHIFT}, over HTTP": (
            lambda: at_once(shifts, s), EVENTS_OF_A_SHIFT),
    }  # fmt: skip


if __name__ == "__main__":
    main(*sys.argv[1:])
