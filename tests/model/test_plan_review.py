"""A new baseline beside the one in use."""

import datetime as dt

import pandas as pd
from hypothesis import given
from hypothesis import strategies as st

from model.plan_review import review_baseline
from tests.model.builders import a_calendar

CALENDAR = a_calendar(days_off=(dt.date(2026, 4, 3),))


def a_baseline(*rows):
    frame = pd.DataFrame(rows, columns=["unit", "activity", "planned_finish"])
    return frame.astype({"unit": "str", "activity": "str"}).assign(
        planned_finish=pd.to_datetime(frame["planned_finish"]).astype("datetime64[us]")
    )


def test_a_finish_moved_over_a_weekend_and_a_day_off_counts_working_days():
    old = a_baseline(("E01", "falsework", "2026-04-02"), ("E01", "rebar", "2026-04-10"))
    new = a_baseline(("E01", "falsework", "2026-04-06"), ("E01", "rebar", "2026-04-09"))
    review = review_baseline(old, new, CALENDAR)
    assert [(m.activity, m.working_days) for m in review.moved] == [("falsework", 1), ("rebar", -1)]
    assert (review.added, review.removed, review.unchanged) == ((), (), 0)


def test_units_that_come_and_go_are_named():
    old = a_baseline(("E01", "falsework", "2026-04-02"), ("E02", "falsework", "2026-04-02"))
    new = a_baseline(("E03", "rebar", "2026-04-02"), ("E01", "falsework", "2026-04-02"),
                     ("E01", "rebar", "2026-05-01"))  # fmt: skip
    review = review_baseline(old, new, CALENDAR)
    assert (review.units_added, review.units_removed) == (("E03",), ("E02",))
    assert [(m.unit, m.activity) for m in review.added] == [("E03", "rebar"), ("E01", "rebar")]
    assert [(m.unit, m.was, m.working_days) for m in review.removed] == [
        ("E02", dt.date(2026, 4, 2), None)
    ]
    assert review.unchanged == 1


KEYS = st.tuples(st.sampled_from(["E01", "E02", "E03"]), st.sampled_from(["falsework", "rebar"]))
BASELINES = st.dictionaries(KEYS, st.dates(dt.date(2026, 1, 1), dt.date(2027, 1, 1))).map(
    lambda found: a_baseline(*((*key, day) for key, day in found.items()))
)


@given(BASELINES, BASELINES)
def test_every_planned_finish_is_counted_once_and_back_again_is_the_opposite(old, new):
    there, back = review_baseline(old, new, CALENDAR), review_baseline(new, old, CALENDAR)
    assert len(there.added) + len(there.moved) + there.unchanged == len(new)
    assert len(there.removed) + len(there.moved) + there.unchanged == len(old)
    days = {(m.unit, m.activity): m.working_days for m in there.moved}
    assert {(m.unit, m.activity): -m.working_days for m in back.moved} == days
    assert review_baseline(old, old, CALENDAR).changes_nothing
