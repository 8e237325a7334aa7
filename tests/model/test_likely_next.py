"""What is proposed of a shift, and in which order."""

from __future__ import annotations

import datetime as dt

import pandas as pd

from model.events import Event
from model.fold import fold
from model.likely_next import LEAST_CHANCE, LikelyNext, likely_next, proposals
from tests.model.builders import a_frame, a_job, an_event, done, only

JOB = a_job(units=4, headings=2)


def a_cell(unit="E01", activity="rebar", status="under_way", chance=0.5, by_next=None, **more):
    """A row of chances, the same for start and finish."""
    last = chance if by_next is None else by_next
    return {
        "unit": unit, "span": "", "heading": JOB.heading_of_unit[unit], "activity": activity,
        "status": status, "percent": 0.0, "starts": chance, "starts_by_next": last,
        "finishes": chance, "finishes_by_next": last, "by_plan": False, **more,
    }  # fmt: skip


def proposed(*cells):
    return proposals(JOB, pd.DataFrame(cells))


def told(*cells):
    rows = proposed(*cells)
    return [(row.unit, " and ".join(row.kinds)) for row in rows.itertuples()]


def test_each_is_asked_what_comes_next_for_it():
    cells = [a_cell(status=status) for status in ("under_way", "not_started", "on_hold")]
    assert [kinds for _, kinds in told(*cells)] == ["finish", "resume", "start"]


def test_a_pour_is_placed_and_finished_in_one_go_unless_all_is_placed():
    assert told(a_cell(activity="deck_pour")) == [("E01", "place and finish")]
    assert told(a_cell(activity="deck_pour", percent=99.0)) == [("E01", "finish")]
    assert told(a_cell(activity="deck_pour", status="not_started")) == [("E01", "start")]


def test_of_a_heading_the_likeliest_comes_first_and_headings_keep_their_order():
    rows = told(a_cell("E03", chance=0.9), a_cell("E01", chance=0.3), a_cell("E02", chance=0.6))
    assert [unit for unit, _ in rows] == ["E02", "E01", "E03"]


def test_chances_that_read_the_same_are_put_by_kind_then_in_building_order():
    rows = told(a_cell("E02", chance=0.81), a_cell("E01", chance=0.79),
                a_cell("E01", status="not_started", chance=0.84))  # fmt: skip
    assert rows == [("E01", "finish"), ("E02", "finish"), ("E01", "start")]


def test_what_is_hardly_likely_by_the_end_of_the_next_shift_is_not_proposed():
    assert told(a_cell(chance=0.0, by_next=LEAST_CHANCE - 0.001)) == []
    assert told(a_cell(chance=0.0, by_next=LEAST_CHANCE)) == [("E01", "finish")]


def test_the_chance_of_a_start_is_that_of_starting_not_of_finishing():
    row = proposed(a_cell(status="not_started", finishes=0.0)).iloc[0]
    assert row["chance"] == 0.5


def on_friday(*events: Event) -> LikelyNext:
    job = a_job(activities=only("falsework", "bottom_slab_stems"))
    now, began = dt.datetime(2026, 3, 6, 15, 30), dt.datetime(2026, 3, 6, 5, 59)
    log = a_frame(*events)
    return likely_next(job, fold(log, job, as_of=now), fold(log, job, as_of=began), now.date())


def test_the_next_shift_after_a_friday_is_mondays():
    assert on_friday(*done("falsework")).next_shift == dt.date(2026, 3, 9)


def test_where_nothing_is_finished_nothing_is_proposed_and_it_says_why():
    likely = on_friday(an_event("start", "2026-03-03 07:00"))
    assert likely.proposals.empty
    assert likely.note == "Nothing is finished yet, so there is no pace to go by."


def test_a_trade_that_has_finished_nothing_goes_by_the_plan_and_says_so():
    rows = on_friday(*done("falsework")).proposals.set_index(["unit", "activity"])
    assert not rows.loc[("E02", "falsework"), "by_plan"]
    assert rows.loc[("E01", "bottom_slab_stems"), "by_plan"]


def test_what_this_shift_has_told_is_not_proposed_again():
    finished = done("falsework", start="2026-03-05 07:00", finish="2026-03-06 10:00")
    started = an_event("start", "2026-03-06 11:00", activity="bottom_slab_stems")
    rows = on_friday(*finished, started).proposals
    assert ("E01", "falsework") not in set(zip(rows["unit"], rows["activity"], strict=True))
    of_slab = rows[(rows["unit"] == "E01") & (rows["activity"] == "bottom_slab_stems")]
    assert [kinds for kinds in of_slab["kinds"] if "start" in kinds] == []
