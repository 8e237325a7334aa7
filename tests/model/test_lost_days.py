"""Days lost to weather, counted from the log's own holds."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest

from model.events import Event
from model.fold import State, fold
from model.job import Job
from model.line_now import line_now
from model.lost_days import NONE_KNOWN, LostDays, lost_days_of
from model.problems import InputError
from model.projection import project_finish
from model.whatif import Change, whatif
from tests.model.builders import a_calendar, a_frame, a_job, an_event, done, only

TODAY = dt.date(2026, 3, 27)
"""A Friday: 20 working days from the builders' first Monday on."""

MARCH, APRIL = 2, 3


def folded(job: Job, *events: Event) -> State:
    return fold(a_frame(*events), job, as_of=dt.datetime.combine(TODAY, dt.time(23)))


def counted(job: Job, *events: Event) -> LostDays | None:
    return lost_days_of(job, folded(job, *events), TODAY)


def hold(begin: str, end: str = "", reason: str = "Rain", **more: str) -> list[Event]:
    """A hold of March 2026 by its days, from seven to seven."""
    events = [an_event("hold", f"2026-03-{begin} 07:00", reason=reason, **more)]
    return events + ([an_event("resume", f"2026-03-{end} 07:00", **more)] if end else [])


JOB = a_job(units=6, activities=only("falsework"))
START = an_event("start", "2026-03-02 07:00")


def test_days_lost_are_counted_and_drawn_towards_the_usual() -> None:
    # Tuesday 10th and Wednesday 11th: 2 of 20 working days.
    found = counted(JOB, START, *hold("10", "12"))
    assert found is not None
    assert (found.lost.sum(), found.seen.sum()) == (2.0, 20.0)
    # All: (2 + 20 · 0.05) / (20 + 20) = 0.075. March: (2 + 20 · 0.075) / (20 + 20) = 0.0875.
    # March and April 2026 have 22 working days each.
    assert found.per_month[MARCH] == pytest.approx(0.0875 * 22)
    assert found.per_month[APRIL] == pytest.approx(0.075 * 22)


def test_a_day_counts_by_the_share_of_the_work_under_way_that_weather_holds() -> None:
    job = a_job(units=6, headings=2, activities=only("falsework"))
    other = an_event("start", "2026-03-02 07:00", unit="E04")
    found = counted(job, START, other, *hold("10", "12"))
    assert found is not None
    assert found.lost[MARCH] == pytest.approx(2 / 2)


def test_spans_of_a_unit_held_together_are_one() -> None:
    job = a_job(units=2, spans=3, activities=only("rebar"))
    rebar = {"activity": "rebar"}
    found = counted(job, an_event("start", "2026-03-02 07:00", **rebar), *hold("10", "12", **rebar))
    assert found is not None
    assert found.lost[MARCH] == pytest.approx(2.0)


def test_weekends_are_not_lost_and_a_hold_in_force_counts_until_today() -> None:
    # Thursday 19th to Friday 27th: 7 working days.
    found = counted(JOB, START, *hold("19"))
    assert found is not None
    assert found.lost[MARCH] == pytest.approx(7.0)


def test_a_stop_that_is_over_within_its_shift_costs_no_day() -> None:
    resumed = an_event("resume", "2026-03-10 11:00")
    found = counted(JOB, START, *hold("10"), resumed)
    assert found is not None
    assert found.lost.sum() == 0.0


def test_what_is_no_weather_is_no_lost_day() -> None:
    assert counted(JOB, START, *hold("10", "12", reason="Waiting for forms")) is None
    assert counted(JOB, START) is None
    assert counted(JOB) is None


def test_a_calendar_with_a_list_goes_by_the_list() -> None:
    job = a_job(
        units=6, activities=only("falsework"), calendar=a_calendar(lost_days_per_month=(1.0,) * 12)
    )
    now = line_now(job, folded(job, START, *hold("10", "12")), TODAY, recent=8)
    assert now.calendar.lost_days_per_month == (1.0,) * 12
    assert now.lost_days is None


RAINY = [*done("falsework", "E01", "2026-03-02 07:00", "2026-03-06 15:00"),
         an_event("start", "2026-03-09 07:00", unit="E02"),
         *hold("10", "16", unit="E02")]  # fmt: skip


def test_lost_days_of_the_log_are_marched_with_and_said() -> None:
    dry = [event for event in RAINY if event.kind not in ("hold", "resume")]
    wet, other = (
        project_finish(JOB, folded(JOB, *events), as_of=TODAY, paths=500) for events in (RAINY, dry)
    )
    assert any(str(note).startswith("Days lost to weather are counted") for note in wet.notes)
    assert "4.0 of 20 working days" in wet.notes[-1]
    assert NONE_KNOWN in other.notes
    # Weather has a share of what is left only where the log knows of weather.
    shares = [f.drivers.set_index("constraint")["share"].get("weather", 0.0) for f in (wet, other)]
    assert np.sum(shares[0]) > 0
    assert np.sum(shares[1]) == 0


def test_a_case_of_other_weather_changes_something_once_the_log_knows_of_weather() -> None:
    job = a_job(units=20, activities=only("falsework"))
    answer = whatif(job, folded(job, *RAINY), [Change("dry", weather=0.0)], as_of=TODAY, paths=300)
    assert answer.cases[1].sooner_days > 0


@pytest.mark.parametrize("lost", [None, (0.0,) * 12])
def test_a_case_of_other_weather_is_refused_while_no_lost_days_are_known(
    lost: tuple[float, ...] | None,
) -> None:
    job = a_job(
        units=6, activities=only("falsework"), calendar=a_calendar(lost_days_per_month=lost)
    )
    with pytest.raises(InputError, match="No lost days are known") as refused:
        whatif(job, folded(job, START), [Change("wet", weather=3.0)], as_of=TODAY, paths=300)
    assert [problem.field for problem in refused.value.problems] == ["weather"]
