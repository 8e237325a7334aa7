"""A program that writes to a log and says what was confirmed, for the fault tests to disturb.

Run as ``python -m tests.model.store.writer_process LOG``; it obeys one line at a time:

- ``append ID NOTE_LENGTH``: one event; answers ``ok SEQ`` or ``error MESSAGE``.
- ``read AFTER_SEQ``: answers ``ids ID ID …``.
- ``ahead SECONDS``: its clock jumps; answers ``ok 0``.
- ``size BYTES``: from now on no file may grow beyond it; answers ``ok 0``.
- ``flood THREADS BATCH NAME``: each thread appends batches without end, and every batch is
  printed, ``ID ID …``, once it has been confirmed and not before.
"""

from __future__ import annotations

import datetime as dt
import itertools
import os
import sys
import threading
from pathlib import Path

from model.clock import utc_now
from model.events import Event
from model.problems import StoreError
from model.store import Store, open_store


class Clock:
    """A clock that can be made to jump."""

    ahead_by = dt.timedelta()

    def __call__(self) -> dt.datetime:
        return utc_now() + self.ahead_by


def a_note(event_id: str, length: int = 10) -> Event:
    # Not the tests' builders: they load map libraries, and programs start here by the dozen.
    return Event(dt.datetime(2026, 3, 2, 8), "R. Alder", "E01", "falsework", "note",
                 note="x" * length, event_id=event_id)  # fmt: skip


def say(line: str) -> None:
    """Write one line at once, so that lines of several threads do not mix."""
    os.write(1, f"{line}\n".encode())


def append(log: Store, event_id: str, note_length: str) -> str:
    try:
        done = log.append([a_note(event_id, int(note_length))])
    except StoreError as error:
        return f"error {error}"
    return f"ok {done.accepted[0].seq if done.accepted else 0}"


def flood(log: Store, threads: str, batch: str, name: str) -> None:
    def write(thread: int) -> None:
        for number in itertools.count():
            ids = [f"{name}-{thread}-{number}-{place}" for place in range(int(batch))]
            log.append([a_note(event_id) for event_id in ids])
            say(" ".join(ids))

    for thread in range(int(threads)):
        threading.Thread(target=write, args=(thread,)).start()


def obey(log: Store, clock: Clock, order: list[str]) -> None:
    match order:
        case ["append", event_id, note_length]:
            say(append(log, event_id, note_length))
        case ["read", after_seq]:
            say(" ".join(["ids", *(e.event_id for e in log.events(int(after_seq)))]))
        case ["ahead", seconds]:
            clock.ahead_by = dt.timedelta(seconds=float(seconds))
            say("ok 0")
        case ["size", size]:
            import resource  # not on every system

            resource.setrlimit(resource.RLIMIT_FSIZE, (int(size), resource.RLIM_INFINITY))
            say("ok 0")
        case ["flood", threads, batch, name]:
            flood(log, threads, batch, name)


def main(path: str) -> None:
    clock = Clock()
    with open_store(Path(path), clock) as log:
        say("ready")
        for line in sys.stdin:
            obey(log, clock, line.split())


if __name__ == "__main__":
    main(sys.argv[1])
