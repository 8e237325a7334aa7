"""Who lags, why, and what it costs."""

from __future__ import annotations

import dataclasses
import datetime as dt
import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from model.events import Event
from model.fold import fold
from model.job import Job
from model.lag import Lag, lag
from model.project import Project
from model.store.memory import MemoryStore
from model.whatif import Change, whatif
from tests.model.builders import a_frame, a_job, an_event, done, only

TRADES = only("falsework", "bottom_slab_stems", grain="unit")


def in_turn(job: Job, units: int, days: int, activity: str = "falsework") -> list[Event]:
    """Units finished one after the other, each in so many days."""
    events = []
    for number, unit in enumerate(job.headings[0].units[:units]):
        first, last = job.calendar.date_of([number * days, number * days + days - 1])
        events += done(activity, unit, f"{first} 07:00", f"{last} 15:00")
    return events


def day_of(job: Job, number: int) -> dt.date:
    return job.calendar.date_of(number).item()


def lagging(job: Job, events: list[Event], as_of: dt.date, **more: object) -> Lag:
    state = fold(a_frame(*events), job, as_of=dt.datetime.combine(as_of, dt.time(23, 59)))
    return lag(job, state, as_of=as_of, **{"paths": 400, **more})  # type: ignore[arg-type]


def row(answer: Lag, unit: str, activity: str = "falsework") -> pd.Series:
    rows = answer.units
    return rows[(rows["unit"] == unit) & (rows["activity"] == activity)].iloc[0]


def test_a_unit_on_its_pace_is_not_behind() -> None:
    job = a_job(units=20, activities=only("falsework"))
    events = [*in_turn(job, 10, 3), an_event("start", f"{day_of(job, 30)} 07:00", "E11")]
    answer = lagging(job, events, day_of(job, 30), recent=10)
    assert abs(row(answer, "E11")["behind_pace"]) <= 0.5
    assert row(answer, "E11")["costs_finish_days"] == 0.0
    assert str(answer) == "No unit lags behind the pace of its heading."


def test_a_unit_that_takes_long_is_behind_its_pace_by_the_days_it_does() -> None:
    job = a_job(units=20, activities=only("falsework"))
    events = [*in_turn(job, 10, 3), an_event("start", f"{day_of(job, 30)} 07:00", "E11")]
    # Nine days later it still goes on: it was due six days ago and is not done before tomorrow.
    late = row(lagging(job, events, day_of(job, 38), recent=10), "E11")
    assert 7 <= late["behind_pace"] <= 12
    assert late["why"] == "Under way for 9 working days; its crew usually takes 3."
    assert late["costs_finish_days"] > 0


def test_a_hold_is_the_reason_in_the_words_it_was_given() -> None:
    job = a_job(units=20, activities=only("falsework"))
    events = [
        *in_turn(job, 10, 3),
        an_event("start", f"{day_of(job, 30)} 07:00", "E11"),
        an_event("hold", f"{day_of(job, 31)} 15:00", "E11", reason="no timber"),
    ]
    held = row(lagging(job, events, day_of(job, 40), recent=10), "E11")
    assert held["why"] == "On hold for 10 working days: no timber."
    assert held["costs_finish_days"] >= 1.0


def test_what_waits_for_a_lagging_unit_costs_nothing_itself() -> None:
    job = a_job(units=12, activities=TRADES)
    events = [*in_turn(job, 6, 3), an_event("start", f"{day_of(job, 18)} 07:00", "E07")]
    for number in range(6):
        first, last = job.calendar.date_of([3 * number + 3, 3 * number + 5])
        events += done("bottom_slab_stems", f"E{number + 1:02d}", f"{first} 07:00", f"{last} 15:00")
    answer = lagging(job, events, day_of(job, 30))
    waits = row(answer, "E07", "bottom_slab_stems")
    assert waits["why"] == "Waits for falsework of its unit."
    assert waits["behind_pace"] > 5
    assert waits["costs_finish_days"] == 0.0
    assert (answer.lagging["behind_pace"] >= 1.0).all()
    assert "E07" in set(answer.lagging["unit"])
    assert answer.units.iloc[0]["activity"] == "falsework"
    assert row(answer, "E08")["why"] == "Waits for its crew, which is on E07."


def test_a_crew_starves_when_the_unit_before_it_is_late() -> None:
    job = a_job(units=12, activities=TRADES)
    events = in_turn(job, 6, 3)
    for number in range(6):
        first, last = job.calendar.date_of([3 * number + 3, 3 * number + 5])
        events += done("bottom_slab_stems", f"E{number + 1:02d}", f"{first} 07:00", f"{last} 15:00")
    # Falsework of E07 should have been done by now; the forms crew stands since day 20.
    events += [an_event("start", f"{day_of(job, 18)} 07:00", "E07")]
    starving = row(lagging(job, events, day_of(job, 25)), "E07")
    assert starving["buffer_left"] < 0


def test_a_crew_with_work_before_it_has_buffer_left() -> None:
    job = a_job(units=12, activities=TRADES)
    events = in_turn(job, 8, 3)
    first, last = job.calendar.date_of([3, 5])
    events += done("bottom_slab_stems", "E01", f"{first} 07:00", f"{last} 15:00")
    # Seven units of forms lie before that crew, three days each.
    assert row(lagging(job, events, day_of(job, 23)), "E09")["buffer_left"] > 10


def test_the_last_trade_has_no_crew_to_starve() -> None:
    job = a_job(units=3, activities=TRADES)
    answer = lagging(job, in_turn(job, 1, 3), day_of(job, 3))
    assert np.isnan(row(answer, "E01", "bottom_slab_stems")["buffer_left"])


def test_a_unit_is_behind_the_baseline_by_working_days() -> None:
    job = a_job(units=20, activities=only("falsework"))
    events = [*in_turn(job, 10, 3), an_event("start", f"{day_of(job, 30)} 07:00", "E11")]
    planned = pd.DataFrame(
        {
            "unit": ["E11"],
            "activity": ["falsework"],
            "planned_finish": pd.to_datetime([day_of(job, 27)]).astype("datetime64[us]"),
        }
    )
    job = dataclasses.replace(job, baseline=planned)
    answer = lagging(job, events, day_of(job, 30), recent=10)
    assert row(answer, "E11")["behind_baseline"] == 5
    assert np.isnan(row(answer, "E12")["behind_baseline"])


def test_the_set_a_unit_waits_for_is_named() -> None:
    job = a_job(units=6, activities=only("falsework", "curing"), falsework_sets=1)
    answer = lagging(job, done("falsework"), dt.date(2026, 3, 4))
    assert row(answer, "E02")["why"] == "Waits for the falsework set under E01."


# Late with all the heading


def with_baseline(job: Job, every: int, late: int = 0) -> Job:
    """A baseline that has a unit of falsework every so many days, the first so much later."""
    units = job.headings[0].units
    days = [day_of(job, every * number - 1 + late) for number in range(1, len(units) + 1)]
    planned = {"unit": units, "activity": "falsework",
               "planned_finish": pd.to_datetime(days).astype("datetime64[us]")}  # fmt: skip
    return dataclasses.replace(job, baseline=pd.DataFrame(planned))


def a_slow_heading(as_of: int = 60) -> tuple[Job, Lag]:
    """Ten of twenty units done in six days each, where the baseline has three."""
    job = with_baseline(a_job(units=20, activities=only("falsework")), 3)
    events = [*in_turn(job, 10, 6), an_event("start", f"{day_of(job, 60)} 07:00", "E11")]
    return job, lagging(job, events, day_of(job, as_of), recent=10)


def test_a_unit_that_keeps_the_pace_of_a_slow_heading_is_found_with_the_heading_as_its_cause():
    _, answer = a_slow_heading()
    late = answer.late_with_heading
    assert answer.lagging.empty
    assert set(late["unit"]) == {"E11", "E12"}
    assert late["why"].iloc[0].startswith("The whole heading is slow: falsework, 5.")
    assert (
        " working days of its crew a unit, where the plan of its trade has 3."
        in late["why"].iloc[0]
    )
    assert late["behind_baseline"].iloc[0] >= 30
    assert "E11 falsework: " in str(answer)
    assert "The whole heading is slow" in str(answer)


def test_units_of_a_slow_heading_are_outlined_on_the_map(tmp_path: Path) -> None:
    job = with_baseline(a_job(units=20, activities=only("falsework")), 3)
    evening = dt.datetime.combine(day_of(job, 60), dt.time(20), tzinfo=job.timezone)
    store = MemoryStore(lambda: evening)
    with Project(tmp_path, job, store, lambda: evening) as project:
        project.record(
            [*in_turn(job, 10, 6), an_event("start", f"{evening:%Y-%m-%d} 07:00", "E11")]
        )
        outlined = project.line.lagging_spans()["falsework"]
    assert set(job.spans["unit"].iloc[outlined]) == {"E11", "E12"}


def test_what_a_slow_heading_costs_is_what_a_case_with_the_planned_days_would_save() -> None:
    job, answer = a_slow_heading()
    costs = row(answer, "E12")["slow_heading_costs_days"]
    assert row(answer, "E11")["slow_heading_costs_days"] == costs
    assert row(answer, "E12")["costs_finish_days"] == 0.0
    as_of = day_of(job, 60)
    events = [*in_turn(job, 10, 6), an_event("start", f"{as_of} 07:00", "E11")]
    state = fold(a_frame(*events), job, as_of=dt.datetime.combine(as_of, dt.time(23, 59)))
    change = Change(
        "as planned", cycles={("h1", "falsework"): job.activities[0].planned_cycle_days}
    )
    base, case = whatif(job, state, [change], as_of=as_of, paths=400, recent=10).cases
    saved = job.calendar.count(np.datetime64(case.finish.p50), np.datetime64(base.finish.p50))
    assert saved > 10
    # The case also quickens the unit under way.
    assert costs == pytest.approx(float(saved), abs=3.0)


def test_a_heading_that_lost_days_long_ago_and_is_slow_no_more_is_said_to() -> None:
    job = with_baseline(a_job(units=20, activities=only("falsework")), 3, late=-12)
    events = [*in_turn(job, 10, 3), an_event("start", f"{day_of(job, 30)} 07:00", "E11")]
    late = row(lagging(job, events, day_of(job, 30), recent=10), "E11")
    assert late["why"].startswith("Behind since earlier: the heading now keeps the pace")
    assert late["slow_heading_costs_days"] == 0.0


def test_a_crew_that_waits_behind_a_slow_one_is_not_called_slow() -> None:
    trades = only("falsework", "bottom_slab_stems")
    job = a_job(units=20, activities=trades)
    plan = with_baseline(job, 3).baseline
    job = dataclasses.replace(
        job, baseline=pd.concat([plan, plan.assign(activity="bottom_slab_stems")])
    )
    # Falsework takes six days, and the stems follow each in three, planned so.
    events = [*in_turn(job, 10, 6), an_event("start", f"{day_of(job, 60)} 07:00", "E11")]
    events.append(
        an_event("start", f"{day_of(job, 60)} 07:00", "E10", activity="bottom_slab_stems")
    )
    for number, unit in enumerate(job.headings[0].units[:9], 1):
        first, last = day_of(job, 6 * number), day_of(job, 6 * number + 2)
        events += done("bottom_slab_stems", unit, f"{first} 07:00", f"{last} 15:00")
    answer = lagging(job, events, day_of(job, 60), recent=10)
    slow = row(answer, "E11")
    assert slow["why"].startswith("The whole heading is slow: falsework, ")
    assert slow["slow_heading_costs_days"] > 10
    behind = answer.units[answer.units["activity"] == "bottom_slab_stems"].iloc[0]
    assert "the bottom slab and stems crew is no slower than planned" in behind["why"]
    assert behind["slow_heading_costs_days"] == 0.0


def test_a_unit_that_lags_by_itself_is_not_taken_for_one_of_a_slow_heading() -> None:
    _, answer = a_slow_heading(as_of=75)
    assert "E11" in set(answer.lagging["unit"])
    assert "E11" not in set(answer.late_with_heading["unit"])
    assert np.isnan(row(answer, "E11")["slow_heading_costs_days"])
    assert row(answer, "E11")["why"].startswith("Under way for 16 working days")


def test_without_a_baseline_no_heading_is_called_slow() -> None:
    job = a_job(units=20, activities=only("falsework"))
    assert lagging(job, in_turn(job, 10, 6), day_of(job, 60)).late_with_heading.empty


def test_what_costs_the_finish_most_comes_first_among_slow_headings_then_what_is_farthest() -> None:
    _, answer = a_slow_heading()
    late = answer.late_with_heading
    order = late[["slow_heading_costs_days", "behind_baseline"]].to_numpy().tolist()
    assert order == sorted(order, reverse=True)


def test_a_crew_that_stood_still_before_a_unit_is_said_to_have() -> None:
    job = a_job(units=20, activities=only("falsework"))
    events = [*in_turn(job, 10, 3), an_event("start", f"{day_of(job, 39)} 07:00", "E11")]
    late = row(lagging(job, events, day_of(job, 40), recent=10), "E11")
    assert late["why"] == "Under way; its crew stood still for 9 working days before it."


def test_the_crew_whose_buffer_it_is_is_named() -> None:
    job = a_job(units=12, activities=TRADES)
    answer = lagging(job, in_turn(job, 6, 3), day_of(job, 18))
    assert row(answer, "E07")["next_crew"] == "bottom_slab_stems"
    assert set(answer.units.loc[answer.units["buffer_left"].isna(), "next_crew"]) == {""}


# Order, JSON, repeats


def test_the_worst_comes_first() -> None:
    job = a_job(units=20, headings=2, activities=only("falsework"))
    events = [*in_turn(job, 6, 3), an_event("start", f"{day_of(job, 18)} 07:00", "E07")]
    costs = lagging(job, events, day_of(job, 32)).units["costs_finish_days"]
    assert costs.is_monotonic_decreasing


def test_a_finished_line_has_nobody_lagging() -> None:
    job = a_job(units=2, activities=only("falsework"))
    answer = lagging(job, in_turn(job, 2, 3), dt.date(2026, 4, 1))
    assert answer.units.empty
    assert answer.as_dict() == {"as_of": "2026-04-01", "units": []}


def test_json_has_the_keys_people_rely_on() -> None:
    job = a_job(units=6)
    answer = lagging(job, in_turn(job, 2, 3), day_of(job, 7)).as_dict()
    assert json.loads(json.dumps(answer, allow_nan=False)) == answer
    assert {
        "unit", "activity", "behind_baseline", "behind_pace", "buffer_left",
        "costs_finish_days", "why", "slow_heading_costs_days", "next_crew",
    } <= set(answer["units"][0])  # fmt: skip
    assert all(unit["behind_baseline"] is None for unit in answer["units"])


def test_the_same_seed_gives_the_same_answer() -> None:
    job = a_job(units=8)
    events = in_turn(job, 3, 3)
    day = day_of(job, 12)
    assert lagging(job, events, day).as_dict() == lagging(job, events, day).as_dict()


@pytest.mark.parametrize("as_of", [0, 5, 40])
def test_nobody_costs_less_than_nothing(as_of: int) -> None:
    job = a_job(units=10, headings=2, falsework_sets=2)
    answer = lagging(job, in_turn(job, 2, 3), day_of(job, as_of))
    assert (answer.units["costs_finish_days"] >= 0).all()
