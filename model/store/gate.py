"""A gate before the log, so that several programs come to write in turn.

SQLite lets one program write at a time and has the others try again later, each by its own
luck: who has just written is quickest to write again, and another may wait for seconds. At
this gate one program at a time waits for its turn, and who has written queues up behind it.

The gate is about fairness, not safety. Where the system has no ``fcntl`` (Windows) it stands
open: writing is just as safe, and who waits tries again at short random intervals.
"""

from __future__ import annotations

import contextlib
import importlib
import os
import random
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import ModuleType

PAUSE_S = 0.000_3
"""Mean time between two tries."""


class Gate:
    """A lock file that programs wait at.

    Parameters
    ----------
    path
        The file; it is made when first needed and stays empty. The system lets go of it when
        a program dies.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        self._fcntl = _fcntl()
        self._handle: int | None = None

    def close(self) -> None:
        """Let go of the file; it stays, for another program may be waiting at it."""
        if self._handle is not None:
            os.close(self._handle)
        self._handle = self._fcntl = None

    @contextmanager
    def passed(self, until: float) -> Iterator[None]:
        """Stand in the gate; go on without it when it is not free by ``until``.

        Parameters
        ----------
        until
            Moment of ``time.monotonic``, s.
        """
        inside = self._enter()
        while not inside and time.monotonic() < until:
            pause()
            inside = self._enter()
        try:
            yield
        finally:
            self._leave()

    def _enter(self) -> bool:
        """Return whether we stand in the gate now, or there is none."""
        if self._fcntl is None:
            return True
        try:
            if self._handle is None:
                self._handle = os.open(self._path, os.O_RDONLY | os.O_CREAT, 0o666)
            self._fcntl.flock(self._handle, self._fcntl.LOCK_EX | self._fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        except OSError:
            # A folder that may not hold it, or a disk without locks: do without the gate.
            return True
        return True

    def _leave(self) -> None:
        if self._fcntl is not None and self._handle is not None:
            with contextlib.suppress(OSError):
                self._fcntl.flock(self._handle, self._fcntl.LOCK_UN)


def pause() -> None:
    """Wait a moment, not always as long, so that those who wait do not march in step."""
    time.sleep(PAUSE_S * random.uniform(0.5, 1.5))


def _fcntl() -> ModuleType | None:
    try:
        return importlib.import_module("fcntl")
    except ImportError:
        return None
