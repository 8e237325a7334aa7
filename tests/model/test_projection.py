"""The projection against exact results, and what it must never do."""

from __future__ import annotations

import dataclasses
import datetime as dt
import json

import numpy as np
import pytest

from model import simulation
from model.chance import keys
from model.events import Event
from model.fold import fold
from model.job import Job
from model.line_now import line_now
from model.lost_days import NONE_KNOWN
from model.pace import Pace, draw_from
from model.projection import Forecast, project_finish
from tests.model.builders import ACTIVITIES, a_calendar, a_frame, a_job, an_event, done, only

pytestmark = pytest.mark.usefixtures("way")

FALSEWORK = only("falsework")
WEATHER = (4.0, 4.0, 3.0, 2.0, 1.0, 0.0, 0.0, 0.0, 1.0, 2.0, 3.0, 4.0)


def in_turn(job: Job, days: list[int], activity: str = "falsework") -> list[Event]:
    """The first units of the first heading, each begun when the one before is finished."""
    events, day = [], 0
    for unit, taken in zip(job.headings[0].units, days, strict=False):
        first, last = job.calendar.date_of([day, day + taken - 1])
        events += done(activity, unit, f"{first} 07:00", f"{last} 15:00")
        day += taken
    return events


def end_of(job: Job, events: list[Event]) -> dt.date:
    return max(event.at.date() for event in events) if events else job.calendar.start


def projected(
    job: Job, events: list[Event], as_of: dt.date | None = None, **more: object
) -> Forecast:
    day = as_of or end_of(job, events)
    moment = dt.datetime.combine(day, dt.time(23, 59))
    state = fold(a_frame(*events), job, as_of=moment)
    return project_finish(job, state, as_of=day, **{"paths": 2000, **more})  # type: ignore[arg-type]


def dates(forecast: Forecast, unit: str, activity: str = "falsework") -> list[str]:
    rows = forecast.units
    row = rows[(rows["unit"] == unit) & (rows["activity"] == activity)].iloc[0]
    return [f"{row[name]:%Y-%m-%d}" for name in ("p10", "p50", "p80", "p90")]


STEADY = [3] * 40


def steady_job(units: int = 44) -> Job:
    """Units at exactly three days each, planned so: nothing is left to chance but the plan."""
    return a_job(units=units, activities=FALSEWORK)


def test_a_steady_line_goes_on_at_its_pace() -> None:
    job = steady_job()
    forecast = projected(job, in_turn(job, STEADY), recent=40)
    last = job.calendar.date_of(44 * 3 - 1)
    assert abs((forecast.finish.p50 - last.item()).days) <= 1


def test_the_dates_come_in_order_and_never_before_tomorrow() -> None:
    job = a_job(units=8, headings=2, calendar=a_calendar(lost_days_per_month=WEATHER))
    events = in_turn(job, [4, 3, 5])
    forecast = projected(job, events)
    todo = forecast.units[forecast.units["finished"].isna()]
    quantiles = todo[["p10", "p50", "p80", "p90"]].to_numpy()
    assert (np.diff(quantiles, axis=1) >= np.timedelta64(0)).all()
    assert (quantiles > np.datetime64(end_of(job, events))).all()


def test_every_date_of_a_crew_is_a_working_day() -> None:
    off = (dt.date(2026, 4, 10), dt.date(2026, 4, 13))
    job = a_job(units=8, calendar=a_calendar(days_off=off, lost_days_per_month=WEATHER))
    forecast = projected(job, in_turn(job, [4, 3, 5]))
    crews = forecast.units[forecast.units["activity"] != "curing"]
    for name in ("p10", "p50", "p80", "p90"):
        assert job.calendar.is_workday(crews[name].dropna().to_numpy()).all()


def test_a_unit_finishes_its_trades_in_order() -> None:
    job = a_job(units=5)
    forecast = projected(job, in_turn(job, [3, 3]))
    unit = forecast.units[forecast.units["unit"] == "E05"]
    assert unit["activity"].tolist() == [activity.key for activity in ACTIVITIES]
    assert unit["p50"].is_monotonic_increasing


def test_complete_units_carry_the_date_they_were_finished() -> None:
    job = steady_job(4)
    forecast = projected(job, in_turn(job, [3, 4]))
    rows = forecast.units.set_index("unit")
    assert f"{rows['finished']['E02']:%Y-%m-%d}" == "2026-03-10"
    assert rows[["p10", "p90"]].loc["E02"].isna().all()
    assert rows["finished"].isna().tolist() == [False, False, True, True]


def test_a_finished_line_is_finished_when_it_was() -> None:
    job = steady_job(2)
    forecast = projected(job, in_turn(job, [3, 4]), as_of=dt.date(2026, 5, 1))
    assert set(forecast.finish.as_dict().values()) == {"2026-03-10"}
    assert forecast.drivers.empty
    assert forecast.notes == (NONE_KNOWN,)


def test_the_same_seed_gives_the_same_forecast() -> None:
    job = a_job(units=6, calendar=a_calendar(lost_days_per_month=WEATHER))
    events = in_turn(job, [3, 5, 4])
    one, again = projected(job, events, seed=7), projected(job, events, seed=7)
    other = projected(job, events, seed=8)
    assert one.as_dict() == again.as_dict()
    assert (one.finish_days == again.finish_days).all()
    assert (one.finish_days != other.finish_days).any()


def test_little_history_falls_back_on_the_plan_and_says_so() -> None:
    job = steady_job(10)
    forecast = projected(job, [], as_of=dt.date(2026, 3, 1))
    planned_end = job.calendar.date_of(10 * 3 - 1).item()
    assert abs((forecast.finish.p50 - planned_end).days) <= 3
    assert forecast.notes[0].startswith("Falsework on h1: 0 recent cycles are too few")
    assert "planned cycle of 3 working days" in forecast.notes[0]


def test_enough_history_is_not_talked_about() -> None:
    job = steady_job(10)
    assert projected(job, in_turn(job, [3] * 6)).notes == (NONE_KNOWN,)


def test_the_whole_line_finishes_with_its_last_heading() -> None:
    job = a_job(units=9, headings=3, activities=FALSEWORK)
    forecast = projected(job, in_turn(job, [3, 3, 3]))
    assert forecast.finish.p10 >= max(band.p10 for band in forecast.headings.values())
    assert forecast.headings["h1"].p90 == dt.date(2026, 3, 12)


def test_work_under_way_is_not_begun_again() -> None:
    job = steady_job(14)
    events = in_turn(job, [3] * 12)
    tuesday = job.calendar.date_of([36, 37])
    begun = [*events, an_event("start", f"{tuesday[0]} 07:00", "E13")]
    later = tuesday[1].item()
    with_start = projected(job, begun, as_of=later)
    without = projected(job, events, as_of=later)
    assert dates(with_start, "E13")[1] < dates(without, "E13")[1]
    # Two of three days are spent: it is done on the third.
    assert dates(with_start, "E13")[1] == str(job.calendar.date_of(38))


def test_work_half_placed_takes_half_its_days() -> None:
    job = a_job(
        units=12, activities=FALSEWORK, planned=[("E11", "", "falsework", 100.0)],
    )  # fmt: skip
    job = dataclasses.replace(job, activities=only("falsework", planned_cycle_days=10.0))
    events = in_turn(job, [10] * 10)
    day = job.calendar.date_of(100)
    events += [
        an_event("start", f"{day} 07:00", "E11"),
        an_event("place", f"{day} 14:00", "E11", quantity=50),
    ]
    forecast = projected(job, events, recent=10)
    done_by = job.calendar.count(day, dates(forecast, "E11")[1])
    assert 4 <= done_by <= 6


def test_the_first_loads_of_a_pour_do_not_put_its_finish_off() -> None:
    # Concrete comes last: forms and steel took the days before (common practice, no source).
    stems = only("bottom_slab_stems", grain="unit", planned_cycle_days=10.0)
    job = a_job(units=12, activities=stems, planned=[("E11", "", "bottom_slab_stems", 100.0)])
    events = in_turn(job, [10] * 10, "bottom_slab_stems")
    first, ninth = job.calendar.date_of([100, 108])
    begun = [*events, an_event("start", f"{first} 07:00", "E11", "bottom_slab_stems")]
    loads = [*begun, an_event("place", f"{ninth} 14:00", "E11", "bottom_slab_stems",
                              quantity=5, measure_unit="m3")]  # fmt: skip
    most = [*begun, an_event("place", f"{first} 14:00", "E11", "bottom_slab_stems",
                             quantity=90, measure_unit="m3")]  # fmt: skip
    asked = {"recent": 10, "as_of": ninth.item()}
    without = dates(projected(job, begun, **asked), "E11", "bottom_slab_stems")[1]
    assert dates(projected(job, loads, **asked), "E11", "bottom_slab_stems")[1] == without
    early = {"recent": 10, "as_of": first.item()}
    soon = dates(projected(job, most, **early), "E11", "bottom_slab_stems")[1]
    assert soon < dates(projected(job, begun, **early), "E11", "bottom_slab_stems")[1]


def test_a_hold_pushes_the_finish_out() -> None:
    job = steady_job(14)
    begun = [*in_turn(job, [3] * 12), an_event("start", "2026-04-21 07:00", "E13")]
    held = [*begun, an_event("hold", "2026-04-21 15:00", "E13", reason="no forms")]
    assert projected(job, held).finish.p50 > projected(job, begun).finish.p50
    assert "hold" in projected(job, held).drivers["constraint"].tolist()


def test_lost_days_push_the_finish_out_by_what_is_expected() -> None:
    # From July on each working day is lost with 2.2 of 22 or so: n days become n/(1 − p).
    lost = (0.0,) * 6 + (2.2,) * 6
    dry = a_job(units=20, activities=FALSEWORK, calendar=a_calendar(dt.date(2026, 7, 1)))
    wet = dataclasses.replace(
        dry, calendar=a_calendar(dt.date(2026, 7, 1), lost_days_per_month=lost)
    )
    before = dt.date(2026, 6, 30)
    ends = [projected(job, [], before, paths=8000).finish_days for job in (dry, wet)]
    day_before = np.datetime64(before)
    dry_days, wet_days = (dry.calendar.count(day_before, end).mean() for end in ends)
    p = wet.calendar.daily_loss_probability(np.arange(60)).mean()
    assert wet_days - dry_days == pytest.approx(dry_days * p / (1 - p), abs=0.3)


def test_past_lost_days_are_not_counted_twice() -> None:
    # A crew that took 4 days a unit while a quarter of the days was lost works 3 clear days;
    # with the same weather to come it takes 4 again.
    lost = (0.0, 0.0, *(5.5,) * 8, 0.0, 0.0)
    job = a_job(units=40, activities=only("falsework", planned_cycle_days=3.0),
                calendar=a_calendar(lost_days_per_month=lost))  # fmt: skip
    forecast = projected(job, in_turn(job, [4] * 20), recent=20)
    cycle = job.calendar.count(end_of(job, in_turn(job, [4] * 20)), forecast.finish.p50) / 20
    assert cycle == pytest.approx(4.0, abs=0.25)


def test_more_falsework_sets_never_delay() -> None:
    finishes = []
    for sets in (1, 2, 4, None):
        job = a_job(units=8, falsework_sets=sets)
        finishes.append(projected(job, in_turn(job, [3, 3])).finish.p50)
    assert finishes == sorted(finishes, reverse=True)
    assert finishes[0] > finishes[-1]


def test_one_set_makes_sets_and_cure_drive_the_finish() -> None:
    job = a_job(units=8, falsework_sets=1)
    drivers = projected(job, in_turn(job, [3])).drivers
    assert drivers["share"].sum() == pytest.approx(1.0)
    by_constraint = drivers.groupby("constraint")["share"].sum()
    assert by_constraint["set"] + by_constraint["cure"] + by_constraint["predecessor"] > 0.95


def test_a_slow_trade_drives_the_finish() -> None:
    slow = tuple(
        dataclasses.replace(a, planned_cycle_days=9.0) if a.key == "rebar" else a
        for a in ACTIVITIES
    )
    job = a_job(units=20, activities=slow)
    drivers = projected(job, [], dt.date(2026, 3, 1)).drivers
    top = drivers.iloc[0]
    assert (top["constraint"], top["activity"]) == ("crew", "rebar")
    assert top["share"] > 0.6


def test_json_has_the_keys_people_rely_on() -> None:
    job = a_job(units=4, headings=2)
    answer = projected(job, in_turn(job, [3])).as_dict()
    assert json.loads(json.dumps(answer, allow_nan=False)) == answer
    assert {
        "as_of", "known_on", "paths", "seed", "finish", "headings", "units", "cycle", "drivers",
    } <= answer.keys()  # fmt: skip
    assert set(answer["finish"]) == {"p10", "p50", "p80", "p90"}
    assert set(answer["headings"]) == {"h1", "h2"}
    assert answer["units"][0] == {
        "unit": "E01", "heading": "h1", "activity": "falsework", "finished": "2026-03-04",
    }  # fmt: skip
    assert set(answer["units"][1]) == {"unit", "heading", "activity", *answer["finish"]}
    assert {"heading", "activity", "recent_cycle", "spread", "samples"} <= set(answer["cycle"][0])
    assert set(answer["drivers"][0]) == {"constraint", "activity", "heading", "share"}


def test_a_forecast_prints_itself() -> None:
    job = steady_job()
    assert "80 per cent confidence" in str(projected(job, in_turn(job, STEADY)))


# Bootstrap of cycles 3 3 4 3 5 3 2 3 4 3, exact: mean 3.3, variance 0.61 (divided by n). With
# m = 67 units drawn straight from them the sum's spread is 6.39; with the history drawn first
# it is sqrt(m v (1 − 1/k) + m² v/k): 17.62 for k = n = 10 and 18.46 for our k = n − 1 = 9.
HISTORY = np.array([3.0, 3, 4, 3, 5, 3, 2, 3, 4, 3])


def test_the_uncertainty_of_a_short_history_travels_down_the_line() -> None:
    pace = Pace(HISTORY, np.ones(10), 10)
    paths = 20_000
    ends = draw_from(pace.pool(1, (0,), paths), keys(1, 1, np.arange(67)), 0).sum(axis=0)
    v, m, k = 0.61, 67, 9
    spread = np.sqrt(m * v * (1 - 1 / k) + m**2 * v / k)
    assert spread == pytest.approx(18.459, abs=0.01)
    assert ends.mean() == pytest.approx(221.1, abs=4 * spread / np.sqrt(paths))
    # Standard error of a spread: about spread/√(2N), four of them.
    assert ends.std() == pytest.approx(spread, abs=4 * spread / np.sqrt(2 * paths))


def test_single_draws_follow_the_weights() -> None:
    pace = Pace(np.array([1.0, 2.0, 5.0]), np.array([1.0, 2.0, 1.0]), 2)
    draws = draw_from(pace.pool(1, (0,), 40_000), keys(1, 1, [0]), 0)
    share = (draws == 2.0).mean()
    assert share == pytest.approx(0.5, abs=4 * np.sqrt(0.25 / 40_000))
    assert pace.mean_days == 2.5


def test_one_trade_alone_ends_with_the_exact_mean_and_spread() -> None:
    # Ten units in a row, each e times a draw: mean Σe·x̄, variance v(1 − 1/k)Σe² + (Σe)² v/k.
    job = a_job(units=20, activities=only("falsework", planned_cycle_days=3.3))
    events = in_turn(job, HISTORY.astype(int).tolist())
    end = end_of(job, events)
    state = fold(a_frame(*events), job, as_of=dt.datetime.combine(end, dt.time(23)))
    now = line_now(job, state, end, recent=10)
    pace, e = now.paces[0][0], now.effort[10:, 0]
    assert pace.samples == 10
    v = np.average((pace.days - pace.mean_days) ** 2, weights=pace.weights)
    k = round(pace.weights.sum()) - 1
    mean = e.sum() * pace.mean_days
    spread = np.sqrt(v * (1 - 1 / k) * (e**2).sum() + e.sum() ** 2 * v / k)
    forecast = projected(job, events, recent=10, paths=8000)
    days = job.calendar.count(end, forecast.finish_days)
    # A finish belongs to the day it falls in: between nothing and a day is rounded up.
    off = 4 * spread / np.sqrt(8000)
    assert mean - off < days.mean() < mean + 1 + off
    assert days.std() == pytest.approx(spread, rel=4 / np.sqrt(2 * 8000) + 0.02)


def test_bigger_units_take_longer_where_the_log_says_so() -> None:
    # Every unit of four spans took 8 days, every one of two spans 4.
    job = a_job(spans=[2, 4] * 12, activities=FALSEWORK)
    forecast = projected(job, in_turn(job, [4, 8] * 9), recent=18)
    ends = [np.datetime64(dates(forecast, f"E{unit}")[1]) for unit in range(19, 25)]
    taken = job.calendar.count(ends[:-1], ends[1:])
    assert taken[::2].mean() > 1.5 * taken[1::2].mean()


def test_a_crew_that_has_learnt_is_not_held_to_its_first_units() -> None:
    job = steady_job(30)
    learning = projected(job, in_turn(job, [9, 7, 6, 5, 5, 5, 4, 4, 4, 4, 4, 4]), recent=12)
    end = job.calendar.date_of(sum([9, 7, 6, 5, 5, 5, 4, 4, 4, 4, 4, 4]) - 1)
    assert job.calendar.count(end, learning.finish.p50) < 18 * 4.1


def test_a_shuffled_history_teaches_nothing() -> None:
    job = steady_job(30)
    days = [4, 5, 4, 4, 5, 4, 5, 4, 4, 5, 4, 5]
    forecast = projected(job, in_turn(job, days), recent=12)
    end = job.calendar.date_of(sum(days) - 1)
    assert job.calendar.count(end, forecast.finish.p50) / 18 == pytest.approx(4.4, abs=0.3)


def test_the_next_pours_are_expected_on_working_days_within_three_weeks() -> None:
    job = a_job(units=6)
    events = in_turn(job, [3, 3])
    forecast = projected(job, events)
    pours = forecast.pours
    assert set(pours["activity"]) <= {"bottom_slab_stems", "deck_pour"}
    assert job.calendar.is_workday(pours["day"].to_numpy()).all()
    after = job.calendar.count(np.datetime64(end_of(job, events)) + 1, pours["day"].to_numpy())
    assert (after.min() >= 0) and (after.max() < 15)
    assert pours["day"].is_monotonic_increasing
    first = pours[(pours["unit"] == "E01") & (pours["activity"] == "bottom_slab_stems")]
    assert 0.85 < first["chance"].sum() <= 1.0


def test_the_distribution_rises_to_certainty_through_the_bands() -> None:
    forecast = projected(a_job(units=6, headings=2), [], dt.date(2026, 3, 1))
    shares = forecast.distribution
    assert shares["share"].is_monotonic_increasing
    assert shares["share"].iloc[-1] == 1.0
    for name, least in (("p10", 0.1), ("p50", 0.5), ("p80", 0.8), ("p90", 0.9)):
        day = np.datetime64(getattr(forecast.finish, name))
        assert shares.loc[shares["day"] == day, "share"].iloc[0] >= least
        assert (shares.loc[shares["day"] < day, "share"] < least).all()


def test_a_forecast_that_is_stopped_says_how_many_paths_it_is_made_of(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(simulation, "CELLS_AT_ONCE", 48 * 64)
    monkeypatch.setattr(simulation, "COMPILED_BLOCK", 64)
    job = a_job(units=8)
    whole = projected(job, in_turn(job, [3, 3]), paths=640)
    part = projected(job, in_turn(job, [3, 3]), paths=640, on_block=lambda done, _: done < 128)
    assert (whole.paths, part.paths) == (640, 128)
    assert part.finish_days.size == 128
    assert abs((part.finish.p50 - whole.finish.p50).days) <= 7


def test_what_a_trade_learns_is_said() -> None:
    job = a_job(units=20, activities=only("falsework"))
    learns = projected(job, in_turn(job, [9, 8, 7, 7, 6, 6, 5, 5, 5, 4, 4])).notes
    steady = projected(job, in_turn(job, [4, 5, 4, 5, 4, 5, 4, 5, 4, 5, 4])).notes
    assert any("Falsework: crews are learning; each time twice" in note for note in learns)
    assert not any("learning" in note for note in steady)


def test_recent_weeks_draw_from_what_was_finished_in_them() -> None:
    job = a_job(units=40, activities=only("falsework"))
    events = in_turn(job, [6, 6, 6, 6, 2, 2, 2, 2])
    # The last four were finished in the eight days to Tuesday 14 April, the one before on the
    # 2nd.
    by_weeks = projected(job, events, recent_weeks=1.5)
    assert (by_weeks.finish_days == projected(job, events, recent=4).finish_days).all()
    assert (by_weeks.finish_days != projected(job, events).finish_days).any()
