"""What the scheduler asks of the line, answered once and held while the log stays as it is.

A forecast takes a good part of a second, and a page asks for it several times over: for the
dates, for the chart, for who lags. Whoever asks second gets the first one's answer. That of a
long line takes longer than one likes to wait for; it can be watched and stopped.
"""

from __future__ import annotations

import copy
import datetime as dt
import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Generic, TypeVar

import pandas as pd

from model.backtest import Backtest, backtest
from model.clock import end_of_day
from model.curves import QuantityCurve, quantity_curves
from model.cycle import RECENT_UNITS
from model.cycle_chart import CycleChart, cycle_chart
from model.daybook import SMALL_HOURS, shift_of
from model.fold import State
from model.job import Job
from model.lag import Lag, lag
from model.likely_next import LikelyNext, likely_next
from model.line_now import line_now
from model.log_arrays import LogArrays
from model.one_job import OneJob, Report
from model.placed import by_day
from model.projection import PATHS, SEED, Forecast, project_finish
from model.simulation import OnBlock, get_ready
from model.starving import Starving, starving
from model.time_station import time_station
from model.whatif import Change, WhatIf, whatif

ANSWERS_HELD = 16
"""Moments whose answers are kept: people look at today and at a few days before."""

LONG_CELLS = 10_000_000
"""Units × activities × paths of a forecast that may take more than about a second."""

MARCHES = "marches down the line"
WHO_LAGS = "units at the front, looking for who lags"

Moment = dt.datetime | None
Answer = TypeVar("Answer")


@dataclass(frozen=True)
class Recent:
    """How far back a crew's days are drawn from.

    Parameters
    ----------
    units
        The last so many units of each heading and activity …
    weeks
        … or, where it is given, all of the last so many weeks.
    """

    units: int = RECENT_UNITS
    weeks: float | None = None


class _Held(Generic[Answer]):
    """The last answers of a question; who asks the same meanwhile waits for the first.

    What is at hand is given at once, also while another question is worked out.
    """

    def __init__(self, answer: Callable[..., Answer], turn: threading.RLock) -> None:
        self._answer, self._turn = answer, turn
        self._looking = threading.Lock()
        self._answers: OrderedDict[tuple[Hashable, ...], Answer] = OrderedDict()

    def __call__(self, *key: Hashable) -> Answer:
        answer = self._find(key)
        if answer is None:
            with self._turn:
                answer = self._find(key)
                if answer is None:
                    answer = self._answer(*key)
                    self.keep(answer, *key)
        return answer

    def _find(self, key: tuple[Hashable, ...]) -> Answer | None:
        with self._looking:
            if key in self._answers:
                self._answers.move_to_end(key)
            return self._answers.get(key)

    def has(self, *key: Hashable) -> bool:
        """Tell whether it can be answered at once."""
        with self._looking:
            return key in self._answers

    def questions(self) -> list[tuple[Hashable, ...]]:
        """Return what can be answered at once."""
        with self._looking:
            return list(self._answers)

    def keep(self, answer: Answer, *key: Hashable) -> None:
        """Hold an answer that was worked out elsewhere."""
        with self._looking:
            self._answers[key] = answer
            while len(self._answers) > ANSWERS_HELD:
                self._answers.popitem(last=False)


@dataclass(frozen=True)
class Watched:
    """What a long forecast is of.

    Parameters
    ----------
    log
        The log as it was.
    moment
        As of when.
    recent
        How far back crew's days are drawn from.
    lag
        Whether who lags is worked out after it.
    """

    log: LogArrays
    moment: dt.datetime
    recent: Recent
    lag: bool

    def like(self, other: Hashable) -> bool:
        """Tell whether it is the same question, whatever was recorded in between."""
        return isinstance(other, Watched) and replace(other, log=self.log) == self


class LineAnswers:
    """Answers about the line of one project.

    Parameters
    ----------
    job
        The job as planned.
    log
        Returns the log as it is now.
    fold
        Folds it: the log, as of a local moment, as known on a local moment.
    now
        Returns what a clock on site shows.
    """

    def __init__(
        self,
        job: Job,
        log: Callable[[], LogArrays],
        fold: Callable[[LogArrays, dt.datetime, Moment], State],
        now: Callable[[], dt.datetime],
    ) -> None:
        self.job = job
        self._log, self._fold, self._now = log, fold, now
        self._newest_log = log
        self.recent = Recent()
        self._answering = threading.RLock()
        self._forecasts = _Held(self._forecast, self._answering)
        self._lags = _Held(self._lag, self._answering)
        self._charts = _Held(self._time_station, self._answering)
        self._curves = _Held(self._quantity_curves, self._answering)
        self.watched: OneJob[Forecast] = OneJob()
        # A phone on thin signal must not wait behind the long questions of an office.
        self._likely = _Held(self._likely_next, threading.RLock())

    def _moment(self, as_of: Moment) -> dt.datetime:
        return as_of or end_of_day(self._now().date())

    def looking_back(self, recent: Recent) -> LineAnswers:
        """Return these answers with crew's days drawn from so far back."""
        other = copy.copy(self)
        other.recent = recent
        return other

    def _of_log(self, log: LogArrays) -> LineAnswers:
        """Return these answers for one log, however the log grows."""
        other = copy.copy(self)
        other._log = lambda: log
        return other

    def shown(self, as_of: Moment = None, *, lag: bool = False) -> LineAnswers | None:
        """Return what can be shown at once: as these answers, or as the last ones before them.

        Where the forecast takes long, the log may grow faster than it is worked through. So
        that who reads is not kept waiting by who writes, answers for the same day of the
        newest log that has them stand in; ``behind`` says how much was recorded since.

        Parameters
        ----------
        as_of, lag
            As ``takes_long``.

        Returns
        -------
        LineAnswers
            None where nothing is at hand for that day.
        """
        if not self.takes_long(as_of, lag=lag):
            return self
        moment = self._moment(as_of)
        logs = [
            key[0]
            for key in self._forecasts.questions()
            if isinstance(key[0], LogArrays) and self._is_at_hand(key[0], moment, lag=lag)
        ]
        newest = max(logs, key=lambda log: len(log.events), default=None)
        return None if newest is None else self._of_log(newest)

    def behind(self) -> int:
        """Say how many events were recorded since what these answers are of."""
        return len(self._newest_log().events) - len(self._log().events)

    def last_seq(self) -> int:
        """Return the running number of the newest event these answers are of; 0 for none."""
        events = self._log().events
        return 0 if events.empty else int(events["seq"].max())

    def forecast(
        self,
        as_of: Moment = None,
        known_on: Moment = None,
        paths: int = PATHS,
        seed: int = SEED,
        on_block: OnBlock | None = None,
    ) -> Forecast:
        """Project the finish from the recent cycle, with its band.

        One that is watched (``on_block``) is held only if nobody stopped it short.
        """
        asked = self._log(), self._moment(as_of), known_on, paths, seed, self.recent
        if on_block is None or self._forecasts.has(*asked):
            return self._forecasts(*asked)
        answer = self._forecast(*asked, on_block)
        if answer.paths == paths:
            self._forecasts.keep(answer, *asked)
        return answer

    def _forecast(
        self,
        log: LogArrays,
        as_of: dt.datetime,
        known_on: Moment,
        paths: int,
        seed: int,
        recent: Recent,
        on_block: OnBlock | None = None,
    ) -> Forecast:
        state = self._fold(log, as_of, known_on)
        return project_finish(
            self.job, state, as_of=as_of.date(), paths=paths, seed=seed, recent=recent.units,
            recent_weeks=recent.weeks, on_block=on_block,
        )  # fmt: skip

    def takes_long(self, as_of: Moment = None, *, lag: bool = False) -> bool:
        """Tell whether the usual forecast, or who lags as well, is not at hand and takes long."""
        cells = len(self.job.units) * len(self.job.activities) * PATHS
        if cells < LONG_CELLS:
            return False
        return not self._is_at_hand(self._log(), self._moment(as_of), lag=lag)

    def _is_at_hand(self, log: LogArrays, moment: dt.datetime, *, lag: bool) -> bool:
        at_hand = self._forecasts.has(log, moment, None, PATHS, SEED, self.recent)
        return at_hand and (not lag or self._lags.has(log, moment, None, self.recent))

    def watch_key(self, as_of: Moment = None, *, lag: bool = False) -> Watched:
        """Return what ``watched`` says it was asked for by ``watch``."""
        return Watched(self._log(), self._moment(as_of), self.recent, lag)

    def watch(self, as_of: Moment = None, *, lag: bool = False) -> bool:
        """Start the usual forecast, with who lags after it, so that it can be watched and stopped.

        Returns
        -------
        bool
            Whether it was started: ``watched`` does one thing at a time.
        """
        key = self.watch_key(as_of, lag=lag)
        # The log may grow meanwhile; who lags must be of the same one as the dates.
        line, moment = self._of_log(key.log), key.moment

        def work(report: Report) -> Forecast:
            forecast = line.forecast(
                moment, on_block=lambda done, paths: report(done, paths, MARCHES)
            )
            if lag and forecast.paths == PATHS:
                line.lag(moment, on_row=lambda done, rows: report(done, rows, WHO_LAGS))
            return forecast

        return self.watched.start(work, key)

    def get_ready_to_march(self) -> None:
        """Get the compiled march ready by marching the line as it stands (see ``get_ready``)."""
        moment = self._moment(None)
        state = self._fold(self._log(), moment, None)
        get_ready(line_now(self.job, state, moment.date(), recent=self.recent.units))

    def lag(
        self,
        as_of: Moment = None,
        known_on: Moment = None,
        on_row: Callable[[int, int], bool] | None = None,
    ) -> Lag:
        """Say who lags at the front of the line, why, and what it costs.

        ``on_row`` is told the units looked at and in all; it ends in ``StoppedShort`` when
        that says False.
        """
        asked = self._log(), self._moment(as_of), known_on, self.recent
        if on_row is None or self._lags.has(*asked):
            return self._lags(*asked)
        answer = self._lag(*asked, on_row)
        self._lags.keep(answer, *asked)
        return answer

    def _lag(
        self,
        log: LogArrays,
        as_of: dt.datetime,
        known_on: Moment,
        recent: Recent,
        on_row: Callable[[int, int], bool] | None = None,
    ) -> Lag:
        return lag(
            self.job, self._fold(log, as_of, known_on), as_of=as_of.date(), recent=recent.units,
            recent_weeks=recent.weeks, on_row=on_row,
        )  # fmt: skip

    def lagging_pairs(self, as_of: Moment = None) -> frozenset[tuple[str, str]]:
        """Return each unit and activity that lags, to be outlined on the map and on the chart.

        By itself, or with a heading whose slow crew costs the finish.
        """
        found = self.lag(as_of)
        slow = found.late_with_heading
        late = pd.concat([found.lagging, slow[slow["slow_heading_costs_days"] > 0]])
        return frozenset(zip(late["unit"], late["activity"], strict=True))

    def lagging_spans(self, as_of: Moment = None) -> Mapping[str, Sequence[int]]:
        """Return the numbers of the spans of ``lagging_pairs``, by activity."""
        late = self.lagging_pairs(as_of)
        spans = self.job.spans.reset_index(drop=True)
        return {
            activity.key: [
                place for place, unit in enumerate(spans["unit"]) if (unit, activity.key) in late
            ]
            for activity in self.job.activities
        }

    def likely_next(self) -> LikelyNext:
        """Say what is likely to be reported of the shift that runs now."""
        now = self._now()
        return self._likely(self._log(), shift_of(now), end_of_day(now.date()))

    def _likely_next(self, log: LogArrays, shift: dt.date, as_of: dt.datetime) -> LikelyNext:
        began = dt.datetime.combine(shift, SMALL_HOURS) - dt.timedelta.resolution
        state, before = self._fold(log, as_of, None), self._fold(log, began, None)
        return likely_next(self.job, state, before, shift)

    def starving(self, as_of: Moment = None) -> Starving:
        """Say which crews stand idle and which are next to, and what they wait for."""
        return starving(self.job, self.forecast(as_of))

    def time_station(self, as_of: Moment = None) -> pd.DataFrame:
        """Lay out the work of every crew by station and time."""
        return self._charts(self._log(), self._moment(as_of), self.recent)

    def _time_station(self, log: LogArrays, as_of: dt.datetime, recent: Recent) -> pd.DataFrame:
        state = self._fold(log, as_of, None)
        forecast = self._forecasts(log, as_of, None, PATHS, SEED, recent)
        return time_station(self.job, state, forecast)

    def quantity_curves(self, as_of: Moment = None) -> tuple[QuantityCurve, ...]:
        """Return planned, placed and projected quantities by day of every activity."""
        return self._curves(self._log(), self._moment(as_of), self.recent)

    def _quantity_curves(
        self, log: LogArrays, as_of: dt.datetime, recent: Recent
    ) -> tuple[QuantityCurve, ...]:
        placed = by_day(log, self.job, until=as_of.date())
        return quantity_curves(
            self.job, self._fold(log, as_of, None), placed, recent=recent.units,
            recent_weeks=recent.weeks,
        )  # fmt: skip

    def cycle_chart(self, heading: str, activity: str, as_of: Moment = None) -> CycleChart:
        """Chart one crew's cycles against their own limits."""
        state = self._fold(self._log(), self._moment(as_of), None)
        return cycle_chart(self.job, state, heading, activity)

    def whatif(
        self,
        changes: Sequence[Change],
        as_of: Moment = None,
        on_case: Callable[[int, int], bool] | None = None,
    ) -> WhatIf:
        """Compare cases with the line as it is."""
        moment = self._moment(as_of)
        state = self._fold(self._log(), moment, None)
        return whatif(
            self.job, state, changes, as_of=moment.date(), recent=self.recent.units,
            recent_weeks=self.recent.weeks, on_case=on_case,
        )  # fmt: skip

    def backtest(
        self, on_week: Callable[[int, int], bool] | None = None, as_of: Moment = None
    ) -> Backtest:
        """Project at the end of every past week and compare with what came after."""
        today = self._moment(as_of).date()
        return backtest(
            self.job, self._log(), now=today, recent=self.recent.units,
            recent_weeks=self.recent.weeks, on_week=on_week,
        )  # fmt: skip
