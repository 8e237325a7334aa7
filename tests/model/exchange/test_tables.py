"""Events as tables: nothing typed is lost or changed on the way out and in."""

from __future__ import annotations

import datetime as dt
import time
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from model.events import EVENT_COLUMNS, KINDS, Event
from model.exchange.tables import events_from_text, events_text, read_events, write_events
from model.problems import InputError
from model.units import PRINTED

HEADER = "at,by,unit,span,activity,kind,quantity,measure_unit,reason,note\n"
POUR = "2026-07-31 14:30,Ana,E01,,deck_pour,place,62.50,yd3,,"


def read(rows: str, header: str = HEADER) -> tuple[Event, ...]:
    return events_from_text(header + rows + "\n", "events.csv").events


def problems(rows: str, header: str = HEADER) -> list[tuple[int | None, str | None]]:
    with pytest.raises(InputError) as refused:
        read(rows, header)
    assert all(problem.file == "events.csv" and problem.fix for problem in refused.value.problems)
    return [(p.row, p.field) for p in refused.value.problems if p.severity == "error"]


def test_a_row_becomes_an_event_with_its_digits_as_typed():
    (event,) = read(POUR)
    assert event.at == dt.datetime(2026, 7, 31, 14, 30)
    assert (event.by, event.unit, event.span, event.kind) == ("Ana", "E01", "", "place")
    assert str(event.quantity) == "62.50"
    assert event.measure_unit == "yd3"
    assert event.recorded_at is None


@pytest.mark.parametrize(
    ("written", "moment"),
    [
        ("2026-07-31 14:30", dt.datetime(2026, 7, 31, 14, 30)),
        ("2026-07-31T14:30", dt.datetime(2026, 7, 31, 14, 30)),
        ("2026-07-31T14:30:05.25", dt.datetime(2026, 7, 31, 14, 30, 5, 250_000)),
        ("2026-07-31", dt.datetime(2026, 7, 31, 12, 0)),
    ],
)
def test_moments_are_local_and_a_date_alone_means_noon(written, moment):
    assert read(POUR.replace("2026-07-31 14:30", written))[0].at == moment


@pytest.mark.parametrize(
    ("old", "new", "field"),
    [
        ("2026-07-31 14:30", "31.07.2026", "at"),
        ("2026-07-31 14:30", "2026-02-30", "at"),
        ("2026-07-31 14:30", "2026-07-31 25:00", "at"),
        ("2026-07-31 14:30", "2026-07-31T14:30-07:00", "at"),
        ("2026-07-31 14:30", "", "at"),
        ("Ana", " ", "by"),
        ("E01", "", "unit"),
        ("place", "placed", "kind"),
        ("place", "", "kind"),
        ("62.50", "about 60", "quantity"),
        ("62.50", "NaN", "quantity"),
        ("62.50", "Infinity", "quantity"),
        ("62.50", "1e999999", "quantity"),
        ("62.50", "1e400", "quantity"),
        ("yd3", "yards", "measure_unit"),
    ],
)
def test_a_cell_that_cannot_be_meant_is_named(old, new, field):
    assert problems(POUR + "\n" + POUR.replace(old, new)) == [(3, field)]


def test_all_rows_are_judged_in_one_go():
    rows = "\n".join([POUR.replace("62.50", "x"), POUR, POUR.replace("place", "plaice")])
    assert problems(rows) == [(4, "kind"), (2, "quantity")]


def test_a_missing_column_is_named():
    assert problems("2026-07-31,Ana,E01,start", "at,by,unit,kind\n") == [(1, "activity")]


def test_a_local_time_with_a_zone_is_told_to_drop_it():
    with pytest.raises(InputError, match="time zone"):
        read(POUR.replace("14:30", "14:30:00Z"))


def test_a_void_needs_no_unit():
    (event,) = read("2026-07-31 15:00,Ana,,,void,abc", "at,by,unit,activity,kind,voids\n")
    assert (event.kind, event.voids) == ("void", "abc")


def test_recorded_at_is_carried_in_utc():
    header = "recorded_at," + HEADER
    (event,) = read("2026-07-31T23:00:00-07:00," + POUR, header)
    assert event.recorded_at == dt.datetime(2026, 8, 1, 6, 0, tzinfo=dt.UTC)
    (event,) = read("2026-08-01 06:00," + POUR, header)
    assert event.recorded_at == dt.datetime(2026, 8, 1, 6, 0, tzinfo=dt.UTC)
    assert problems("yesterday," + POUR, header) == [(2, "recorded_at")]


def test_the_same_file_sent_twice_makes_the_same_events():
    rows = "\n".join([POUR, POUR, POUR.replace("62.50", "30")])
    assert read(rows) == read(rows)


def test_two_rows_that_say_the_same_are_two_events():
    one, other = read(POUR + "\n" + POUR)
    assert one.event_id != other.event_id


def test_one_event_id_for_two_things_is_refused():
    header = "event_id," + HEADER
    assert problems(f"a,{POUR}\na,{POUR.replace('E01', 'E02')}", header) == [(3, "event_id")]
    assert len(read(f"a,{POUR}\na,{POUR}", header)) == 2  # a repeat is harmless


def test_a_file_that_is_not_there_is_said(tmp_path):
    with pytest.raises(InputError, match="no such file"):
        read_events(tmp_path / "events.csv")


def test_a_spreadsheet_gets_no_formula_and_numbers_stay_numbers():
    event = Event(dt.datetime(2026, 7, 31), "@sum(a)", "E01", "deck_pour", "place",
                  quantity=Decimal("-1.5"), note="=HYPERLINK(1)")  # fmt: skip
    text = events_text([event], for_spreadsheet=True)
    assert "'=HYPERLINK(1)" in text
    assert "'@sum(a)" in text
    assert ",-1.5," in text
    assert "'" not in events_text([event])


text = st.text(st.characters(codec="utf-8", exclude_characters="\x00"), max_size=30)
key = st.text(st.characters(categories=["L", "N", "P"], max_codepoint=0x2FF), max_size=8).map(
    str.strip
)
events = st.builds(
    Event,
    at=st.datetimes(),
    by=text.filter(str.strip),
    unit=key.filter(bool),
    activity=key,
    kind=st.sampled_from(KINDS),
    span=key,
    quantity=st.none()
    | st.decimals(allow_nan=False, allow_infinity=False, min_value=-(10**9), max_value=10**9),
    measure_unit=st.sampled_from(["", *PRINTED]),
    reason=text,
    note=text,
    voids=key,
    event_id=st.uuids().map(str),
    recorded_at=st.none() | st.datetimes(timezones=st.just(dt.UTC)),
)


@given(st.lists(events, max_size=5))
def test_what_goes_out_comes_back_to_the_last_digit(sent):
    back = events_from_text(events_text(sent), "events.csv").events
    assert list(back) == sent
    assert [str(e.quantity) for e in back] == [str(e.quantity) for e in sent]


def test_a_file_round_trip_keeps_line_breaks_in_notes(tmp_path):
    (event,) = read(POUR)
    event = Event(event.at, "Ana", "E01", "deck_pour", "note", note="one\r\ntwo\nthree\rfour")
    write_events(tmp_path / "events.csv", [event])
    assert read_events(tmp_path / "events.csv").events == (event,)
    assert (tmp_path / "events.csv").read_bytes().startswith(",".join(EVENT_COLUMNS).encode())


@given(st.text(max_size=200))
def test_no_text_however_broken_makes_a_traceback(broken):
    for text_of_file in (broken, HEADER + broken):
        try:
            events_from_text(text_of_file, "events.csv")
        except InputError as refused:
            assert refused.problems


def test_a_hundred_thousand_rows_take_under_three_seconds_of_computing():
    """A limit of our own, on processor time: wall time is the business of other programs too."""
    rows = "\n".join(POUR.replace("62.50", str(n)) for n in range(100_000))
    begun = time.process_time()
    assert len(read(rows)) == 100_000
    assert time.process_time() - begun < 3.0


def test_a_column_left_out_is_the_same_as_a_blank_one():
    short = "at,by,unit,activity,kind,quantity,measure_unit\n"
    assert read(POUR) == read("2026-07-31 14:30,Ana,E01,deck_pour,place,62.50,yd3", short)
