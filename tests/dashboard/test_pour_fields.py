"""What stands in the address and the form of a pour, and what it is read as."""

from __future__ import annotations

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.parts.pour_fields import (
    FIELDS,
    READINGS,
    PourAddress,
    asked_texts,
    pour_query,
    read_pour_address,
    read_typed,
)

WARM = {"concrete_temp": "84", "air_temp": "80", "humidity": "20", "wind": "14"}
YD3 = 0.764554857984
"""1 yd³ in m³, exact: (0.9144 m)³."""


def test_what_is_typed_is_read_in_the_units_of_the_project():
    asked = read_typed({"rate": "60", "allowance": "3", "round_trip": "45"}, "us").asked
    assert asked["rate_m3_per_h"] == pytest.approx(60 * YD3)
    assert asked["allowance"] == pytest.approx(0.03)
    assert asked["round_trip_minutes"] == 45.0
    assert read_typed({"rate": "60"}, "si").asked["rate_m3_per_h"] == 60.0


def test_a_start_is_a_moment_or_a_day_alone():
    start = read_typed({"start": "2026-11-30T05:30"}, "us").asked["start"]
    assert start == dt.datetime(2026, 11, 30, 5, 30)
    assert read_typed({"start": "2026-11-30"}, "us").asked["start"] == dt.date(2026, 11, 30)


@pytest.mark.parametrize(
    ("field", "text", "told"),
    [
        ("rate", "fast", "That is no number"),
        ("rate", "0", "It is 0; expected a number above 0."),
        ("load", "-9", "It is -9; expected a number above 0."),
        ("volume", "1,200", "without a comma"),
        ("rate", "²", "That is no number"),
        ("rate", "1e3", "That is no number"),
        ("load", "9" * 400, "That is no number"),
        ("round_trip", ".", "That is no number"),
        ("allowance", "103", "It is 103; expected 0 to 100 per cent."),
        ("wind", "300", "It is 300; expected 0 to 89 mph."),
        ("start", "tomorrow", "write it like 2026-11-30T05:30"),
        ("start", "2026-02-30T05:30", "write it like 2026-11-30T05:30"),
        ("start", "0001-01-01T05:30", "write it like 2026-11-30T05:30"),
        ("start", "2026-11-30T25:30", "write it like 05:30"),
    ],
)
def test_a_wrong_text_is_told_at_its_field_and_the_rest_is_read(field, text, told):
    typed = read_typed({"rate": "60", "load": "9", field: text}, "us")
    assert list(typed.wrong) == [field]
    assert told in typed.wrong[field]
    other = "load_m3" if field == "rate" else "rate_m3_per_h"
    assert typed.asked[other] is not None


def test_four_readings_are_weather_and_fewer_are_waited_for():
    typed = read_typed(WARM, "us")
    assert typed.asked["weather"].wind_m_per_s == pytest.approx(14 * 0.44704)  # 1 mph, exact
    assert typed.missing == ()
    some = read_typed({"wind": "14", "humidity": "20"}, "us")
    assert (some.asked["weather"], some.wrong) == (None, {})
    assert some.missing == ("concrete_temp", "air_temp")


def test_one_reading_that_cannot_be_leaves_out_all_of_the_weather():
    typed = read_typed({**WARM, "humidity": "101", "rate": "60"}, "us")
    assert list(typed.wrong) == ["humidity"]
    assert typed.asked["weather"] is None
    assert typed.asked["rate_m3_per_h"] is not None


def test_what_is_blank_or_as_usual_is_not_asked():
    usual = {"rate": "62.7", "load": "9", "allowance": "3"}
    texts = {"rate": "62.7", "load": " 7.5 ", "allowance": " ", "wind": None}
    assert asked_texts(texts, usual) == {"load": "7.5"}


TEXT = st.text(min_size=1, max_size=20)
ACTIVITY = st.sampled_from(["deck_pour", "rebar"])
SYSTEM = st.sampled_from(["us", "si"])
FIELD = st.sampled_from(FIELDS)


@given(
    TEXT, st.sampled_from(["deck_pour", "rebar"]), st.dictionaries(st.sampled_from(FIELDS), TEXT)
)
def test_an_address_says_again_whatever_was_typed(unit, activity, texts):
    address = PourAddress(unit, activity, texts=texts)
    assert read_pour_address(pour_query(address)) == address


@given(
    st.dictionaries(st.sampled_from(FIELDS), st.text(max_size=30)), st.sampled_from(["us", "si"])
)
def test_whatever_is_typed_is_read_or_told_in_a_sentence(texts, system):
    typed = read_typed(asked_texts(texts, {}), system)
    assert all(words.endswith(".") for words in typed.wrong.values())
    assert set(typed.missing) <= set(READINGS)
