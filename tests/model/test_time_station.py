"""Where every crew was when, how long it stood still, and what it overtook."""

from __future__ import annotations

import dataclasses
import datetime as dt

import numpy as np
import pandas as pd
import pytest

from model.events import Event
from model.fold import State, fold
from model.job import Job
from model.projection import project_finish
from model.time_station import time_station
from tests.model.builders import a_frame, a_job, an_event, done, only

TRADES = only("falsework", "bottom_slab_stems", "deck_forms", "rebar")


def cells_of(job: Job, *events: Event, as_of: str = "2026-03-20") -> pd.DataFrame:
    day = dt.date.fromisoformat(as_of)
    state = folded(job, *events, day=day)
    return time_station(job, state, project_finish(job, state, as_of=day, paths=200))


def folded(job: Job, *events: Event, day: dt.date) -> State:
    return fold(a_frame(*events), job, as_of=dt.datetime.combine(day, dt.time(23, 59)))


def cell(cells: pd.DataFrame, unit: str, activity: str = "falsework") -> pd.Series:
    return cells[(cells["unit"] == unit) & (cells["activity"] == activity)].iloc[0]


def test_there_is_one_cell_a_unit_and_activity_in_building_order():
    job = a_job(units=3, activities=TRADES)
    turned = dataclasses.replace(job.headings[0], units=("E03", "E01", "E02"))
    cells = cells_of(dataclasses.replace(job, headings=(turned,)))
    assert cells["unit"].drop_duplicates().tolist() == ["E03", "E01", "E02"]
    assert cells["activity"].tolist() == [a.key for a in TRADES] * 3
    assert cells["place"].drop_duplicates().tolist() == [0, 1, 2]


def test_stations_are_shown_in_the_units_of_the_project():
    # One foot is 0.3048 m exactly (international yard and pound agreement, 1959).
    metres = cell(cells_of(a_job(units=2, spans=3, units_system="si")), "E02")
    feet = cell(cells_of(a_job(units=2, spans=3, units_system="us")), "E02")
    assert (metres["from_station"], metres["to_station"]) == (120.0, 240.0)
    assert feet["to_station"] == pytest.approx(240 / 0.3048)


def test_work_has_its_dates_and_what_is_left_its_projection():
    job = a_job(units=2, activities=TRADES)
    cells = cells_of(job, *done("falsework"), an_event("start", "2026-03-18 07:00", "E02"))
    worked, ahead = cell(cells, "E01"), cell(cells, "E02")
    assert worked["started"] == pd.Timestamp("2026-03-02")
    assert worked["finished"] == pd.Timestamp("2026-03-04")
    assert pd.isna(worked["p50"])
    assert ahead["status"] == "under_way"
    assert pd.Timestamp("2026-03-20") < ahead["p10"] <= ahead["p50"] <= ahead["p90"]


def test_the_baseline_stands_beside_the_work_where_there_is_one():
    planned = pd.DataFrame({"unit": ["E02"], "activity": ["falsework"],
                            "planned_finish": pd.to_datetime(["2026-03-09"])})  # fmt: skip
    cells = cells_of(dataclasses.replace(a_job(units=2, activities=TRADES), baseline=planned))
    assert cell(cells, "E02")["baseline"] == pd.Timestamp("2026-03-09")
    assert cells["baseline"].notna().sum() == 1


def test_a_crew_is_idle_for_the_working_days_between_two_units():
    job = a_job(units=2, activities=TRADES)
    second = done("falsework", "E02", "2026-03-11 07:00", "2026-03-13 15:00")
    idle = cell(cells_of(job, *done("falsework"), *second), "E02")
    # Done on Wednesday 4 March, begun on Wednesday 11 March.
    between = np.busday_count("2026-03-05", "2026-03-11")
    assert idle["idle_days"] == between == 4
    assert idle["idle_from"] == pd.Timestamp("2026-03-04")


def test_a_crew_that_goes_on_next_morning_is_not_idle():
    job = a_job(units=2, activities=TRADES)
    second = done("falsework", "E02", "2026-03-05 07:00", "2026-03-06 15:00")
    assert pd.isna(cell(cells_of(job, *done("falsework"), *second), "E02")["idle_days"])


def test_a_crew_that_has_not_begun_its_next_unit_is_idle_until_tonight():
    job = a_job(units=3, activities=TRADES)
    cells = cells_of(job, *done("falsework"), as_of="2026-03-10")
    assert cell(cells, "E02")["idle_days"] == np.busday_count("2026-03-05", "2026-03-11")
    assert pd.isna(cell(cells, "E03")["idle_days"])


def test_a_crew_that_takes_units_out_of_turn_is_idle_by_its_real_order():
    job = a_job(units=4, activities=only("falsework"))
    third = done("falsework", "E03", "2026-03-05 07:00", "2026-03-06 15:00")
    second = done("falsework", "E02", "2026-03-11 07:00", "2026-03-12 15:00")
    cells = cells_of(job, *done("falsework"), *third, *second)
    # From E01 straight to E03, two days idle, then E02; E04 since Friday 13th.
    assert pd.isna(cell(cells, "E03")["idle_days"])
    assert cell(cells, "E02")["idle_days"] == np.busday_count("2026-03-07", "2026-03-11") == 2
    assert cell(cells, "E02")["idle_from"] == pd.Timestamp("2026-03-06")
    assert cell(cells, "E04")["idle_days"] == np.busday_count("2026-03-13", "2026-03-21")


def test_a_crew_that_is_still_on_another_unit_is_not_idle_before_the_next():
    job = a_job(units=3, activities=only("falsework"))
    under_way = an_event("start", "2026-03-06 07:00", "E03")
    assert cells_of(job, *done("falsework"), under_way)["idle_days"].notna().tolist() == [
        False, False, True,
    ]  # fmt: skip


def test_curing_needs_no_crew_and_is_never_idle():
    cells = cells_of(a_job(units=2), *done("curing"), as_of="2026-03-30")
    assert cells.loc[cells["activity"] == "curing", "idle_days"].isna().all()


def test_work_that_begins_before_what_it_follows_overtakes_it():
    job = a_job(units=1, spans=2, activities=TRADES)
    forms = done("deck_forms", "E01", "2026-03-05 07:00", "2026-03-06 15:00", "1")
    early = done("rebar", "E01", "2026-03-06 07:00", "2026-03-09 15:00", "1")
    assert cell(cells_of(job, *forms, *early), "E01", "rebar")["overtakes"] == "deck_forms"


def test_a_trade_may_follow_another_through_a_unit_span_by_span():
    job = a_job(units=1, spans=2, activities=TRADES)
    forms = done("deck_forms", "E01", "2026-03-05 07:00", "2026-03-06 15:00", "1")
    behind = done("rebar", "E01", "2026-03-09 07:00", "2026-03-10 15:00", "1")
    assert cell(cells_of(job, *forms, *behind), "E01", "rebar")["overtakes"] == ""
