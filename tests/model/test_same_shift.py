"""Whether a crew goes on at once or in the morning, counted by hand."""

from __future__ import annotations

import pytest

from model.fold import fold
from model.same_shift import same_shift_share
from tests.model.builders import a_frame, a_job, done, only

JOB = a_job(units=4, activities=only("deck_pour", "curing"))


def share(activity, *events, job=JOB):
    return same_shift_share(fold(a_frame(*events), job), job, job.activity_by_key[activity])


def poured(unit, start, finish):
    return done("deck_pour", unit, f"2026-03-{start:02d} 07:00", f"2026-03-{finish:02d} 15:00")


def cured(unit, start):
    return done("curing", unit, f"2026-03-{start:02d} 16:00", f"2026-03-{start + 7:02d} 08:00")


def test_a_log_without_starts_says_a_half():
    assert share("deck_pour") == 1 / 2


def test_a_first_unit_that_waited_for_nothing_says_nothing():
    assert share("deck_pour", *poured("E01", 2, 3)) == 1 / 2


@pytest.mark.parametrize(
    ("starts", "expected"), [((3, 5), 3 / 4), ((4, 6), 1 / 4), ((3, 6), 2 / 4)]
)
def test_two_starts_of_which_some_came_on_the_day_the_crew_was_free(starts, expected):
    """Rule of succession: (k + 1) / (n + 2) with n = 2."""
    first, second = starts
    events = [*poured("E01", 2, 3), *poured("E02", first, 5), *poured("E03", second, 9)]
    assert share("deck_pour", *events) == expected


def test_a_cure_starts_when_its_pour_is_done_whatever_cures_elsewhere():
    events = [*poured("E01", 2, 3), *cured("E01", 3), *poured("E02", 4, 5), *cured("E02", 5)]
    assert share("curing", *events) == 3 / 4
