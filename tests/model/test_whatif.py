"""What a change would buy."""

from __future__ import annotations

import datetime as dt
import json

import numpy as np
import pytest

from model.events import Event
from model.fold import State, fold
from model.job import Job
from model.line_now import line_now
from model.problems import InputError
from model.whatif import AS_IT_IS, Case, Change, WhatIf, changed, whatif
from tests.model.builders import a_calendar, a_frame, a_job, done, only

TODAY = dt.date(2026, 3, 20)
WEATHER = (0.0, 0.0, 4.0, 4.0, 4.0, 4.0, 4.0, 4.0, 0.0, 0.0, 0.0, 0.0)


def started(job: Job) -> list[Event]:
    """Two units of falsework done by 13 March."""
    return [
        *done("falsework", job.headings[0].units[0], "2026-03-02 07:00", "2026-03-06 15:00"),
        *done("falsework", job.headings[0].units[1], "2026-03-09 07:00", "2026-03-13 15:00"),
    ]


def state_of(job: Job, events: list[Event] | None = None) -> State:
    events = started(job) if events is None else events
    return fold(a_frame(*events), job, as_of=dt.datetime.combine(TODAY, dt.time(23)))


def asked(job: Job, *changes: Change) -> WhatIf:
    return whatif(job, state_of(job), changes, as_of=TODAY, paths=300)


def only_case(job: Job, **change: object) -> Case:
    return asked(job, Change("case", **change)).cases[1]  # type: ignore[arg-type]


def test_no_change_changes_nothing() -> None:
    base, same = asked(a_job(units=8, headings=2), Change("the same")).cases
    assert base.name == AS_IT_IS
    assert same.finish == base.finish
    assert same.headings == base.headings
    assert (same.sooner_days, same.crew_days) == (0, base.crew_days)


def test_a_quicker_crew_brings_the_finish_forward() -> None:
    job = a_job(units=20, activities=only("falsework"))
    case = only_case(job, cycles={("h1", "falsework"): 2.0})
    # 18 units to go at two days each.
    days = job.calendar.count(np.datetime64(TODAY) + 1, np.datetime64(case.finish.p50) + 1)
    assert days == pytest.approx(36, abs=2)
    assert case.sooner_days > 0


def test_a_cycle_may_be_set_on_every_heading_at_once() -> None:
    job = a_job(units=20, headings=2, activities=only("falsework"))
    case = only_case(job, cycles={("", "falsework"): 1.0})
    assert case.sooner_days > 0
    assert case.headings["h2"].p50 <= dt.date(2026, 4, 7)


def test_a_second_crew_halves_the_days_of_its_trade() -> None:
    job = a_job(units=22, activities=only("falsework"))
    base, case = asked(job, Change("two", crews={("h1", "falsework"): 2})).cases
    days = [
        job.calendar.count(np.datetime64(TODAY) + 1, np.datetime64(c.finish.p50) + 1)
        for c in (base, case)
    ]
    # And the days by which the two, who take units in turn, end apart.
    assert days[1] == pytest.approx(days[0] / 2 + 2, abs=3)
    # Twice the crew for half the time costs about the same crew-days.
    assert case.crew_days == pytest.approx(base.crew_days, rel=0.15)


def test_more_sets_shorten_a_line_that_waits_for_them() -> None:
    job = a_job(units=10, falsework_sets=1)
    assert only_case(job, falsework_sets={"h1": 4}).sooner_days > 20


def test_sets_in_use_are_never_more_than_there_are() -> None:
    job = a_job(units=12, headings=2, falsework_sets=3)
    base, case = asked(job, Change("two", falsework_sets={"": 2})).cases
    assert max(base.sets_in_use.values()) <= 3
    assert max(case.sets_in_use.values()) <= 2
    assert case.finish.p50 >= base.finish.p50


def test_a_turnaround_that_takes_longer_delays() -> None:
    job = a_job(units=8, falsework_sets=1)
    assert only_case(job, turnaround_days={"h1": 10}).sooner_days < -10


def test_a_sixth_day_brings_the_finish_forward() -> None:
    week = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat")
    job = a_job(units=30, activities=only("falsework"))
    base, case = asked(job, Change("six days", workdays=week)).cases
    left = (base.finish.p50 - TODAY).days
    assert case.sooner_days == pytest.approx(left / 6, abs=3)


def test_dry_weather_brings_the_finish_forward() -> None:
    job = a_job(
        units=20, activities=only("falsework"), calendar=a_calendar(lost_days_per_month=WEATHER)
    )
    dry = only_case(job, weather=0.0)
    assert dry.sooner_days > 5
    assert only_case(job, weather=1.5).sooner_days < 0


def test_units_are_built_in_the_order_asked_for() -> None:
    job = a_job(units=6, activities=only("falsework"))
    line = changed(
        line_now(job, state_of(job), TODAY, recent=8), Change("turn", order={"h1": ("E06", "E05")})
    )
    assert [line.units[row] for row in line.runs[0].units] == [
        "E01", "E02", "E06", "E05", "E03", "E04",
    ]  # fmt: skip


def test_a_new_heading_shares_the_work() -> None:
    job = a_job(units=20, activities=only("falsework"))
    far_end = tuple(f"E{unit}" for unit in range(20, 11, -1))
    case = only_case(job, order={"from_the_end": far_end})
    assert case.sooner_days > 20
    assert set(case.headings) == {"h1", "from_the_end"}


def test_a_new_heading_is_said_to_be_new_with_its_crews_and_sets() -> None:
    job = a_job(units=20, activities=only("falsework"), falsework_sets=2)
    new = Change(
        "east", order={"east": ("E20", "E19")}, crews={("east", "falsework"): 2},
        falsework_sets={"east": 3},
    )  # fmt: skip
    answer = asked(job, new)
    (added,) = answer.cases[1].added
    assert (added.crews, added.falsework_sets) == ((("falsework", 2),), 3)
    assert answer.cases[0].added == ()
    assert (
        "  east is a new heading: 2 units from E20 on, at the pace of h1, with one crew of each "
        "trade (falsework: 2) and 3 falsework sets of its own."
    ) in str(answer).splitlines()


def test_units_in_another_order_on_their_own_heading_add_none() -> None:
    job = a_job(units=6, activities=only("falsework"))
    assert only_case(job, order={"h1": ("E06", "E05")}).added == ()


def test_an_order_without_a_heading_is_refused_by_its_field() -> None:
    with pytest.raises(InputError) as refused:
        asked(a_job(units=8), Change("c", order={"": ("E08",)}))
    assert [problem.field for problem in refused.value.problems] == ["order"]


def test_pours_a_week_are_units_over_weeks() -> None:
    job = a_job(units=20, activities=only("falsework"))
    case = only_case(job, cycles={("h1", "falsework"): 2.5})
    assert case.pours_per_week == pytest.approx(2.0, abs=0.25)


def test_a_case_leaves_the_line_as_it_is_alone() -> None:
    job = a_job(units=8, headings=2, falsework_sets=2)
    line = line_now(job, state_of(job), TODAY, recent=8)
    before = [run.sets for run in line.runs], line.finished.copy(), line.calendar
    changed(line, Change("much", falsework_sets={"": 5}, workdays=("Mon",), weather=2.0))
    assert [run.sets for run in line.runs] == before[0]
    assert np.array_equal(line.finished, before[1], equal_nan=True)
    assert line.calendar is before[2]


WRONG = [
    (Change("c", cycles={("h9", "falsework"): 3.0}), "'h9' is no heading"),
    (Change("c", crews={("h1", "paint"): 2}), "'paint' is no activity"),
    (Change("c", falsework_sets={"h9": 2}), "'h9' is no heading"),
    (Change("c", crews={("h1", "falsework"): 0}), "Found 0; expected 1 or more"),
    (Change("c", weather=-1.0), "Found -1; expected 0 or more"),
    (Change("c", cycles={("h1", "falsework"): float("nan")}), "Found nan"),
    (Change("c", order={"h1": ("E01",)}), "E01 has begun already"),
    (Change("c", order={"h1": ("E05", "E05")}), "E05 is listed twice"),
    (Change("c", order={"new": ("X99",)}), "'X99' is no unit"),
    (Change("c", order={"": ("E08",)}), "on no heading. Name one of h1, or a new one"),
    (Change("c", order={" ": ("E08",)}), "on no heading"),
    (Change("c", order={"H 1": ("E08",)}), "'H 1' is no heading"),
]


@pytest.mark.parametrize(("change", "message"), WRONG)
def test_a_change_that_does_not_fit_says_what_is_wrong(change: Change, message: str) -> None:
    with pytest.raises(InputError) as refused:
        asked(a_job(units=8), change)
    assert message in str(refused.value)
    assert "case 'c'" in str(refused.value)


def test_all_that_is_wrong_is_said_in_one_go() -> None:
    with pytest.raises(InputError) as refused:
        asked(a_job(units=8), *[change for change, _ in WRONG[:3]])
    assert len(refused.value.problems) == 3


def test_no_more_than_four_cases_are_compared() -> None:
    with pytest.raises(InputError, match="5 cases"):
        asked(a_job(units=8), *[Change(str(number)) for number in range(5)])


def test_the_answer_can_be_written_as_json() -> None:
    answer = asked(a_job(units=8, headings=2), Change("the same")).as_dict()
    assert json.loads(json.dumps(answer, allow_nan=False)) == answer
    assert [case["name"] for case in answer["cases"]] == [AS_IT_IS, "the same"]
    assert set(answer["cases"][0]["finish"]) == {"p10", "p50", "p80", "p90"}


def test_the_text_gives_the_dates_of_the_band_and_the_sets_in_use() -> None:
    answer = asked(a_job(units=8, headings=2, falsework_sets=2), Change("the same"))
    case = answer.cases[1]
    (line,) = [one for one in str(answer).splitlines() if one.startswith("the same: ")]
    assert f"({case.finish.p10:%d %b %Y} … {case.finish.p90:%d %b %Y})" in line
    assert "most sets in use: " in line
    assert all(f"{key} {number}" in line for key, number in case.sets_in_use.items())
