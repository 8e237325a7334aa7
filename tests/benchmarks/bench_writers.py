"""Many who write at once: how many events a second, and what the slowest of them gets.

Run: ``python -m tests.benchmarks.bench_writers [SECONDS] [FOLDER]``.

Everything is set beside one plain SQLite writer with full synchronisation, measured in the
same run: rounds take turns, and each row is the median of its rounds. Held to: with 8 writers
at least twice the plain writer's events a second, the slowest writer at least half of its fair
share, no write over 50 ms.
"""

from __future__ import annotations

import datetime as dt
import http.client
import itertools
import json
import sqlite3
import subprocess
import sys
import tempfile
import uuid
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from pathlib import Path

import numpy as np
import pandas as pd

from dashboard.demo import open_demo
from model.acceptance import judge
from model.events import EVENT_COLUMNS, Event, Kind
from model.job import Job
from model.problems import Problem
from model.sequence import Line
from model.store import Store, open_store
from model.store.rows import to_row
from tests.benchmarks.at_once import Round, Server, Write, at_once, store_writer
from tests.model.builders import NOW, a_job, an_event
from tests.model.store.writer_process import a_note

WRITERS = 8
ROUNDS = 3
LOGGED = 100_000
UNITS = 1_000
HOLDS_FROM = dt.datetime(2026, 6, 1)


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
        row = list(to_row(a_note(str(uuid.uuid4())), 0, "2026-03-02T08:00:00.000000Z"))
        row[EVENT_COLUMNS.index("seq")] = None
        connection.execute(insert, row)

    return write


def judged_writers(log: Store, job: Job, count: int) -> list[Write]:
    """Writers who each have units of their own and put work on hold and on again."""
    line = Line(job)
    units = np.array_split(job.units["unit"].to_numpy(), count)

    def look(new: Sequence[Event], frame: pd.DataFrame) -> list[Problem]:
        return judge(new, frame, job, now_local=NOW, line=line)

    def writer(mine: Sequence[str]) -> Write:
        told = itertools.count()

        def event(number: int) -> Event:
            turn, at = divmod(number, 2)
            unit = mine[turn % len(mine)]
            moment = HOLDS_FROM + dt.timedelta(seconds=number)
            return an_event("resume" if at else "hold", moment, unit)

        return lambda _: log.append([event(next(told))], judge=look)

    return [writer(mine) for mine in units]


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


def http_writers(address: str, units: Sequence[str]) -> list[Write]:
    """Clients of the one door for writing, each on a connection that is kept open."""
    host = address.removeprefix("http://").strip("/")

    def writer(number: int) -> Write:
        connection = http.client.HTTPConnection(host, timeout=60)

        def write(turn: int) -> None:
            event = {
                "event_id": str(uuid.uuid4()), "at": "2026-03-02T08:00", "by": f"W. Reed {number}",
                "unit": units[(turn * WRITERS + number) % len(units)], "span": "", "activity": "",
                "kind": "note", "note": "concrete truck late",
            }  # fmt: skip
            body = json.dumps({"events": [event]})
            connection.request("POST", "/api/events", body, {"Content-Type": "application/json"})
            answer = connection.getresponse()
            said = answer.read()
            assert answer.status == 200, said

        return write

    return [writer(number) for number in range(WRITERS)]


@contextmanager
def dashboard(folder: Path) -> Iterator[str]:
    """The demo's folder, served by a program of its own; gives the address."""
    command = "from dashboard.command import main; main()"
    process = subprocess.Popen(
        [sys.executable, "-c", command, "serve", str(folder), "--port", "0", "--no-open"],
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
        job = a_job(units=UNITS, spans=3)
        held = stack.enter_context(long_log(place / "long.sqlite", job))
        one, *many = judged_writers(held, job, WRITERS + 1)
        project = open_demo(place / "demo")
        units = list(project.job.units["unit"])
        project.close()
        clients = http_writers(stack.enter_context(dashboard(place / "demo")), units)
        by = f"{WRITERS} writers"
        rounds = rounds_of(
            {
                "one plain writer": lambda: at_once([plain], s),
                f"{WRITERS} plain writers": lambda: at_once(contended, s),
                "the store, one writer": lambda: at_once([store_writer(log)], s),
                f"the store, {by}": lambda: at_once([store_writer(log)] * WRITERS, s),
                f"2 servers, {by} in all": lambda: servers(place / "log.sqlite", s, 2, "shut"),
                f"4 servers, {by} in all": lambda: servers(place / "log.sqlite", s, 4, "shut"),
                "the same without the gate": lambda: servers(place / "log.sqlite", s, 4, "open"),
                "judged, one writer": lambda: at_once([one], s),
                f"judged, {by}": lambda: at_once(many, s),
                f"over HTTP, judged, {by}": lambda: at_once(clients, s),
            }
        )
        base = show("one plain writer", rounds.pop("one plain writer"))
        for row, measured in rounds.items():
            show(row, measured, base)
        print(f"judged: with {held.last_seq():,} events held; over HTTP: the demo's log")


if __name__ == "__main__":
    main(*sys.argv[1:])
