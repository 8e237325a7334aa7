"""One project that is open: its plan, its log, and who may come in.

What is asked of it stands in ``model.project``. Here is what it is asked of: the plan as the
folder has it now, the log with what has been added since last time, and the one way into it.
"""

from __future__ import annotations

import datetime as dt
import threading
from collections.abc import Collection, Mapping, Sequence
from functools import cached_property, lru_cache, partial
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from model import answers
from model.acceptance import get_ready, judge
from model.clock import Clock, end_of_day, utc_now, wall_clock
from model.events import Event
from model.exchange.folder import read_folder
from model.exchange.tables import read_events
from model.fold import State, fold
from model.job import Job
from model.line_answers import LineAnswers
from model.log_arrays import LogArrays
from model.meanwhile import (
    NotYourHeading,
    RecordedMeanwhile,
    headings_touched,
    newest_seq,
    recorded_meanwhile,
)
from model.membership import Membership
from model.plan_files import PlanFiles, PlanPut, with_plan_of
from model.plan_review import BaselineReview
from model.plan_watch import PlanWatch
from model.problems import InputError, Problem, errors_only
from model.sequence import Line
from model.store import Attachments, Store, open_accounts, open_store
from model.unit_log import LogView

LOG_FILE = "log.sqlite"
ACCOUNTS_FILE = "accounts.sqlite"
DATABASE_FILES = (LOG_FILE, ACCOUNTS_FILE)
ATTACHMENTS_FOLDER = "attachments"
IN_MEMORY = ":memory:"
UNITS_AT_ONCE = 8
"""Units that are looked at in one go, for writers wait meanwhile."""

FOLDS_HELD = 32
"""Moments whose fold is kept: a person moves among a few of them."""


class OpenProject:
    """A project that is open.

    Parameters
    ----------
    folder
        Its project folder.
    job
        What the folder says.
    store
        Its event log.
    clock
        What time it is; the demo and tests hand in their own.
    warnings
        What the folder check found that does not stop the work.
    accounts
        Where accounts are kept: a file or a PostgreSQL URL; in memory unless told otherwise.
    watch
        Looks at the plan's files since before they were read.
    """

    def __init__(
        self,
        folder: Path,
        job: Job,
        store: Store,
        clock: Clock = utc_now,
        warnings: Sequence[Problem] = (),
        accounts: str | Path = IN_MEMORY,
        watch: PlanWatch | None = None,
    ) -> None:
        self.folder = folder
        self.warnings = tuple(warnings)
        self.plan = PlanFiles(folder, clock)
        self._watch = watch or PlanWatch(self.plan.paths)
        self._job = job
        self.plan_problems: tuple[Problem, ...] = ()
        self._store = store
        self._clock = clock
        self._accounts = accounts
        self._held = LogArrays(job, store.frame())
        self._held_seq = store.last_seq()
        self._reading = threading.Lock()
        self._replanning = threading.Lock()
        self._fold = lru_cache(maxsize=FOLDS_HELD)(self._fold_now)
        self._answers = self._line_answers(job)
        self._judging = Line(job)

    @classmethod
    def open(
        cls, folder: Path | str, database: str | None = None, *, clock: Clock = utc_now
    ) -> Self:
        """Open a project folder and its log.

        Parameters
        ----------
        folder
            A project folder.
        database
            PostgreSQL URL of the log; by default it is ``log.sqlite`` in the folder.
        clock
            What time it is.

        Raises
        ------
        InputError
            With every problem of the folder, when one of them stops the work.
        StoreError
            When the log cannot be opened.
        """
        folder = Path(folder)
        watch = PlanWatch(PlanFiles(folder, clock).paths)
        job, problems = read_folder(folder)
        if job is None:
            raise InputError(errors_only(problems))
        store = open_store(database or folder / LOG_FILE, clock)
        accounts = database or folder / ACCOUNTS_FILE
        return cls(folder, job, store, clock, problems, accounts, watch)

    def close(self) -> None:
        """Close the log and, if they were opened, the accounts."""
        self._store.close()
        if "membership" in self.__dict__:
            self.membership.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    # The plan, which a scheduler changes while the program runs

    @property
    def job(self) -> Job:
        """The job as planned; the plan is the one on disk, at most a second old."""
        if self._watch.changed_lately():
            self.take_new_plan()
        return self._job

    def take_new_plan(self) -> bool:
        """Take the calendar and the baseline of the folder, where they are not those in use.

        Whoever asks meanwhile goes on with the plan there was. A folder that is not sound is
        left alone: ``plan_problems`` says what is wrong with it.

        Returns
        -------
        bool
            Whether another plan is in use now.
        """
        with self._replanning:
            stamp = self._watch.stamp()
            if not self._watch.changed():
                return False
            found, problems = self.plan.read()
            self._watch.take(stamp)
            self.plan_problems = errors_only(problems)
            if found is None:
                return False
            self._replan(with_plan_of(self._job, found))
            return True

    def _replan(self, job: Job) -> None:
        """Give up everything that was worked out by the plan before; the log stays."""
        answers_by_it, judging = self._line_answers(job), Line(job)
        with self._reading:
            # A log of its own for each plan: what was answered is held by the log.
            self._held = LogArrays(job, self._held.events, plan=self._held.plan)
            self._job, self._answers, self._judging = job, answers_by_it, judging

    def look_over_baseline(self, text: str) -> tuple[BaselineReview, tuple[Problem, ...]]:
        """Say what a baseline would change; nothing is written.

        Raises
        ------
        InputError
            With everything that is wrong with it.
        """
        return self.plan.look_over(text, self.job)

    def put_baseline(self, text: str, seen: str, by: str = "", address: str = "") -> PlanPut:
        """Replace the baseline and go by it; who and what goes into the audit trail.

        Raises
        ------
        InputError, PlanChanged, StoreError
            As ``PlanFiles.put_baseline``; nothing is written then.
        """
        return self._put("PUT baseline", self.plan.put_baseline(text, seen, self.job), by, address)

    def put_calendar(
        self, values: Mapping[str, Any], seen: str, by: str = "", address: str = ""
    ) -> PlanPut:
        """Replace the calendar and go by it; who and what goes into the audit trail.

        Raises
        ------
        InputError, PlanChanged, StoreError
            As ``PlanFiles.put_calendar``; nothing is written then.
        """
        return self._put("PUT calendar", self.plan.put_calendar(values, seen), by, address)

    def _put(self, what: str, put: PlanPut, by: str, address: str) -> PlanPut:
        self.take_new_plan()
        if put.changed:
            kept = f"; before: {put.kept}" if put.kept else ""
            self.membership.done(what, f"{put.words}{kept}", by, address)
        return put

    # The clock and the log

    def now(self) -> dt.datetime:
        """Return what a clock on site shows now (local, naive)."""
        return wall_clock(self._clock(), self._job.timezone)

    def log(self) -> LogArrays:
        """Return the log as it is now, reading only what has been added since last time."""
        _ = self.job  # takes up a new plan, with a log of its own
        with self._reading:
            newest = self._store.last_seq()
            if newest != self._held_seq:
                self._held = self._held.extend(self._store.frame(after_seq=self._held_seq))
                self._held_seq = newest
            return self._held

    def last_seq(self) -> int:
        """Return the running number of the newest event, 0 for an empty log."""
        return self._store.last_seq()

    def last_recorded_at(self) -> dt.datetime:
        """Return the moment the log last came to know something, or now when it is empty."""
        events = self.log().events
        return self._clock() if events.empty else events["recorded_at"].max().to_pydatetime()

    # The one way into the log

    def record(
        self,
        events: Sequence[Event],
        *,
        source: str = "event",
        rows: Sequence[int] | None = None,
        keep_recorded_at: bool = False,
        seen_seq: int | None = None,
        headings: Collection[str] | None = None,
    ) -> answers.RecordAnswer:
        """Add events to the log: all of them, or none.

        Parameters
        ----------
        events
            What happened; an ``event_id`` the log already holds is left alone.
        source
            File or form the events came from, for messages.
        rows
            Row of each event in it; counted from 1 where it is not given.
        keep_recorded_at
            Keep the moments an older log carried; otherwise the clock gives them.
        seen_seq
            Running number of the newest event the sender has seen; None does not ask what
            others recorded since.
        headings
            Headings the sender records on; None for all.

        Raises
        ------
        RefusedEvents
            With every problem, when the log does not accept one of them.
        RecordedMeanwhile
            When somebody else recorded on the same unit after ``seen_seq``.
        NotYourHeading
            When one of them lies on another heading.
        """
        numbers = rows or range(1, len(events) + 1)
        row_of = {id(event): row for event, row in zip(events, numbers, strict=True)}
        job, line = self.job, self._judging  # once: nobody may wait for a new plan in a write

        def judged(new: Sequence[Event], held: LogView) -> list[Problem]:
            # Asked here, inside the write, so that of two senders the later one is told.
            self._refuse_others_headings(new, held, headings)
            _refuse_unseen(new, held, seen_seq)
            now = self._clock()
            return judge(
                new, held, job, now_local=wall_clock(now, job.timezone),
                known_by=now if keep_recorded_at else None, source=source,
                rows=[row_of[id(event)] for event in new], line=line,
            )  # fmt: skip

        appended = self._store.append(events, judge=judged, keep_recorded_at=keep_recorded_at)
        accepted = tuple(event.event_id for event in appended.accepted)
        return answers.RecordAnswer(accepted, appended.repeated, appended.warnings)

    def _refuse_others_headings(
        self, new: Sequence[Event], held: LogView, headings: Collection[str] | None
    ) -> None:
        if headings is None:
            return
        others = headings_touched(new, held, self._job.heading_of_unit) - set(headings)
        if others:
            raise NotYourHeading(others)

    def recorded_since(self, seen_seq: int, event_ids: Collection[str]) -> tuple[Event, ...]:
        """Return some events of the log after a running number, exactly as recorded."""
        since = self._store.events(after_seq=seen_seq)
        return tuple(event for event in since if event.event_id in event_ids)

    def record_csv(self, path: Path | str) -> answers.RecordAnswer:
        """Add the events of a CSV file to the log: all of them, or none."""
        path = Path(path)
        table = read_events(path)
        carried = any(event.recorded_at is not None for event in table.events)
        return self.record(
            table.events, source=path.name, rows=table.rows, keep_recorded_at=carried
        )

    @cached_property
    def attachments(self) -> Attachments:
        """The photos and documents kept beside the log."""
        return Attachments(self.folder / ATTACHMENTS_FOLDER)

    def _get_ready_to_judge(self) -> None:
        units = list(self.job.units["unit"])
        for first in range(0, len(units), UNITS_AT_ONCE):
            some = units[first : first + UNITS_AT_ONCE]
            self._store.look(partial(get_ready, units=some, line=self._judging))

    # What every question begins with

    def state(self, as_of: dt.datetime | None = None, known_on: dt.datetime | None = None) -> State:
        """Fold the log as of a local moment, as known on a local moment.

        Without them: to the end of today, with all the log knows.
        """
        return self._fold(self.log(), as_of or end_of_day(self.now().date()), known_on)

    def _fold_now(self, log: LogArrays, as_of: dt.datetime, known_on: dt.datetime | None) -> State:
        known = known_on and known_on.replace(tzinfo=log.job.timezone)
        return fold(log, log.job, as_of=as_of, known_on=known)

    @property
    def line(self) -> LineAnswers:
        """Who lags, why, and when the line finishes by the plan in use, for the pages."""
        _ = self.job
        return self._answers

    def _line_answers(self, job: Job) -> LineAnswers:
        return LineAnswers(job, self.log, self._fold, self.now)

    # Who may come in

    @cached_property
    def membership(self) -> Membership:
        """The accounts; they go by the real clock, also where the log has a day of its own."""
        headings = [heading.key for heading in self.job.headings]
        return Membership(open_accounts(self._accounts), utc_now, headings)


def _refuse_unseen(new: Sequence[Event], held: LogView, seen_seq: int | None) -> None:
    if seen_seq is None:
        return
    theirs = recorded_meanwhile(new, held, seen_seq)
    if theirs:
        raise RecordedMeanwhile(theirs, newest_seq(new, held))
