"""The plan's two files, while the program runs: read, checked, replaced, and taken up.

``baseline.csv`` and the ``[calendar]`` of ``project.toml`` are what a scheduler changes as the
job goes on. A new one is checked as a folder is (``viaduct check``), with that one file in its
place, and written only when nothing is wrong. Who sends it says which one was seen, by its
hash, so that of two schedulers the later one sees both and chooses.
"""

from __future__ import annotations

import hashlib
import json
import tempfile
import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from model.clock import Clock
from model.exchange.calendar_text import calendar_of, with_calendar
from model.exchange.folder import read_folder
from model.exchange.quantity_files import BASELINE_FILE
from model.exchange.settings import FILE as PROJECT_FILE
from model.job import Job
from model.plan_review import BaselineReview, review_baseline
from model.problems import InputError, Problem, StoreError, ViaductError, errors_only
from model.store import alone_in, replace_kept

NONE_YET = ""
"""Stands for the hash of a file that is not there."""


@dataclass(frozen=True, slots=True)
class Baseline:
    """The text of ``baseline.csv`` and its hash; both blank where there is none."""

    text: str
    hash: str


@dataclass(frozen=True, slots=True)
class CalendarKeys:
    """The keys of ``[calendar]`` as JSON holds them, and their hash."""

    values: Mapping[str, Any]
    hash: str


class PlanChanged(ViaductError):
    """Somebody changed the plan after the sender saw it; nothing was written.

    Parameters
    ----------
    now
        The one in use.
    """

    def __init__(self, now: Baseline | CalendarKeys) -> None:
        self.now = now
        super().__init__("Somebody changed this after you saw it.")


@dataclass(frozen=True, slots=True)
class PlanPut:
    """What came of a new plan.

    Parameters
    ----------
    changed
        False where it says what the one in use says already.
    hash
        Of the new one.
    kept
        Where the former text is, seen from the folder; blank where nothing was replaced.
    words
        What changed, for the audit trail.
    warnings
        What the check found that does not stop the work.
    """

    changed: bool
    hash: str
    kept: str
    words: str
    warnings: tuple[Problem, ...] = ()


class PlanFiles:
    """The two files of one project folder.

    Parameters
    ----------
    folder
        The project folder.
    clock
        Gives the moment under which a former text is kept.
    """

    def __init__(self, folder: Path, clock: Clock) -> None:
        self._folder, self._clock = folder, clock
        self._writing = threading.Lock()

    @property
    def paths(self) -> tuple[Path, Path]:
        """The files by which a change of plan is noticed."""
        return self._folder / BASELINE_FILE, self._folder / PROJECT_FILE

    def baseline(self) -> Baseline:
        """Return the baseline in use, as it was typed."""
        content = _content_of(self._folder / BASELINE_FILE)
        if content is None:
            return Baseline("", NONE_YET)
        return Baseline(content.decode("utf-8", "replace"), _hash(content))

    def calendar(self) -> CalendarKeys:
        """Return the calendar in use.

        Raises
        ------
        InputError
            When ``project.toml`` is not there, or no longer TOML.
        """
        return _calendar(self._project_text())

    def read(self) -> tuple[Job | None, tuple[Problem, ...]]:
        """Read the folder as it is now, with everything that is wrong with it."""
        return read_folder(self._folder)

    def look_over(self, text: str, job: Job) -> tuple[BaselineReview, tuple[Problem, ...]]:
        """Say what a baseline would change, and what to know about it; nothing is written.

        Raises
        ------
        InputError
            With everything that is wrong with it.
        """
        found, problems = self._checked(BASELINE_FILE, text)
        return review_baseline(job.baseline, found.baseline, found.calendar), problems

    def put_baseline(self, text: str, seen: str, job: Job) -> PlanPut:
        """Replace the baseline.

        Parameters
        ----------
        text
            Of the whole file.
        seen
            Hash of the one the sender saw; ``NONE_YET`` for none.
        job
            The job as it runs, for saying what changes.

        Raises
        ------
        InputError
            With everything that is wrong with it.
        PlanChanged
            When the one in use is not the one that was seen.
        StoreError
            When the disk does not take it.
        """
        with self._alone():
            now = self.baseline()
            if now.hash != seen:
                raise PlanChanged(now)
            if now.hash == _hash(text.encode()):
                return PlanPut(False, now.hash, "", "no change")
            review, problems = self.look_over(text, job)
            kept = replace_kept(self._folder / BASELINE_FILE, text.encode(), self._clock())
        return PlanPut(True, _hash(text.encode()), kept, f"{BASELINE_FILE}: {review}", problems)

    def put_calendar(self, values: Mapping[str, Any], seen: str) -> PlanPut:
        """Replace the keys of the calendar; everything else in ``project.toml`` stays.

        Parameters
        ----------
        values
            As ``CalendarKeys.values``; a key that is left out goes by its default.
        seen
            Hash of the one the sender saw.

        Raises
        ------
        InputError, PlanChanged, StoreError
            As ``put_baseline``.
        """
        with self._alone():
            text = self._project_text()
            now = _calendar(text)
            if now.hash != seen:
                raise PlanChanged(now)
            changed = with_calendar(text, values)
            new = _calendar(changed)
            if new.hash == now.hash:
                return PlanPut(False, now.hash, "", "no change")
            _, problems = self._checked(PROJECT_FILE, changed)
            kept = replace_kept(self._folder / PROJECT_FILE, changed.encode(), self._clock())
        keys = [key for key in new.values if new.values[key] != now.values[key]]
        return PlanPut(True, new.hash, kept, f"calendar: {', '.join(keys)}", problems)

    @contextmanager
    def _alone(self) -> Iterator[None]:
        """Write alone: among the threads of this program, and among programs."""
        with self._writing, alone_in(self._folder):
            yield

    def _project_text(self) -> str:
        content = _content_of(self._folder / PROJECT_FILE)
        if content is None:
            raise InputError([Problem(PROJECT_FILE, "It is not there.", "Put it back.")])
        try:
            return content.decode()
        except UnicodeDecodeError as error:
            wrong = Problem(PROJECT_FILE, "It is not UTF-8 text.", "Save it again in UTF-8.")
            raise InputError([wrong]) from error

    def _checked(self, name: str, text: str) -> tuple[Job, tuple[Problem, ...]]:
        """Check the folder as it would be; return the job and what does not stop the work."""
        try:
            with tempfile.TemporaryDirectory() as at:
                path = Path(at) / name
                path.write_bytes(text.encode())
                job, problems = read_folder(self._folder, {name: path})
        except OSError as error:
            raise StoreError(
                f"The new {name} cannot be checked ({error.strerror}). See that there is room "
                "for temporary files, then try again."
            ) from error
        if job is None:
            raise InputError(errors_only(problems))
        return job, tuple(problems)


def with_plan_of(job: Job, found: Job) -> Job:
    """Return the job that runs with the plan of the folder as it was found now.

    Its calendar and baseline are taken. Units, activities and all else stay as they were when
    the program was started, and planned finishes of what it does not know are left out.

    Parameters
    ----------
    job
        As it runs.
    found
        As the folder says now.
    """
    known = found.baseline["unit"].isin(job.units["unit"])
    known &= found.baseline["activity"].isin(list(job.activity_by_key))
    baseline = found.baseline[known].reset_index(drop=True)
    return replace(job, calendar=found.calendar, baseline=baseline)


def _calendar(text: str) -> CalendarKeys:
    values = calendar_of(text)
    return CalendarKeys(values, _hash(json.dumps(values, sort_keys=True).encode()))


def _hash(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()


def _content_of(path: Path) -> bytes | None:
    """Return what a file holds; None where there is none.

    Raises
    ------
    StoreError
        When it is there and cannot be read.
    """
    try:
        return path.read_bytes()
    except FileNotFoundError:
        return None
    except OSError as error:
        raise StoreError(f"{path.name} cannot be read ({error.strerror}).") from error
