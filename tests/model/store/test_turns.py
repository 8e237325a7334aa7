"""Writers who queue up, and the group that goes to the disk together."""

from __future__ import annotations

import os
import signal
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from unittest.mock import patch

import pytest

from model.clock import utc_now
from model.problems import Problem, RefusedEvents, StoreError
from model.store.sqlite import SqliteStore
from model.store.turns import Turns
from model.unit_log import LogView
from tests.model.builders import an_event

PATIENCE_S = 30.0


def until(condition: Callable[[], object]) -> None:
    """Wait for a condition; other threads run meanwhile."""
    deadline = time.monotonic() + PATIENCE_S
    while not condition():
        assert time.monotonic() < deadline, "waited in vain"
        threading.Event().wait(0.001)


class Counter:
    """Serves errands; the first group waits until it is let go."""

    def __init__(self, **options: int) -> None:
        self.groups: list[list[int]] = []
        self.go = threading.Event()
        self.turns: Turns[int] = Turns(self.serve, **options)
        self.threads: list[threading.Thread] = []

    def serve(self, errands: Sequence[int]) -> None:
        self.groups.append(list(errands))
        assert self.go.wait(PATIENCE_S)

    def send(self, errand: int) -> None:
        """Send an errand in a thread of its own and wait until it stands in the queue."""
        waiting = len(self.turns._queue)
        self.threads.append(threading.Thread(target=self.turns.run, args=(errand,)))
        self.threads[-1].start()
        if errand:
            until(lambda: len(self.turns._queue) == waiting + 1)
        else:
            until(lambda: self.groups)

    def finish(self) -> list[list[int]]:
        self.go.set()
        for thread in self.threads:
            thread.join(PATIENCE_S)
            assert not thread.is_alive()
        return self.groups


def test_those_who_wait_go_together_in_the_order_they_came():
    counter = Counter()
    for errand in range(6):
        counter.send(errand)
    assert counter.finish() == [[0], [1, 2, 3, 4, 5]]


def test_a_long_queue_goes_in_groups_that_keep_its_order():
    counter = Counter(at_most=3)
    for errand in range(8):
        counter.send(errand)
    assert counter.finish() == [[0], [1, 2, 3], [4, 5, 6], [7]]


def test_who_is_back_goes_with_those_who_came_meanwhile(monkeypatch: pytest.MonkeyPatch):
    # Else two halves would take turns for ever, each waiting for the other's trip.
    monkeypatch.setattr("model.store.turns.GATHERING_S", PATIENCE_S)
    counter = Counter()
    for errand in range(2):
        counter.send(errand)
    counter.go.set()
    until(lambda: counter.turns._awaits == 2)
    counter.turns.run(2)
    assert counter.finish() == [[0], [1, 2]]


def test_who_comes_alone_does_not_wait():
    counter = Counter()
    counter.go.set()
    counter.turns.run(1)
    counter.turns.run(2)
    assert counter.groups == [[1], [2]]


@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
def test_when_the_work_breaks_off_nobody_waits_for_ever_and_the_next_are_served():
    done: list[int] = []

    def serve(errands: Sequence[int]) -> None:
        if 1 in errands:
            raise SystemExit  # ends the thread without a word
        done.extend(errands)

    turns: Turns[int] = Turns(serve)
    turns.run(1)
    turns.run(2)
    assert done == [2]


@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
def test_those_who_come_while_the_work_breaks_off_are_served():
    counter = Counter()
    serve = counter.serve

    def break_off(errands: Sequence[int]) -> None:
        serve(errands)
        if 0 in errands:
            raise SystemExit

    counter.turns._serve = break_off
    for errand in range(3):
        counter.send(errand)
    assert counter.finish() == [[0], [1, 2]]


def test_the_thread_goes_when_nobody_comes_and_is_back_with_the_next(
    monkeypatch: pytest.MonkeyPatch,
):
    monkeypatch.setattr("model.store.turns.IDLE_S", 0.0)
    counter = Counter()
    counter.go.set()
    counter.turns.run(1)
    until(lambda: counter.turns._worker is None)
    counter.turns.run(2)
    assert counter.groups == [[1], [2]]


def test_where_no_thread_can_be_started_the_caller_is_told(monkeypatch: pytest.MonkeyPatch):
    counter = Counter()
    counter.go.set()

    def refuse_to_start(_: threading.Thread) -> None:
        raise RuntimeError("can't start new thread")

    with monkeypatch.context() as patched, pytest.raises(RuntimeError):
        patched.setattr(threading.Thread, "start", refuse_to_start)
        counter.turns.run(1)
    counter.turns.run(2)
    assert counter.groups == [[2]]


@pytest.mark.skipif(os.name != "posix", reason="signals as POSIX has them")
def test_one_who_is_interrupted_while_waiting_holds_nobody_up():
    counter = Counter()
    counter.send(0)

    def interrupt() -> None:
        until(lambda: len(counter.turns._queue) == 1)
        counter.send(2)
        os.kill(os.getpid(), signal.SIGINT)

    interrupter = threading.Thread(target=interrupt)
    interrupter.start()
    with pytest.raises(KeyboardInterrupt):
        counter.turns.run(1)
    interrupter.join()
    assert counter.finish() == [[0], [2]]


# Groups in a file


class Desk:
    """A log whose first writer holds it, so that those who come after form a group."""

    def __init__(self, log: SqliteStore) -> None:
        self.log = log
        self.came: dict[str, object] = {}
        self.threads: list[threading.Thread] = []
        self._go = threading.Event()
        self._held = threading.Event()
        self.send("held", judge=self._hold)
        until(self._held.is_set)

    def _hold(self, *_: object) -> list[Problem]:
        self._held.set()
        assert self._go.wait(PATIENCE_S)
        return []

    def send(self, name: str, count: int = 1, note: str = "", **options: object) -> None:
        events = [an_event("note", event_id=f"{name}-{n}", note=note) for n in range(count)]

        def write() -> None:
            try:
                self.came[name] = self.log.append(events, **options)  # type: ignore[arg-type]
            except BaseException as error:  # noqa: BLE001 - looked at by the test
                self.came[name] = error

        waiting = len(self.log._turns._queue)
        self.threads.append(threading.Thread(target=write))
        self.threads[-1].start()
        if name != "held":
            until(lambda: len(self.log._turns._queue) == waiting + 1)

    def finish(self) -> dict[str, object]:
        self._go.set()
        for thread in self.threads:
            thread.join(PATIENCE_S)
            assert not thread.is_alive()
        return self.came

    def kept(self) -> list[str]:
        return [event.event_id for event in self.log.events()]


@pytest.fixture
def log(tmp_path: Path) -> Iterator[SqliteStore]:
    with SqliteStore(tmp_path / "log.sqlite", utc_now) as log:
        yield log


def refuse(*_: object) -> list[Problem]:
    return [Problem("event", "No.", "Never.")]


def stumble(*_: object) -> list[Problem]:
    raise ZeroDivisionError("a mistake in the judge")


def break_off(*_: object) -> list[Problem]:
    raise SystemExit


def count_transactions(log: SqliteStore) -> list[str]:
    said: list[str] = []
    log._writer.set_trace_callback(lambda text: said.append(text) if text == "COMMIT" else None)
    return said


def test_a_group_takes_one_transaction(log: SqliteStore):
    desk = Desk(log)
    commits = count_transactions(log)
    for number in range(7):
        desk.send(f"w{number}")
    desk.finish()
    assert len(commits) == 2  # the one that held it, and the group
    assert desk.kept() == ["held-0", *(f"w{number}-0" for number in range(7))]


def test_a_refused_batch_harms_none_of_its_group(log: SqliteStore):
    desk = Desk(log)
    desk.send("a")
    desk.send("bad", judge=refuse)
    desk.send("worse", judge=stumble)
    desk.send("b")
    came = desk.finish()
    assert isinstance(came["bad"], RefusedEvents)
    assert isinstance(came["worse"], ZeroDivisionError)
    assert desk.kept() == ["held-0", "a-0", "b-0"]
    assert [event.seq for event in log.events()] == [1, 2, 3]


@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
def test_when_a_write_is_broken_off_nobody_of_the_group_is_told_it_stands(log: SqliteStore):
    desk = Desk(log)
    desk.send("a")
    desk.send("broken off", judge=break_off)
    desk.send("b")
    came = desk.finish()
    for name in ("a", "broken off", "b"):
        assert isinstance(came[name], StoreError)
        assert "Send it again" in str(came[name])
    assert desk.kept() == ["held-0"]
    log.append([an_event("note", event_id="next")])
    assert desk.kept() == ["held-0", "next"]


def test_a_batch_is_judged_with_what_its_group_wrote_before_it(log: SqliteStore):
    seen: list[list[str]] = []

    def look(_: object, held: LogView) -> list[Problem]:
        seen.append([event.event_id for event in held.unit("E01").events])
        return []

    desk = Desk(log)
    desk.send("a")
    desk.send("refused", judge=refuse)
    desk.send("b", judge=look)
    desk.finish()
    assert seen == [["held-0", "a-0"]]


def test_the_same_event_from_two_writers_of_a_group_is_kept_once(log: SqliteStore):
    event = an_event("note", event_id="same")
    desk = Desk(log)
    came: list[object] = []
    for number in range(2):
        waiting = len(log._turns._queue)
        thread = threading.Thread(target=lambda: came.append(log.append([event])))
        desk.threads.append(thread)
        thread.start()
        until(lambda waiting=waiting: len(log._turns._queue) == waiting + 1)
        assert number == waiting
    desk.finish()
    assert sorted(len(appended.repeated) for appended in came) == [0, 1]  # type: ignore[attr-defined]
    assert desk.kept() == ["held-0", "same"]


def test_a_batch_too_large_for_the_disk_harms_none_of_its_group(log: SqliteStore):
    pages = log._writer.execute("PRAGMA page_count").fetchone()[0]
    log._writer.execute(f"PRAGMA max_page_count = {pages + 8}")
    desk = Desk(log)
    desk.send("a")
    desk.send("huge", count=500, note="x" * 1000)
    desk.send("b")
    came = desk.finish()
    assert isinstance(came["huge"], StoreError)
    assert "disk is full" in str(came["huge"])
    assert desk.kept() == ["held-0", "a-0", "b-0"]


def test_a_group_that_another_program_keeps_waiting_is_told_so_once(tmp_path: Path):
    path = tmp_path / "log.sqlite"
    with SqliteStore(path, utc_now, wait_s=0.2) as log, SqliteStore(path, utc_now) as other:
        desk = Desk(log)
        desk.send("a")
        desk.send("b")
        with taking_over(desk, other):
            came = [desk.came[name] for name in ("a", "b")]
        assert all("Try again" in str(error) for error in came)
        assert desk.kept() == ["held-0"]


@contextmanager
def taking_over(desk: Desk, other: SqliteStore) -> Iterator[None]:
    """Let a desk's first writer finish, and write in another program before the group does."""
    begin = desk.log._begin

    def begin_after_the_other() -> None:
        until(lambda: other._writer.in_transaction)
        begin()

    with patch.object(desk.log, "_begin", begin_after_the_other):
        desk._go.set()
        until(other._begun)
        desk.finish()
    yield
    other._writer.execute("ROLLBACK")
