"""Deep links: an address holds what one sees, and a wrong one says what is wrong."""

import datetime as dt

import pytest

from dashboard.parts.address import Known, read_address

KNOWN = Known(
    activities=("rebar", "deck_pour"),
    headings=("east_1",),
    units=("E01", "E02"),
    usual="deck_pour",
    first=dt.date(2026, 3, 2),
    last=dt.date(2026, 11, 24),
)


def test_a_bare_address_shows_today_and_the_usual_activity():
    view = read_address("", KNOWN)
    assert (view.activity, view.as_of, view.notes) == ("deck_pour", KNOWN.last, ())


def test_a_full_address_is_followed():
    view = read_address(
        "?activity=rebar&as-of=2026-09-01&heading=east_1&unit=E02&span=2&lag=1", KNOWN
    )
    assert view.activity == "rebar"
    assert view.as_of == dt.date(2026, 9, 1)
    assert (view.heading, view.unit, view.span, view.outlines) == ("east_1", "E02", "2", True)


def test_units_brushed_together_are_selected_together_and_the_first_is_the_one_alone():
    view = read_address("?units=E01,E02", KNOWN)
    assert (view.unit, view.units, view.notes) == ("E01", ("E01", "E02"), ())
    assert read_address("?unit=E02&units=E01,E02", KNOWN).unit == "E02"


@pytest.mark.parametrize(
    ("search", "words"),
    [
        ("?activity=painting", "painting"),
        ("?unit=Z9", "Z9"),
        ("?units=E01,Z9", "left out"),
        ("?heading=north", "north"),
        ("?as-of=last+week", "2026-09-01"),
        ("?as-of=2020-01-01", "outside"),
    ],
)
def test_what_cannot_be_followed_is_said_and_the_rest_shown(search, words):
    view = read_address(search, KNOWN)
    assert len(view.notes) == 1
    assert words in view.notes[0]
    assert KNOWN.first <= view.as_of <= KNOWN.last
