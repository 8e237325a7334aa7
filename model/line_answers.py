"""What the scheduler asks of the line, answered once and held while the log stays as it is.

A forecast takes a good part of a second, and a page asks for it several times over: for the
dates, for the chart, for who lags. Whoever asks second gets the first one's answer. That of a
long line takes longer than one likes to wait for; it can be watched and stopped.
"""

from __future__ import annotations

import datetime as dt
import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable, Mapping, Sequence
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
WHO_LAGS = f"{MARCHES}, now looking for who lags"

Moment = dt.datetime | None
Answer = TypeVar("Answer")


class _Held(Generic[Answer]):
    """The last answers of a question; who asks meanwhile waits for the first."""

    def __init__(self, answer: Callable[..., Answer], turn: threading.RLock) -> None:
        self._answer, self._turn = answer, turn
        self._looking = threading.Lock()
        self._answers: OrderedDict[tuple[Hashable, ...], Answer] = OrderedDict()

    def __call__(self, *key: Hashable) -> Answer:
        with self._turn:
            with self._looking:
                if key in self._answers:
                    self._answers.move_to_end(key)
                    return self._answers[key]
            answer = self._answer(*key)
            self.keep(answer, *key)
            return answer

    def has(self, *key: Hashable) -> bool:
        """Tell whether it can be answered at once."""
        with self._looking:
            return key in self._answers

    def keep(self, answer: Answer, *key: Hashable) -> None:
        """Hold an answer that was worked out elsewhere."""
        with self._looking:
            self._answers[key] = answer
            while len(self._answers) > ANSWERS_HELD:
                self._answers.popitem(last=False)


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

    def forecast(
        self,
        as_of: Moment = None,
        known_on: Moment = None,
        paths: int = PATHS,
        seed: int = SEED,
        recent: int = RECENT_UNITS,
        on_block: OnBlock | None = None,
    ) -> Forecast:
        """Project the finish from the recent cycle, with its band.

        One that is watched (``on_block``) is held only if nobody stopped it short.
        """
        asked = self._log(), self._moment(as_of), known_on, paths, seed, recent
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
        recent: int,
        on_block: OnBlock | None = None,
    ) -> Forecast:
        state = self._fold(log, as_of, known_on)
        return project_finish(
            self.job, state, as_of=as_of.date(), paths=paths, seed=seed, recent=recent,
            on_block=on_block,
        )  # fmt: skip

    def takes_long(self, as_of: Moment = None, *, lag: bool = False) -> bool:
        """Tell whether the usual forecast, or who lags as well, is not at hand and takes long."""
        log, moment = self._log(), self._moment(as_of)
        at_hand = self._forecasts.has(log, moment, None, PATHS, SEED, RECENT_UNITS)
        if lag:
            at_hand = at_hand and self._lags.has(log, moment, None)
        cells = len(self.job.units) * len(self.job.activities) * PATHS
        return not at_hand and cells >= LONG_CELLS

    def watch_key(self, as_of: Moment = None, *, lag: bool = False) -> Hashable:
        """Return what ``watched`` says it was asked for by ``watch``."""
        return self._log(), self._moment(as_of), lag

    def watch(self, as_of: Moment = None, *, lag: bool = False) -> bool:
        """Start the usual forecast, with who lags after it, so that it can be watched and stopped.

        Returns
        -------
        bool
            Whether it was started: ``watched`` does one thing at a time.
        """
        moment = self._moment(as_of)

        def work(report: Report) -> Forecast:
            forecast = self.forecast(
                moment, on_block=lambda done, paths: report(done, paths, MARCHES)
            )
            if lag and forecast.paths == PATHS and report(PATHS, PATHS, WHO_LAGS):
                self.lag(moment)
            return forecast

        return self.watched.start(work, self.watch_key(moment, lag=lag))

    def get_ready_to_march(self) -> None:
        """Get the compiled march ready by marching the line as it stands (see ``get_ready``)."""
        moment = self._moment(None)
        state = self._fold(self._log(), moment, None)
        get_ready(line_now(self.job, state, moment.date(), recent=RECENT_UNITS))

    def lag(self, as_of: Moment = None, known_on: Moment = None) -> Lag:
        """Say who lags at the front of the line, why, and what it costs."""
        return self._lags(self._log(), self._moment(as_of), known_on)

    def _lag(self, log: LogArrays, as_of: dt.datetime, known_on: Moment) -> Lag:
        return lag(self.job, self._fold(log, as_of, known_on), as_of=as_of.date())

    def lagging_spans(self, as_of: Moment = None) -> Mapping[str, Sequence[int]]:
        """Return the numbers of the spans that lag, by activity, for the map's outlines.

        By themselves, or with a heading whose slow crew costs the finish.
        """
        found = self.lag(as_of)
        slow = found.late_with_heading
        late = pd.concat([found.lagging, slow[slow["slow_heading_costs_days"] > 0]])
        spans = self.job.spans.reset_index(drop=True)
        return {
            activity.key: spans.index[
                spans["unit"].isin(late.loc[late["activity"] == activity.key, "unit"])
            ].tolist()
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
        return self._charts(self._log(), self._moment(as_of))

    def _time_station(self, log: LogArrays, as_of: dt.datetime) -> pd.DataFrame:
        state = self._fold(log, as_of, None)
        forecast = self._forecasts(log, as_of, None, PATHS, SEED, RECENT_UNITS)
        return time_station(self.job, state, forecast)

    def quantity_curves(self, as_of: Moment = None) -> tuple[QuantityCurve, ...]:
        """Return planned, placed and projected quantities by day of every activity."""
        return self._curves(self._log(), self._moment(as_of))

    def _quantity_curves(self, log: LogArrays, as_of: dt.datetime) -> tuple[QuantityCurve, ...]:
        placed = by_day(log, self.job, until=as_of.date())
        return quantity_curves(self.job, self._fold(log, as_of, None), placed)

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
        return whatif(self.job, state, changes, as_of=moment.date(), on_case=on_case)

    def backtest(
        self, on_week: Callable[[int, int], bool] | None = None, as_of: Moment = None
    ) -> Backtest:
        """Project at the end of every past week and compare with what came after."""
        today = self._moment(as_of).date()
        return backtest(self.job, self._log(), now=today, on_week=on_week)
