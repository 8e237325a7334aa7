"""Callers of several threads take turns, and one thread works for all who wait.

Bringing an event to the disk takes far longer than writing it down, and one trip can carry
many. So everybody who has queued up by then goes together, in the order they came. Nobody
waits for more than two groups, the one on its way and their own, unless more than a group are
waiting.

The work is done by a thread of its own: what it touches stays at hand in the processor, where
callers who took it in turn would each have to fetch it again. It begins with the first caller
and ends when nobody has come for a while.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable, Sequence
from typing import Generic, TypeVar

Errand = TypeVar("Errand")

AT_MOST = 64
"""Errands in one group, so that a long queue does not make the first wait for the last."""

GATHERING_S = 0.000_4
"""How long at most a group waits for those who came with the last one."""

IDLE_S = 2.0
"""How long the thread stays when nobody comes."""


class _Caller(Generic[Errand]):
    __slots__ = ("errand", "served", "woken")

    def __init__(self, errand: Errand) -> None:
        self.errand = errand
        self.served = False
        # A bare lock, taken; several times cheaper than an event, and this is the hot path.
        self.woken = threading.Lock()
        self.woken.acquire()


class Turns(Generic[Errand]):
    """A queue before something that one thread can do at a time, cheaper for many than for one.

    Parameters
    ----------
    serve
        Does the errands of a group, in order, and notes on each what came of it. What it
        raises reaches no caller; an errand without a note was broken off.
    at_most
        Errands in one group.
    """

    def __init__(
        self, serve: Callable[[Sequence[Errand]], None], *, at_most: int = AT_MOST
    ) -> None:
        self._serve = serve
        self._at_most = at_most
        self._queue: deque[_Caller[Errand]] = deque()
        self._expected = 1
        """Those who went together just now, and those who came meanwhile."""
        self._worker: threading.Thread | None = None
        self._awaits = 0
        """How many must have queued up before the worker is woken; 0 while he is awake."""
        self._wake = threading.Lock()
        self._wake.acquire()
        self._lock = threading.Lock()

    def run(self, errand: Errand) -> None:
        """Return when the errand has been done."""
        caller = _Caller(errand)
        try:
            with self._lock:
                self._queue.append(caller)
                self._call_worker()
            caller.woken.acquire()
        finally:
            if not caller.served:
                self._leave(caller)

    def _call_worker(self) -> None:
        """See that the worker comes when enough have queued up; the lock is held."""
        if self._worker is None:
            worker = threading.Thread(target=self._work, name="log writer", daemon=True)
            worker.start()
            self._worker = worker
        elif 0 < self._awaits <= len(self._queue):
            self._awaits = 0
            self._wake.release()

    def _leave(self, caller: _Caller[Errand]) -> None:
        """Take a caller out who was interrupted while waiting."""
        with self._lock:
            if caller in self._queue:
                self._queue.remove(caller)

    def _work(self) -> None:
        try:
            while group := self._next_group():
                try:
                    self._serve([one.errand for one in group])
                finally:
                    self._expect(group)
                    for one in group:
                        one.served = True
                        one.woken.release()
        finally:
            with self._lock:
                self._worker = None
                if self._queue:
                    self._call_worker()

    def _next_group(self) -> Sequence[_Caller[Errand]]:
        """Return who goes next; nobody when none has come for a while.

        Those who went together just now are likely to come again. Without waiting for them the
        first to be back would go alone, and the others would wait for his trip to end; or two
        halves would take turns for ever.
        """
        for enough, patience_s in ((self._expected, GATHERING_S), (1, IDLE_S)):
            self._await(enough, patience_s)
            with self._lock:
                self._awaits = 0
                self._wake.acquire(blocking=False)  # called just after patience had ended
                if self._queue:
                    count = min(len(self._queue), self._at_most)
                    return [self._queue.popleft() for _ in range(count)]
        return ()

    def _expect(self, group: Sequence[_Caller[Errand]]) -> None:
        with self._lock:
            self._expected = min(len(group) + len(self._queue), self._at_most)

    def _await(self, enough: int, patience_s: float) -> None:
        with self._lock:
            if len(self._queue) >= enough:
                return
            self._awaits = enough
        self._wake.acquire(timeout=patience_s)
