"""One long computation at a time, in the background, with its progress and a way to stop it."""

from __future__ import annotations

import threading
from collections.abc import Callable, Hashable
from dataclasses import dataclass
from typing import Generic, Literal, TypeVar

Answer = TypeVar("Answer")
Condition = Literal["idle", "running", "done", "stopped", "failed"]
Report = Callable[[int, int], bool]
"""Told what is done of how much; says whether to go on."""


@dataclass(frozen=True)
class Progress(Generic[Answer]):
    """How far a job is.

    Parameters
    ----------
    condition
        ``failed`` when it ended without an answer though nobody stopped it.
    done, total
        Steps; total is 0 until it is known.
    answer
        Of the last job that was done; it stays while another one runs.
    key
        What that answer belongs to.
    """

    condition: Condition = "idle"
    done: int = 0
    total: int = 0
    answer: Answer | None = None
    key: Hashable = None

    @property
    def running(self) -> bool:
        """True while it runs."""
        return self.condition == "running"

    @property
    def share(self) -> float:
        """Share done, 0…1."""
        return self.done / self.total if self.total else 0.0


class OneJob(Generic[Answer]):
    """Runs a computation on a thread of its own, never two at once.

    Whoever asks for it while it runs is shown the one that runs.
    """

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._progress: Progress[Answer] = Progress()
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None

    def progress(self) -> Progress[Answer]:
        """Say how far it is."""
        with self._lock:
            return self._progress

    def start(self, work: Callable[[Report], Answer], key: Hashable = None) -> bool:
        """Start a job unless one runs.

        Parameters
        ----------
        work
            Is given a function to call with the steps done and the steps in all; when that
            returns False it should return soon, and its answer is dropped.
        key
            Kept with the answer.

        Returns
        -------
        bool
            Whether it was started.
        """
        with self._lock:
            if self._progress.running:
                return False
            before = self._progress
            self._progress = Progress("running", answer=before.answer, key=before.key)
            self._stop.clear()
        self._thread = threading.Thread(target=self._run, args=(work, key), daemon=True)
        self._thread.start()
        return True

    def stop(self) -> None:
        """Ask the job that runs to stop at its next step."""
        self._stop.set()

    def wait(self, timeout_s: float) -> None:
        """Wait until the job has ended, at most so long."""
        if self._thread is not None:
            self._thread.join(timeout_s)

    def _run(self, work: Callable[[Report], Answer], key: Hashable) -> None:
        answer, ended = None, False
        try:
            answer = work(self._report)
            ended = True
        finally:
            with self._lock:
                self._progress = self._after(answer, key, ended=ended)

    def _after(self, answer: Answer | None, key: Hashable, *, ended: bool) -> Progress[Answer]:
        before = self._progress
        if ended and not self._stop.is_set():
            return Progress("done", before.total, before.total, answer, key)
        condition: Condition = "stopped" if ended else "failed"
        return Progress(condition, before.done, before.total, before.answer, before.key)

    def _report(self, done: int, total: int) -> bool:
        with self._lock:
            before = self._progress
            self._progress = Progress("running", done, total, before.answer, before.key)
        return not self._stop.is_set()
