"""What is proposed of the demo's past shifts, against what these shifts then told."""

from __future__ import annotations

import datetime as dt

import pandas as pd
import pytest

from dashboard.demo import open_demo
from model.fold import State
from model.likely_next import REPORTED, likely_next

WEDNESDAYS = pd.date_range("2026-06-03", "2026-11-18", freq="W-WED").date
PLACE = ["unit", "span", "activity"]


def statuses(state: State) -> pd.Series:
    by_span = [activity.key for activity in state.job.activities if activity.grain == "span"]
    units = state.units[~state.units["activity"].isin(by_span)].assign(span="")
    spans = state.spans[state.spans["activity"].isin(by_span)]
    return pd.concat([units, spans]).set_index(PLACE)["status"]


@pytest.fixture(scope="module")
def past(tmp_path_factory) -> pd.DataFrame:
    """Every cell that moved on in a shift or was proposed: ``chance`` (0 if not) and ``told``."""
    shifts = []
    with open_demo(tmp_path_factory.mktemp("past") / "demo") as project:
        for day in WEDNESDAYS:
            began = dt.datetime.combine(day, dt.time(5, 59, 59))
            before, after = project.state(began), project.state(began + dt.timedelta(days=1))
            rows = likely_next(project.job, before, before, day).proposals.set_index(PLACE)
            stood, stands = statuses(before), statuses(after)
            told = (stood != stands) & stood.isin(REPORTED)
            shift = pd.DataFrame({"told": told, "chance": rows["chance"]}).fillna({"chance": 0.0})
            shifts.append(shift[shift["told"].fillna(False) | (shift["chance"] > 0)])
    return pd.concat(shifts)


def test_of_what_a_shift_told_four_in_five_had_been_proposed(past):
    told = past[past["told"]]
    assert len(told) > 80
    assert (told["chance"] >= 0.05).mean() > 0.8


def test_what_was_said_to_be_due_came_more_often_than_not_and_the_rest_less(past):
    due = past["chance"] >= 0.5
    assert past.loc[due, "told"].mean() > 0.7
    possible = past.loc[(past["chance"] < 0.5) & (past["chance"] >= 0.05), "told"]
    assert possible.mean() < 0.5
