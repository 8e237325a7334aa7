"""Old projections against what came after."""

from __future__ import annotations

import datetime as dt
import json
from typing import Any

import numpy as np
import pandas as pd
import pytest

from model.backtest import RIVALS, Backtest, backtest
from model.events import Event
from model.fold import fold
from model.job import Job
from model.projection import project_finish
from tests.model.builders import a_frame, a_job, an_event, done, only
from tests.model.simulated_job import last_day, simulated_job

pytestmark = pytest.mark.usefixtures("way")


def at_pace(each: list[int]) -> tuple[Job, list[Event]]:
    """A trade whose units take these days, one after the other."""
    job = a_job(units=len(each), activities=only("falsework"))
    events, day = [], 0
    for unit, days in zip(job.headings[0].units, each, strict=True):
        first, last = job.calendar.date_of([day, day + days - 1])
        events += done("falsework", unit, f"{first} 07:00", f"{last} 15:00")
        day += days
    return job, events


def steady(units: int = 30, days: int = 3) -> tuple[Job, list[Event]]:
    """A trade that takes the same days for every unit."""
    return at_pace([days] * units)


LATER = dt.date(2026, 12, 31)


def test_a_steady_job_is_projected_right() -> None:
    job, events = steady()
    tested = backtest(job, a_frame(*events), now=LATER, paths=200, as_known=False)
    assert tested.outcomes["error_days"].abs().max() <= 2
    assert tested.outcomes["as_of"].is_monotonic_increasing
    assert (tested.outcomes["as_of"].dt.day_of_week == 4).all()


def test_a_projection_sees_only_what_was_known_then() -> None:
    job, events = steady()
    week_late = [
        an_event(event.kind, event.at, event.unit, event.activity,
                 recorded_at=(event.at + dt.timedelta(days=14)).replace(tzinfo=dt.UTC))
        for event in events
    ]  # fmt: skip
    told = backtest(job, a_frame(*week_late), now=LATER, paths=200)
    seen = backtest(job, a_frame(*week_late), now=LATER, paths=200, as_known=False)
    # What is told late looks like a line that stands still: it is projected too late.
    assert told.outcomes["error_days"].mean() < seen.outcomes["error_days"].mean() - 3


def test_what_has_not_come_yet_is_judged_only_when_its_band_has_passed() -> None:
    job, events = steady()
    half = events[:30]
    now = half[-1].at.date() + dt.timedelta(days=3)
    tested = backtest(job, a_frame(*half), now=now, paths=200, as_known=False)
    assert (tested.outcomes["p90"] < pd.Timestamp(now)).all()
    much_later = now + dt.timedelta(days=120)
    stalled = backtest(job, a_frame(*half), now=much_later, paths=200, as_known=False)
    missed = stalled.outcomes[stalled.outcomes["actual"].isna()]
    assert len(missed) > 0
    assert (missed["error_days"] > 0).all()
    assert stalled.as_dict()["coverage_80"] < tested.as_dict()["coverage_80"] + 1e-9


BACK: list[dict[str, Any]] = [{"recent": 4}, {"recent": 20}, {"recent_weeks": 2.0}]


def pace_that_changes() -> tuple[Job, list[Event]]:
    """Twelve uneven units take 36 days, four slow ones 24: ten are left then."""
    return at_pace([2, 4] * 6 + [6] * 4 + [2] * 10)


@pytest.mark.parametrize("back", BACK)
def test_each_projection_looks_back_from_its_own_week_as_a_forecast_made_then(
    back: dict[str, Any],
) -> None:
    job, events = pace_that_changes()
    log, week = a_frame(*events), job.calendar.date_of(36 + 24 - 1).item()
    then = fold(log, job, as_of=dt.datetime.combine(week, dt.time(23, 59, 59)))
    made_then = project_finish(job, then, as_of=week, paths=200, **back).finish
    tested = backtest(job, log, now=LATER, paths=200, as_known=False, **back).outcomes
    row = tested[(tested["as_of"] == pd.Timestamp(week)) & (tested["units_ahead"] == 10)].iloc[0]
    projected = [row[name].date() for name in ("p10", "p50", "p90")]
    assert projected == [made_then.p10, made_then.p50, made_then.p90]


def test_old_projections_that_look_back_otherwise_are_others() -> None:
    job, events = pace_that_changes()
    errors = [
        backtest(job, a_frame(*events), now=LATER, paths=200, as_known=False, **back).as_dict()[
            "mean_abs_error_days"
        ]
        for back in BACK
    ]
    assert len(set(errors)) == len(BACK)


def test_figures_are_those_of_the_outcomes() -> None:
    days = pd.to_datetime(["2026-05-01"] * 4)
    frame = pd.DataFrame(
        {
            "as_of": days,
            "units_ahead": 10,
            "p10": days,
            "p25": days + pd.Timedelta(days=2),
            "p50": days + pd.Timedelta(days=4),
            "p75": days + pd.Timedelta(days=6),
            "p90": days + pd.Timedelta(days=8),
            "actual": days + pd.to_timedelta([3, 7, 9, -1], unit="D"),
            "error_days": [-1.0, 3.0, 5.0, -5.0],
            RIVALS[0]: [4.0, 4.0, -4.0, 4.0],
            RIVALS[1]: [2.0, np.nan, 2.0, 2.0],
        }
    )
    answer = Backtest(frame).as_dict()
    assert (answer["projections"], answer["coverage_50"], answer["coverage_80"]) == (4, 0.25, 0.5)
    assert answer["mean_abs_error_days"] == 3.5
    assert answer["rivals"] == {RIVALS[0]: 4.0, RIVALS[1]: 2.0}
    assert str(Backtest(frame)) == (
        "Of 4 past projections, the finish of the next 10 units fell inside the 80\u00a0% band "
        "2 times."
    )


def test_a_job_too_young_has_nothing_to_judge() -> None:
    job, events = steady()
    young = backtest(job, a_frame(*events[:6]), now=dt.date(2026, 3, 12), as_known=False)
    assert young.as_dict()["projections"] == 0
    assert str(young) == "No past projection can be judged yet."


def test_a_backtest_can_be_stopped_and_says_how_far_it_is() -> None:
    job, events = steady()
    seen: list[tuple[int, int]] = []

    def two_weeks(done_weeks: int, weeks: int) -> bool:
        seen.append((done_weeks, weeks))
        return done_weeks < 2

    tested = backtest(
        job, a_frame(*events), now=LATER, paths=100, as_known=False, on_week=two_weeks
    )
    assert [done_weeks for done_weeks, _ in seen] == [1, 2]
    assert tested.outcomes["as_of"].nunique() <= 2


def test_json_has_the_keys_people_rely_on() -> None:
    job, events = steady()
    answer = backtest(job, a_frame(*events), now=LATER, paths=100, as_known=False).as_dict()
    assert json.loads(json.dumps(answer, allow_nan=False)) == answer
    assert {
        "projections", "coverage_50", "coverage_80", "mean_abs_error_days", "rivals",
        "by_horizon",
    } <= answer.keys()  # fmt: skip
    assert [row["units_ahead"] for row in answer["by_horizon"]] == [1, 3, 5, 10]


@pytest.mark.parametrize("seed", [3])
def test_a_job_by_other_rules_is_projected_better_than_by_plain_averages(seed: int) -> None:
    # Our own criterion: at least 30% below each plain rival; over many jobs see the benchmark.
    simulated = simulated_job(seed)
    tested = backtest(
        simulated.job, simulated.log, now=last_day(simulated) + dt.timedelta(days=150), paths=300
    )
    answer = tested.as_dict()
    for name in RIVALS:
        assert answer["mean_abs_error_days"] < 0.7 * answer["rivals"][name]
