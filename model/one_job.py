"""One long computation at a time, in the background, with its progress and a way to stop it."""

from __future__ import annotations

import threading
from collections.abc import Callable, Hashable
from dataclasses import dataclass, replace
from typing import Generic, Literal, Protocol, TypeVar

Answer = TypeVar("Answer")
Condition = Literal["idle", "running", "done", "stopped", "failed"]


class Report(Protocol):
    """Told what is done of how much; says whether to go on."""

    def __call__(self, done: int, total: int, what: str = "") -> bool:
        """Say whether to go on; ``what`` names a step, where a job has several kinds."""


class StoppedShort(Exception):
    """Raised within a job that was told to stop and has nothing to show."""


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
    what
        Names the steps, where the job said so.
    asked
        What the job that runs, or ran last, belongs to.
    cut_short
        What a job that was stopped had by then.
    """

    condition: Condition = "idle"
    done: int = 0
    total: int = 0
    answer: Answer | None = None
    key: Hashable = None
    what: str = ""
    asked: Hashable = None
    cut_short: Answer | None = None

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
            returns False it should return soon, and its answer is kept as one cut short, or
            raise ``StoppedShort`` where it has none.
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
            self._progress = Progress("running", answer=before.answer, key=before.key, asked=key)
            self._stop.clear()
            # Started in here, so that who waits meanwhile never meets one not begun.
            self._thread = threading.Thread(target=self._run, args=(work, key), daemon=True)
            self._thread.start()
        return True

    def stop(self) -> None:
        """Ask the job that runs to stop at its next step."""
        self._stop.set()

    def wait(self, timeout_s: float) -> None:
        """Wait until the job has ended, at most so long."""
        with self._lock:
            thread = self._thread
        if thread is not None:
            thread.join(timeout_s)

    def _run(self, work: Callable[[Report], Answer], key: Hashable) -> None:
        answer, ended = None, False
        try:
            answer = work(self._report)
            ended = True
        except StoppedShort:
            self._stop.set()
            ended = True
        finally:
            with self._lock:
                self._progress = self._after(answer, key, ended=ended)

    def _after(self, answer: Answer | None, key: Hashable, *, ended: bool) -> Progress[Answer]:
        before = self._progress
        if ended and not self._stop.is_set():
            return replace(before, condition="done", done=before.total, answer=answer, key=key)
        return replace(before, condition="stopped" if ended else "failed", cut_short=answer)

    def _report(self, done: int, total: int, what: str = "") -> bool:
        with self._lock:
            self._progress = replace(self._progress, done=done, total=total, what=what)
        return not self._stop.is_set()
