"""What becomes of the log when programs are killed, disks fill up and clocks jump.

Real programs write here (``writer_process``). Killing a program shows that nothing depends on
what it held in memory; it does not show what a power cut does, for the kernel lives on. That
rests on SQLite's full synchronisation (https://www.sqlite.org/pragma.html#pragma_synchronous)
and on a disk that does not lie about it.
"""

from __future__ import annotations

import os
import shutil
import signal
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest

from model.store import open_store
from tests.model.store.writer_process import a_note

ROOT = Path(__file__).parents[3]
THREADS = 8
BATCH = 3

pytestmark = pytest.mark.skipif(os.name != "posix", reason="kills and limits as POSIX has them")


class Program:
    """A program that writes to a log, spoken to line by line."""

    def __init__(self, path: Path) -> None:
        self._process = subprocess.Popen(
            [sys.executable, "-m", "tests.model.store.writer_process", str(path)],
            cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
        )  # fmt: skip
        assert self.line() == "ready"

    def tell(self, order: str) -> None:
        assert self._process.stdin is not None
        self._process.stdin.write(f"{order}\n")
        self._process.stdin.flush()

    def ask(self, order: str) -> str:
        self.tell(order)
        return self.line()

    def line(self) -> str:
        assert self._process.stdout is not None
        return self._process.stdout.readline().rstrip("\n")

    def kill(self) -> list[str]:
        """Kill it at once; return what it had still said."""
        self._process.send_signal(signal.SIGKILL)
        assert self._process.stdout is not None
        said = self._process.stdout.read().splitlines()
        assert self._process.wait() == -signal.SIGKILL
        return said

    def stop(self) -> None:
        self._process.kill()
        self._process.communicate()


@contextmanager
def programs(path: Path, count: int = 1) -> Iterator[list[Program]]:
    running: list[Program] = []
    try:
        for _ in range(count):
            running.append(Program(path))
        yield running
    finally:
        for program in running:
            program.stop()


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "log.sqlite"


def check_log(path: Path, confirmed: list[str]) -> list[str]:
    """Hold a log to its promises; return the ids it holds."""
    with closing(sqlite3.connect(path)) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    with open_store(path) as log:
        events = log.events()
        kept = [event.event_id for event in events]
        assert [event.seq for event in events] == list(range(1, len(events) + 1))
        times = [event.recorded_at for event in events]
        assert times == sorted(times)
    assert len(set(kept)) == len(kept), "an event is there twice"
    assert set(confirmed) <= set(kept), "a confirmed event is lost"
    return kept


def killed_after(path: Path, batches: int, name: str) -> list[str]:
    """Flood a log from a program, kill it, return the ids it had confirmed."""
    with programs(path) as (program,):
        program.tell(f"flood {THREADS} {BATCH} {name}")
        said = [program.line() for _ in range(batches)]
        said += program.kill()
    # The last line may be cut by the kill; a cut id was not told to anybody.
    whole = [line.split() for line in said if len(line.split()) == BATCH]
    return [event_id for ids in whole for event_id in ids]


# Killed


@pytest.mark.parametrize("batches", [1, 700, 1500])
def test_a_program_killed_while_it_writes_loses_nothing_it_confirmed(path: Path, batches: int):
    confirmed = killed_after(path, batches, "a")
    kept = check_log(path, confirmed)
    assert len(confirmed) >= batches * BATCH
    # What it had not yet confirmed is at most one batch a thread, and each of them whole.
    unsaid = set(kept) - set(confirmed)
    assert len(unsaid) % BATCH == 0
    assert len(unsaid) <= THREADS * BATCH


def test_a_log_lives_through_one_kill_after_another(path: Path):
    confirmed: list[str] = []
    for number in range(4):
        confirmed += killed_after(path, 150 + 97 * number, f"life{number}")
        check_log(path, confirmed)


def test_what_was_in_doubt_when_the_program_died_can_be_sent_again(path: Path):
    confirmed = killed_after(path, 300, "a")
    kept = check_log(path, confirmed)
    doubtful = sorted(set(kept) - set(confirmed))
    again = [a_note(event_id) for event_id in [*confirmed[:50], *doubtful]]
    with open_store(path) as log:
        appended = log.append(again)
        assert appended.accepted == ()
        assert len(appended.repeated) == len(again)
    assert check_log(path, confirmed) == kept


def test_a_program_killed_in_the_middle_of_a_write_does_not_lock_the_others_out(path: Path):
    with programs(path, 2) as (doomed, other):
        doomed.tell(f"flood {THREADS} {BATCH} doomed")
        said = [doomed.line() for _ in range(100)] + doomed.kill()
        assert other.ask("append alive 10").startswith("ok ")
    confirmed = [word for line in said if len(line.split()) == BATCH for word in line.split()]
    check_log(path, [*confirmed, "alive"])


# A full disk


def fill(program: Program, note_length: int) -> tuple[list[str], str]:
    """Write until the log says no; return what was confirmed, and what it said."""
    confirmed: list[str] = []
    for number in range(100_000):
        answer = program.ask(f"append full-{number} {note_length}")
        if not answer.startswith("ok "):
            return confirmed, answer
        confirmed.append(f"full-{number}")
    raise AssertionError("the disk did not fill up")


def test_a_file_that_may_not_grow_any_more_loses_nothing_confirmed(path: Path):
    with programs(path) as (program,):
        assert program.ask("append first 10") == "ok 1"
        program.ask("size 400000")
        confirmed, answer = fill(program, note_length=3000)
        assert answer.startswith("error log.sqlite: ")
        assert "send it again" in answer
        assert len(confirmed) > 10
        # It goes on by itself once there is room, without being started anew.
        program.ask("size 40000000")
        assert program.ask(f"append full-{len(confirmed)} 3000") == f"ok {len(confirmed) + 2}"
        confirmed.append(f"full-{len(confirmed)}")
    check_log(path, ["first", *confirmed])


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of two megabytes."""
    folder = tmp_path / "disk"
    folder.mkdir()
    command = shutil.which("mount")
    order = [str(command), "-t", "tmpfs", "-o", "size=2m", "tmpfs", str(folder)]
    if command is None or subprocess.run(order, capture_output=True, check=False).returncode:
        pytest.skip("this user may not mount a small disk")
    try:
        yield folder
    finally:
        subprocess.run(["umount", "-l", str(folder)], check=True)


def test_a_full_disk_says_to_make_room_and_loses_nothing_confirmed(small_disk: Path):
    path = small_disk / "log.sqlite"
    ballast = small_disk / "ballast"
    ballast.write_bytes(bytes(600_000))
    with programs(path) as (program,):
        confirmed, answer = fill(program, note_length=3000)
        assert answer == (
            "error log.sqlite: the disk is full and nothing of this batch was written. Make room "
            "and send it again."
        )
        assert program.ask("read 0").split()[1:] == confirmed
        ballast.unlink()
        assert program.ask(f"append full-{len(confirmed)} 3000").startswith("ok ")
        confirmed.append(f"full-{len(confirmed)}")
    check_log(path, confirmed)


def test_a_full_disk_does_not_keep_a_log_from_being_opened_and_read(small_disk: Path):
    path = small_disk / "log.sqlite"
    with programs(path) as (program,):
        confirmed, _ = fill(program, note_length=3000)
        program.kill()
    check_log(path, confirmed)


# A clock that jumps


@pytest.mark.parametrize("jump_s", [-3600, -400 * 24 * 3600])
def test_what_was_known_when_stays_in_order_when_a_clock_jumps_back(path: Path, jump_s: int):
    with programs(path) as (program,):
        program.ask("append before 10")
        program.ask(f"ahead {jump_s}")
        program.ask("append after 10")
    check_log(path, ["before", "after"])


def test_the_slower_of_two_clocks_does_not_set_the_log_back(path: Path):
    with programs(path, 2) as (one, other):
        one.ask("ahead 600")
        for number in range(5):
            one.ask(f"append one-{number} 10")
            other.ask(f"append other-{number} 10")
    assert len(check_log(path, [])) == 10


# Two servers


def test_two_servers_on_one_log_see_each_others_events_at_once(path: Path):
    with programs(path, 2) as (one, other):
        assert one.ask("append a 10") == "ok 1"
        assert other.ask("read 0") == "ids a"
        assert other.ask("append b 10") == "ok 2"
        assert one.ask("read 1") == "ids b"
        assert other.ask("append a 10") == "ok 0"  # known already, wherever it came from
    check_log(path, ["a", "b"])


def test_two_servers_writing_at_once_lose_and_double_nothing(path: Path):
    with programs(path, 2) as running:
        for name, program in zip("ab", running, strict=True):
            program.tell(f"flood 4 {BATCH} {name}")
        said = [program.line() for _ in range(300) for program in running]
        for program in running:
            said += program.kill()
    confirmed = [word for line in said if len(line.split()) == BATCH for word in line.split()]
    kept = check_log(path, confirmed)
    assert {event_id[0] for event_id in kept} == {"a", "b"}
