"""The day book: what the shift comes to stands on top, in the words of the model."""

from __future__ import annotations

import datetime as dt

import pytest

from dashboard.pages import day_book
from tests.dashboard.conftest import words_of
from tests.dashboard.visitors import Visitors, an_item
from tests.model.builders import an_event

BUSY = dt.date(2026, 10, 8)


@pytest.fixture
def visitors(tmp_path):
    return Visitors(tmp_path, users=False)


def shown(call, day):
    return words_of(call("day-book.children", **{"day-book-day.value": f"{day}"}))


def test_what_was_placed_stands_on_top_by_heading_and_activity(call, project):
    told = shown(call, BUSY)
    totals = project.day_book(BUSY).totals
    assert totals.added_up
    for total in (*totals.by_heading, *totals.added_up):
        assert total.to_date_words in told
        assert total.placed_words in told
    assert told.index("Placed in this shift") < told.index("Happened")


def test_who_reads_only_all_headings_misses_nothing(call, project):
    # In this shift one heading alone cured, and four had something to say.
    totals = project.day_book(BUSY).totals
    assert [t.activity.key for t in totals.by_heading].count("curing") == 1
    told = shown(call, BUSY)
    sums = told[told.index("All headings") : told.index("Happened")]
    for total in totals.by_heading:
        assert total.activity.name in sums


def test_days_are_written_as_on_the_map(call):
    told = shown(call, "2026-10-08")
    assert "Shift of Thursday 8 October 2026" in told
    assert "8 Oct 16:37" in told
    assert "08 Oct" not in told


def test_to_date_over_all_headings_is_what_the_status_says(project):
    status = project.status(as_of=dt.datetime(2026, 10, 9, 5, 59)).totals.set_index("activity")
    totals = project.day_book(BUSY).totals.all_headings
    assert {total.activity.key for total in totals} >= {"deck_pour", "rebar"}
    for total in totals:
        if total.placed_to_date is not None:
            row = status.loc[total.activity.key]
            assert total.placed_to_date == pytest.approx(row["placed"])
            assert total.planned == pytest.approx(row["planned"])


def test_a_shift_without_work_shows_no_table_of_totals(call):
    told = shown(call, "2026-01-04")
    assert "Placed in this shift" not in told
    assert "Nothing was recorded of this shift." in told
    assert "0 entries" in told


def test_entries_of_earlier_days_are_said_to_count_there_only_where_there_are_any(call):
    assert "recorded in this shift about earlier days" in shown(call, "2026-07-14")
    assert "recorded in this shift about earlier days" not in shown(call, BUSY)


def test_a_void_says_what_it_cancels_and_by_whom_that_was_recorded(call):
    said = "cancelled: Rebar span 1 placed 2306 lb 13 Jul 12:15 (by Deshi Varnow)"
    assert said in shown(call, "2026-07-14")
    assert "cancelled an entry" not in shown(call, "2026-07-14")


def test_a_void_says_the_same_in_the_history_of_its_unit(call, project):
    (void,) = (e.event for e in project.day_book(dt.date(2026, 7, 14)).happened
               if e.event.kind == "void")  # fmt: skip
    answer = call("history.children", **{"selection.data": {"unit": void.unit, "opened": 1},
                                         "seen-seq.data": 1})  # fmt: skip
    assert "cancelled: Rebar span 1 placed 2306 lb 13 Jul 12:15 (by Deshi Varnow)" in words_of(
        answer
    )


def test_every_sheet_is_named_by_project_shift_and_moment(project):
    (sheet,) = day_book.sheet(project, project.day_book(BUSY))
    name = sheet.to_plotly_json()["props"]["data-name"]
    for words in (project.job.name, "shift of Thu 8 Oct 2026", "as known on"):
        assert words in name


def test_the_caution_stands_over_what_is_filed_and_the_signatures_with_it(call):
    told = shown(call, BUSY)
    assert told.index("For the owner") < told.index("the engineer of record")


def test_the_door_tells_the_totals_of_the_book(visitors):
    visitors.send("POST", "/api/events", json={"events": [an_item(by="Ana")]})
    visitors.project.record([an_event("place", quantity="3.50"), an_event("place", quantity=2)])
    told = visitors.send("GET", "/api/day-book?date=2026-03-02").get_json()
    (total,) = told["totals"]["by_heading"]
    assert (total["heading"], total["activity"], total["counted_by"]) == ("h1", "falsework", "unit")
    assert (total["placed"], total["entries"], total["measure_unit"]) == (5.5, 2, "m2")
    assert (total["started"], total["finished"], total["planned"]) == (1, 0, None)
    (all_headings,) = told["totals"]["all_headings"]
    assert all_headings == {**total, "heading": None}
    assert (told["entries"], told["shift_ends"]) == (3, "2026-03-03T06:00")
