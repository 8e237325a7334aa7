"""Noticing that the plan's files are not those that were read.

Another server or a person with an editor may change them while a program runs. Looking at
their size and time costs next to nothing, and is done at most once a second.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Sequence
from pathlib import Path

LOOK_EVERY_S = 1.0

Stamp = tuple[tuple[int, int, int] | None, ...]


class PlanWatch:
    """Tells when files have changed since they were last taken.

    Parameters
    ----------
    paths
        The files; one that is not there counts as well.
    ticks
        Seconds that only grow; tests hand in their own.
    """

    def __init__(self, paths: Sequence[Path], ticks: Callable[[], float] = time.monotonic) -> None:
        self._paths, self._ticks = tuple(paths), ticks
        self._looking = threading.Lock()
        self._taken = self.stamp()
        self._looked_at = ticks()

    def stamp(self) -> Stamp:
        """Return what tells one state of the files from another."""
        return tuple(_stamp_of(path) for path in self._paths)

    def take(self, stamp: Stamp) -> None:
        """Say which state has been read: the one from before the reading."""
        self._taken = stamp

    def changed(self) -> bool:
        """Look whether they are not as they were when last taken."""
        return self.stamp() != self._taken

    def changed_lately(self) -> bool:
        """Look, but at most once a second, whoever asks."""
        with self._looking:
            if self._ticks() - self._looked_at < LOOK_EVERY_S:
                return False
            self._looked_at = self._ticks()
        return self.changed()


def _stamp_of(path: Path) -> tuple[int, int, int] | None:
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_mtime_ns, found.st_size, found.st_ino
