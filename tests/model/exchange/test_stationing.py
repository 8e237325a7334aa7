"""Stations as people write them."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from model.exchange.stationing import full_station, parse_station, shown_station


@pytest.mark.parametrize(
    ("text", "full", "station"),
    [
        ("12+40.00", 100.0, 1240.0),
        ("1+240.00", 1000.0, 1240.0),
        ("0+05", 100.0, 5.0),
        ("-1+53.1", 100.0, -153.1),
        ("1240.5", 100.0, 1240.5),
    ],
)
def test_a_plus_sign_parts_full_stations_from_the_rest(text, full, station):
    assert parse_station(text, full) == station


@pytest.mark.parametrize("text", ["12+140", "12+", "+40", "12+-4", "1+2+3", "twelve", ""])
def test_what_is_no_station_is_refused(text):
    with pytest.raises(ValueError, match=r"."):
        parse_station(text, 100.0)


@given(st.integers(-(10**8), 10**8), st.sampled_from([100.0, 1000.0]))
def test_a_station_shown_and_read_again_is_the_same_to_the_hundredth(hundredths, full):
    station = hundredths / 100
    assert parse_station(shown_station(station, full), full) == pytest.approx(station, abs=1e-6)


def test_both_feet_have_stations_of_100():
    assert full_station(0.3048) == full_station(1200 / 3937) == 100.0
    assert full_station(1.0) == 1000.0
