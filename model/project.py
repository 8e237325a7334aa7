"""One project: its folder, its log, and every answer by name.

Each question is one short method that calls one module. Screens, the command line and
scripts all ask here, so that they agree::

    with Project.open("our_viaduct") as project:
        print(project.status())
        print(project.forecast())
"""

from __future__ import annotations

import datetime as dt
import threading
from collections.abc import Callable, Collection, Mapping, Sequence
from functools import cached_property, lru_cache, partial
from pathlib import Path
from types import TracebackType
from typing import Any, Unpack

import pandas as pd

from model import answers, ready
from model.acceptance import get_ready, judge
from model.activities import Activity
from model.backtest import Backtest
from model.changes import changes
from model.clock import Clock, end_of_day, utc_now, wall_clock
from model.cycle import RECENT_UNITS
from model.daybook import (
    DayBook,
    day_book,
    first_seq_of,
    shift_of,
    told_last,
    units_of_cancelled,
)
from model.documents import Document
from model.events import Event
from model.exchange.change_file import changes_of, read_changes, write_changes
from model.exchange.exports import export_file
from model.exchange.folder import read_folder
from model.exchange.geojson import bounds_deg, context_document, footprints_document
from model.exchange.tables import read_events
from model.fold import State, fold
from model.job import Job
from model.lag import Lag
from model.line_answers import LineAnswers, Recent
from model.log_arrays import LogArrays
from model.meanwhile import (
    NotYourHeading,
    RecordedMeanwhile,
    headings_touched,
    newest_seq,
    recorded_meanwhile,
)
from model.membership import Membership
from model.next_pour import next_pour
from model.placed import by_day, planned_totals
from model.plan_files import PlanFiles, PlanPut, with_plan_of
from model.plan_review import BaselineReview
from model.plan_watch import PlanWatch
from model.pour_answer import PourAnswer
from model.pour_asked import PourAsked
from model.pours_ahead import PourAhead, pours_ahead
from model.problems import InputError, Problem, errors_only
from model.projection import Forecast
from model.sequence import Line
from model.shift_totals import shift_totals
from model.simulation import await_kernel
from model.store import (
    Attachments,
    BackedUp,
    Store,
    back_up,
    open_accounts,
    open_store,
    restore,
)
from model.unit_log import LogView
from model.week import week, week_moments
from model.week_answer import WeekAnswer
from model.whatif import Change, WhatIf

LOG_FILE = "log.sqlite"
ACCOUNTS_FILE = "accounts.sqlite"
DATABASE_FILES = (LOG_FILE, ACCOUNTS_FILE)
ATTACHMENTS_FOLDER = "attachments"
IN_MEMORY = ":memory:"
UNITS_AT_ONCE = 8
"""Units that are looked at in one go, for writers wait meanwhile."""

FOLDS_HELD = 32
"""Moments whose fold is kept: a person moves among a few of them."""


def check_folder(folder: Path | str) -> answers.CheckAnswer:
    """Say everything that is wrong with a project folder; changes nothing."""
    _, problems = read_folder(Path(folder))
    return answers.CheckAnswer(tuple(problems))


def back_up_folder(folder: Path | str, target: Path | str) -> BackedUp:
    """Write a project folder, its log and its accounts into one file, while they are in use."""
    return back_up(Path(folder), Path(target), DATABASE_FILES)


def restore_folder(source: Path | str, folder: Path | str) -> BackedUp:
    """Make a new project folder out of a backup."""
    return restore(Path(source), Path(folder), DATABASE_FILES)


class Project:
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
        self._days = lru_cache(maxsize=2)(self._days_until)
        self._answers = self._line_answers(job)
        self._judging = Line(job)

    @classmethod
    def open(
        cls, folder: Path | str, database: str | None = None, *, clock: Clock = utc_now
    ) -> Project:
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

    def __enter__(self) -> Project:
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

    # Where the line stands

    def state(self, as_of: dt.datetime | None = None, known_on: dt.datetime | None = None) -> State:
        """Fold the log as of a local moment, as known on a local moment.

        Without them: to the end of today, with all the log knows.
        """
        return self._fold(self.log(), as_of or end_of_day(self.now().date()), known_on)

    def _fold_now(self, log: LogArrays, as_of: dt.datetime, known_on: dt.datetime | None) -> State:
        known = known_on and known_on.replace(tzinfo=log.job.timezone)
        return fold(log, log.job, as_of=as_of, known_on=known)

    def status(
        self,
        as_of: dt.datetime | None = None,
        known_on: dt.datetime | None = None,
        activity: str | None = None,
    ) -> answers.StatusAnswer:
        """Say where every trade stands and what is placed against plan.

        Raises
        ------
        InputError
            For an activity the job does not have.
        """
        if activity is not None:
            self.activity(activity)
        state = self.state(as_of, known_on)
        return answers.status_answer(state, as_of or self.now(), known_on or self.now(), activity)

    def activity(self, key: str) -> Activity:
        """Return an activity by its key.

        Raises
        ------
        InputError
            When the job has none of that key.
        """
        found = self.job.activity_by_key.get(key)
        if found is None:
            known = ", ".join(self.job.activity_by_key)
            raise InputError(
                [Problem("request", f"{key!r} is no activity of this job.", f"Use one of {known}.",
                         field="activity")]
            )  # fmt: skip
        return found

    def history(self, unit: str) -> tuple[answers.HistoryEntry, ...]:
        """Return everything recorded of a unit, latest first."""
        return answers.history_of(self._store.events(unit=unit), self.job.timezone)

    def at_hand(self, activity: str) -> pd.DataFrame:
        """Say for each unit or span of an activity whether work can go on (``ready``)."""
        return ready.readiness(self.state(), self.job, self.activity(activity))

    def day_book(self, day: dt.date | None = None, known_on: dt.datetime | None = None) -> DayBook:
        """Return who recorded what of a day's shift; of the shift that runs now without a day."""
        now = self.now()
        day, known_on = day or shift_of(now), known_on or now
        log = self.log()
        first = first_seq_of(log.events, log.job, day)
        events = self._store.events(after_seq=first - 1)
        units = units_of_cancelled(events, log.events)
        return day_book(
            events, log.job, day, known_on=known_on, totals=shift_totals(log, day, known_on),
            earlier=[event for unit in units for event in self._store.events(unit=unit)],
        )  # fmt: skip

    def told_last(self, by: str) -> tuple[dt.date | None, tuple[Event, ...]]:
        """Return the day and the events of somebody's last shift, if that was in the last week."""
        log = self.log().events
        since = pd.Timestamp(shift_of(self.now())) - pd.Timedelta(days=7)
        own = log.loc[(log["by"] == by) & (log["at"] >= since), "seq"]
        events = self._store.events(after_seq=int(own.min()) - 1) if len(own) else []
        return told_last(events, by)

    # What the next pour needs

    def pour(
        self,
        unit: str,
        activity: str,
        *,
        as_of: dt.datetime | None = None,
        known_on: dt.datetime | None = None,
        **asked: Unpack[PourAsked],
    ) -> PourAnswer:
        """Say what a pour of a unit needs: concrete, hours, trucks, finishers, days of cure.

        ``asked`` is what goes before the folder's ``[pour]`` and recent pours, in SI; see
        ``PourAsked``. ``asked_in`` of ``model.pour_asked`` makes it of the project's units.

        Raises
        ------
        InputError
            For what is no pour of this job, is poured already, or cannot be.
        """
        state, now = self.state(as_of, known_on), self.now()
        plan = next_pour(state, unit, self.activity(activity), asked, as_of or now)
        return PourAnswer(plan, as_of or now, known_on or now, state.job.units_system)

    def pours_ahead(self, unit: str = "") -> tuple[PourAhead, ...]:
        """Return the pours that come next, of all headings or of a unit, the nearest first."""
        return pours_ahead(self.state(), unit)

    # Who may come in

    @cached_property
    def membership(self) -> Membership:
        """The accounts; they go by the real clock, also where the log has a day of its own."""
        headings = [heading.key for heading in self.job.headings]
        return Membership(open_accounts(self._accounts), utc_now, headings)

    # What the map and its day slider draw

    def changes(self) -> pd.DataFrame:
        """Return every change of every span's status (see ``model.changes``)."""
        return changes(self.log(), self.job)

    def days(self) -> answers.DaysAnswer:
        """Return what was placed and finished by the end of each day up to today."""
        return self._days(self.log(), self.now().date())

    def _days_until(self, log: LogArrays, last: dt.date) -> answers.DaysAnswer:
        by_days = by_day(log, log.job, until=last)
        return answers.days_answer(by_days, planned_totals(log.plan), log.job)

    def prepare(self) -> None:
        """Work out what every page asks for first, so that the first visitor need not wait.

        From then on no forecast waits for the compiler: ``get_ready_to_march`` does.
        """
        await_kernel()
        self.days()
        self._get_ready_to_judge()
        for document in (self.footprints, self.context):
            if document is not None:
                _ = document.gzipped

    def get_ready_to_march(self) -> None:
        """Load or compile the compiled march, which may take seconds; NumPy marches until then.

        Raises
        ------
        ImportError, OSError, RuntimeError
            When the compiler does not fit, fails, or cannot keep what it made.
        """
        self.line.get_ready_to_march()

    def _get_ready_to_judge(self) -> None:
        units = list(self.job.units["unit"])
        for first in range(0, len(units), UNITS_AT_ONCE):
            some = units[first : first + UNITS_AT_ONCE]
            self._store.look(partial(get_ready, units=some, line=self._judging))

    @cached_property
    def footprints(self) -> Document:
        """The span footprints in WGS 84, as the browser fetches them."""
        return footprints_document(self.job)

    @cached_property
    def context(self) -> Document | None:
        """The background layers in WGS 84, if the folder has any."""
        return context_document(self.folder)

    @cached_property
    def bounds_deg(self) -> tuple[float, float, float, float]:
        """West, south, east and north of the footprints, degrees (WGS 84)."""
        return bounds_deg(self.job.spans)

    def planned_from(self, activity: str) -> tuple[str, ...]:
        """Say where an activity's planned quantities come from: schedule, section, or both."""
        rows = self.job.planned[self.job.planned["activity"] == activity]
        return tuple(sorted(rows["planned_from"].unique()))

    # When it will finish

    def forecast(
        self,
        as_of: dt.datetime | None = None,
        known_on: dt.datetime | None = None,
        paths: int = 10_000,
        seed: int = 1,
        recent: int = RECENT_UNITS,
        recent_weeks: float | None = None,
        on_block: Callable[[int, int], bool] | None = None,
    ) -> Forecast:
        """Project the finish from the recent cycle, with its band.

        Crew's days are drawn from the last ``recent`` units of each heading and activity, or
        where ``recent_weeks`` is given, from all of the last so many weeks.
        ``on_block`` is told the paths done and in all; the rest is left out when it says False.
        """
        line = self.line.looking_back(Recent(recent, recent_weeks))
        return line.forecast(as_of, known_on, paths, seed, on_block)

    def lag(
        self,
        as_of: dt.datetime | None = None,
        known_on: dt.datetime | None = None,
        recent: int = RECENT_UNITS,
        recent_weeks: float | None = None,
    ) -> Lag:
        """Say who lags at the front of the line, why, and what it costs the finish.

        ``recent`` and ``recent_weeks`` as in ``forecast``.
        """
        return self.line.looking_back(Recent(recent, recent_weeks)).lag(as_of, known_on)

    def backtest(
        self,
        on_week: Callable[[int, int], bool] | None = None,
        as_of: dt.datetime | None = None,
        recent: int = RECENT_UNITS,
        recent_weeks: float | None = None,
    ) -> Backtest:
        """Compare what was projected at the end of every past week with what came after.

        ``on_week`` is told the weeks done and in all; the rest is left out when it says False.
        Each looks back from its own week, ``recent`` and ``recent_weeks`` as in ``forecast``.
        """
        return self.line.looking_back(Recent(recent, recent_weeks)).backtest(on_week, as_of)

    def whatif(
        self,
        changes: Sequence[Change],
        as_of: dt.datetime | None = None,
        on_case: Callable[[int, int], bool] | None = None,
        recent: int = RECENT_UNITS,
        recent_weeks: float | None = None,
    ) -> WhatIf:
        """Compare cases with the line as it is; the log is left alone.

        ``on_case`` is told the cases done and in all; the rest is left out when it says False.
        ``recent`` and ``recent_weeks`` as in ``forecast``.

        Raises
        ------
        InputError
            When a case does not fit the job, or there are too many.
        """
        line = self.line.looking_back(Recent(recent, recent_weeks))
        return line.whatif(changes, as_of, on_case)

    def whatif_file(
        self,
        path: Path | str,
        as_of: dt.datetime | None = None,
        recent: int = RECENT_UNITS,
        recent_weeks: float | None = None,
    ) -> WhatIf:
        """Compare the cases of a file with the line as it is.

        Raises
        ------
        InputError
            When the file cannot be read, or a case does not fit the job.
        """
        changes, problems = read_changes(Path(path))
        if errors_only(problems):
            raise InputError(errors_only(problems))
        return self.whatif(changes, as_of, recent=recent, recent_weeks=recent_weeks)

    def whatif_tables(
        self,
        tables: Mapping[str, Any],
        recent: int = RECENT_UNITS,
        recent_weeks: float | None = None,
    ) -> WhatIf:
        """Compare cases given in the words of such a file; what means nothing is refused too.

        Raises
        ------
        InputError
            When they cannot be read, or a case does not fit the job.
        """
        changes, problems = changes_of(tables, "request")
        if problems:
            raise InputError(problems)
        return self.whatif(changes, recent=recent, recent_weeks=recent_weeks)

    def change_text(self, changes: Sequence[Change]) -> str:
        """Write cases as the text of a file that ``whatif_file`` reads."""
        return write_changes(changes)

    def week(
        self, ending: dt.date | None = None, known_on: dt.datetime | None = None
    ) -> WeekAnswer:
        """Say what a week was, beside the week before; the last full one without its last day.

        As known at its own end, unless asked otherwise, so that it can be asked for again.

        Raises
        ------
        InputError
            For a week before the job or still to come; see ``week_moments``.
        """
        last_told = wall_clock(self.last_recorded_at(), self.job.timezone)
        moments = week_moments(self.job, ending, known_on, now=self.now(), last_told=last_told)
        return week(self.line, self.state, moments)

    @property
    def line(self) -> LineAnswers:
        """Who lags, why, and when the line finishes by the plan in use, for the pages."""
        _ = self.job
        return self._answers

    def _line_answers(self, job: Job) -> LineAnswers:
        return LineAnswers(job, self.log, self._fold, self.now)

    # What leaves the project

    def export(self, target: Path, *, replace: bool = False) -> None:
        """Write footprints with their statuses (.gpkg, .geojson) or the log (.csv).

        Raises
        ------
        InputError
            For another ending, or a file that is there when ``replace`` is false.
        """
        export_file(target, self.state(), self._store.events(), replace=replace)


def _refuse_unseen(new: Sequence[Event], held: LogView, seen_seq: int | None) -> None:
    if seen_seq is None:
        return
    theirs = recorded_meanwhile(new, held, seen_seq)
    if theirs:
        raise RecordedMeanwhile(theirs, newest_seq(new, held))
