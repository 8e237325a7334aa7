"""Callers of several threads take turns, and one of them works for all who wait.

Bringing an event to the disk takes far longer than writing it down, and one trip can carry
many. So whoever comes first serves everybody who has queued up by then, in the order they
came, and hands the next turn to the first of those who have come since. Nobody waits for more
than two groups, the one on its way and their own, unless more than a group are waiting.
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


class _Caller(Generic[Errand]):
    __slots__ = ("errand", "leads", "served", "woken")

    def __init__(self, errand: Errand) -> None:
        self.errand = errand
        self.leads = self.served = False
        # A bare lock, taken; several times cheaper than an event, and this is the hot path.
        self.woken = threading.Lock()
        self.woken.acquire()


class Turns(Generic[Errand]):
    """A queue before something that one thread can do at a time, cheaper for many than for one.

    Parameters
    ----------
    serve
        Does the errands of a group, in order, and notes on each what came of it. What it
        raises reaches only the caller whose thread it ran in.
    at_most
        Errands in one group.
    """

    def __init__(
        self, serve: Callable[[Sequence[Errand]], None], *, at_most: int = AT_MOST
    ) -> None:
        self._serve = serve
        self._at_most = at_most
        self._queue: deque[_Caller[Errand]] = deque()
        self._taken = False
        self._last_size = 1
        self._gathers: _Caller[Errand] | None = None
        self._lock = threading.Lock()

    def run(self, errand: Errand) -> None:
        """Return when the errand has been done, by this thread or by another."""
        caller = _Caller(errand)
        with self._lock:
            self._queue.append(caller)
            completes = self._take_over()
            caller.leads, self._taken = completes or not self._taken, True
        try:
            if not caller.leads:
                caller.woken.acquire()
            if caller.leads and not completes:
                self._gather(caller)
            if not (caller.leads or caller.served):
                caller.woken.acquire()
            if caller.leads:
                self._lead(caller)
        finally:
            if not caller.served:
                self._leave(caller)

    def _lead(self, caller: _Caller[Errand]) -> None:
        """Serve everybody who has queued up, the caller of this thread among them."""
        with self._lock:
            group = [self._queue.popleft() for _ in range(min(len(self._queue), self._at_most))]
            self._last_size = len(group)
        try:
            self._serve([one.errand for one in group])
        finally:
            with self._lock:
                for one in group:
                    one.served = True
                following = self._hand_over()
            for one in (*group, *following):
                if one is not caller:
                    one.woken.release()

    def _gather(self, caller: _Caller[Errand]) -> None:
        """Let those come who were served together just now, for they are likely to come again.

        Without it the first to be back goes alone, and the others wait for his trip to end.
        """
        with self._lock:
            if len(self._queue) >= self._last_size:
                return
            self._gathers = caller
        caller.woken.acquire(timeout=GATHERING_S)
        with self._lock:
            if self._gathers is caller:
                self._gathers = None

    def _take_over(self) -> bool:
        """Return whether the one who came last completes a gathering; the lock is held.

        He serves it himself: he is awake, and to wake the one who gathers would take longer.
        """
        if self._gathers is None or len(self._queue) < self._last_size:
            return False
        self._gathers.leads, self._gathers = False, None
        return True

    def _hand_over(self) -> Sequence[_Caller[Errand]]:
        """Give the turn to the first who waits; the lock is held."""
        self._taken = bool(self._queue)
        if not self._queue:
            return ()
        self._queue[0].leads = True
        return (self._queue[0],)

    def _leave(self, caller: _Caller[Errand]) -> None:
        """Take a caller out who was interrupted while waiting, and pass on its turn."""
        with self._lock:
            if caller not in self._queue:
                return
            self._queue.remove(caller)
            if self._gathers is caller:
                self._gathers = None
            following = self._hand_over() if caller.leads else ()
        for other in following:
            other.woken.release()
