"""One project: its folder, its log, and every answer by name.

Each question is one short method that calls one module. Screens, the command line and
scripts all ask here, so that they agree::

    with Project.open("our_viaduct") as project:
        print(project.status())
        print(project.forecast())
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from functools import cached_property, lru_cache
from pathlib import Path
from typing import Any, Unpack

import pandas as pd

from model import answers, ready
from model.activities import Activity
from model.backtest import Backtest
from model.changes import changes
from model.clock import wall_clock
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
from model.lag import Lag
from model.line_answers import Recent
from model.log_arrays import LogArrays
from model.next_pour import next_pour
from model.open_project import DATABASE_FILES, OpenProject
from model.placed import by_day, planned_totals
from model.pour_answer import PourAnswer
from model.pour_asked import PourAsked
from model.pours_ahead import PourAhead, pours_ahead
from model.problems import InputError, Problem, errors_only
from model.projection import Forecast
from model.shift_totals import shift_totals
from model.simulation import await_kernel
from model.store import BackedUp, back_up, restore
from model.week import week, week_moments
from model.week_answer import WeekAnswer
from model.whatif import Change, WhatIf


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


class Project(OpenProject):
    """A project that is open, and every answer by name."""

    # Where the line stands

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

    # What the map and its day slider draw

    def changes(self) -> pd.DataFrame:
        """Return every change of every span's status (see ``model.changes``)."""
        return changes(self.log(), self.job)

    def days(self) -> answers.DaysAnswer:
        """Return what was placed and finished by the end of each day up to today."""
        return self._days(self.log(), self.now().date())

    @cached_property
    def _days(self) -> Callable[[LogArrays, dt.date], answers.DaysAnswer]:
        return lru_cache(maxsize=2)(self._days_until)

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

    # What leaves the project

    def export(self, target: Path, *, replace: bool = False) -> None:
        """Write footprints with their statuses (.gpkg, .geojson) or the log (.csv).

        Raises
        ------
        InputError
            For another ending, or a file that is there when ``replace`` is false.
        """
        export_file(target, self.state(), self._store.events(), replace=replace)
