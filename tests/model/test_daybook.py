"""The day book: who recorded what, when it happened, when it became known."""

import datetime as dt

from hypothesis import given
from hypothesis import strategies as st

from model.daybook import day_book, first_seq_of, shift_of, told_last
from model.log_arrays import LogArrays
from model.project import Project
from model.shift_totals import shift_totals
from model.store import open_store
from tests.model.builders import a_frame, a_job, an_event
from tests.model.people import SetClock

DAY = dt.date(2026, 3, 3)
LATER = dt.datetime(2026, 12, 1)
JOB = a_job(units=4, headings=2)


def event(
    kind="start",
    at="2026-03-03 09:00",
    unit="E01",
    activity="falsework",
    span="",
    known="2026-03-03 23:00",
    **more,
):
    """An event that the log knew from a moment in UTC on: 23:00 is 15:00 on site in March."""
    return an_event(kind, at, unit, activity, span, recorded_at=known, **more)


def book(*events, known_on=LATER, day=DAY):
    return day_book(events, JOB, day, known_on=known_on)


def whats(entries):
    return [entry.what for entry in entries]


def test_the_lines_of_a_shift_stand_by_heading_and_time():
    told = book(
        event("finish", "2026-03-03 14:00"),
        event("start", "2026-03-03 09:00", unit="E03"),
        event("start", "2026-03-03 07:00"),
    )
    assert [(e.heading, e.what) for e in told.happened] == [
        ("h1", "started"), ("h1", "finished"), ("h2", "started"),
    ]  # fmt: skip


def test_digits_stay_as_they_were_typed():
    told = book(event("place", "2026-03-03 10:00", quantity="62.50", measure_unit="m3"))
    assert whats(told.happened) == ["placed 62.50 m³"]


def test_work_after_midnight_stands_in_the_book_of_the_evening():
    told = book(
        event("start", "2026-03-03 21:00"),
        event("finish", "2026-03-04 02:30", known="2026-03-04 11:00"),
    )
    assert whats(told.happened) == ["started", "finished"]
    assert not any(entry.late for entry in told.happened)


def test_an_early_pour_that_began_after_midnight_is_of_its_own_day():
    early = (event("start", "2026-03-03 03:00"), event("finish", "2026-03-03 05:30"))
    assert whats(book(*early).happened) == ["started", "finished"]
    assert book(*early, day=dt.date(2026, 3, 2)).happened == ()


def test_what_became_known_after_its_shift_says_so():
    told = book(event("start", "2026-03-03 09:00", known="2026-03-04 17:00"))
    assert told.happened[0].late
    assert told.happened[0].known_local == dt.datetime(2026, 3, 4, 9, 0)


def test_what_is_told_of_earlier_days_has_a_part_of_its_own():
    told = book(event("start", "2026-03-02 09:00"), event("finish", "2026-03-03 09:00"))
    assert whats(told.happened) == ["finished"]
    assert whats(told.recorded) == ["started"]


def test_a_cancelled_line_stays_and_names_who_cancelled_it():
    start = event("start", "2026-03-03 09:00")
    void = event("void", "2026-03-05 09:00", known="2026-03-05 18:00", by="B. Reed", unit="",
                 activity="", voids=start.event_id)  # fmt: skip
    told = book(start, void)
    assert told.happened[0].voided_by.by == "B. Reed"
    assert "CANCELLED by B. Reed" in str(told)


def test_as_known_on_an_earlier_day_the_book_is_as_it_was_then():
    start = event("start", "2026-03-03 09:00")
    void = event("void", "2026-03-05 09:00", known="2026-03-05 18:00", unit="", activity="",
                 voids=start.event_id)  # fmt: skip
    told = book(start, void, known_on=dt.datetime(2026, 3, 4))
    assert told.happened[0].voided_by is None


def test_everybody_who_recorded_a_line_signs_once():
    told = book(
        event("start", "2026-03-03 07:00", by="R. Alder"),
        event("finish", "2026-03-03 15:00", by="R. Alder"),
        event("note", "2026-03-03 15:00", by="B. Reed", note="pump moved"),
    )
    assert told.people == ("B. Reed", "R. Alder")
    assert str(told).count("signed") == 2


def test_a_day_without_entries_says_so():
    assert "Nothing was recorded" in str(book())


def test_the_log_is_read_from_the_first_line_that_matters():
    log = a_frame(
        event("start", "2026-03-01 09:00", known="2026-03-01 23:00"),
        event("start", "2026-03-03 09:00", unit="E02"),
        event("start", "2026-03-02 09:00", unit="E03"),
    )
    assert first_seq_of(log, JOB, DAY) == 2
    assert first_seq_of(log, JOB, dt.date(2027, 1, 1)) == 4
    assert first_seq_of(a_frame(), JOB, DAY) == 1


# What a correction cancels


def a_void(of, at="2026-03-03 16:00", **more):
    return event("void", at, **{"unit": "", "activity": "", "voids": of.event_id, **more})


def test_a_void_says_in_words_of_the_trade_what_it_cancels():
    finish = event("finish", "2026-03-03 14:30", activity="deck_pour", by="Ana")
    told = book(finish, a_void(finish, note="not yet"))
    assert whats(told.happened)[1] == "cancelled: Deck pour finished 14:30 (by Ana); not yet"


def test_what_was_cancelled_of_another_day_is_told_with_its_day_its_span_and_its_amount():
    load = event("place", "2026-03-02 10:00", "E01", "rebar", "2", quantity="2306",
                 measure_unit="lb", by="Ana")  # fmt: skip
    told = book(load, a_void(load))
    said = "cancelled: Rebar span 2 placed 2306 lb 2 Mar 10:00 (by Ana)"
    assert whats(told.happened) == [said]
    assert said in str(told)
    assert told.happened[0].as_dict()["what"] == said


def test_a_void_that_names_no_unit_stands_where_the_entry_is_that_it_cancels():
    start = event("start", "2026-03-03 09:00", unit="E03")
    void = book(start, a_void(start)).happened[1]
    assert (void.heading, void.place) == ("h2", "E03")


def test_a_void_of_what_the_book_cannot_find_still_has_its_line():
    assert whats(book(a_void(event())).happened) == ["cancelled an entry"]


def test_a_project_finds_what_was_cancelled_however_long_ago_it_was_recorded(tmp_path):
    clock = SetClock()
    clock.moment = dt.datetime(2026, 3, 1, 18, tzinfo=dt.UTC)
    with Project(tmp_path, JOB, open_store(":memory:", clock), clock=clock) as project:
        old = an_event("start", "2026-03-01 09:00", by="Ana")
        project.record([old, an_event("note", "2026-03-01 09:30", note="x", unit="E02")])
        clock.moment = dt.datetime(2026, 3, 3, 23, tzinfo=dt.UTC)
        project.record([an_event("void", "2026-03-03 14:00", activity="", voids=old.event_id)])
        (void,) = project.day_book(DAY).happened
        (entry,) = [entry for entry in project.history("E01") if entry.cancels]
    assert void.what == "cancelled: Falsework started 1 Mar 09:00 (by Ana)"
    assert entry.cancels.event_id == old.event_id


# How much it holds


def test_a_book_says_how_many_entries_it_has_and_how_many_were_cancelled_since():
    start, again = event(at="2026-03-03 09:00"), event(at="2026-03-03 09:05")
    assert book(start).extent == "1 entry"
    assert book(start, again, a_void(again)).extent == "3 entries, 1 of them cancelled since"
    told = book(start, again, a_void(again)).as_dict()
    assert (told["entries"], told["entries_cancelled"]) == (3, 1)
    assert told["totals"] == {"by_heading": [], "all_headings": []}


def test_a_book_made_before_its_shift_must_be_over_says_that_more_can_come():
    early, over = (book(known_on=dt.datetime(2026, 3, 4, hour)) for hour in (5, 6))
    assert early.extent == "0 entries; more can still happen in this shift until 4 Mar 06:00"
    assert (over.extent, over.still_open, early.still_open) == ("0 entries", False, True)


def test_a_book_says_where_entries_of_earlier_days_count_if_there_are_any():
    assert book(event(at="2026-03-03 09:00")).of_earlier_days == ""
    told = book(event(at="2026-03-02 09:00"))
    assert told.of_earlier_days.startswith("1 entry recorded in this shift about earlier days")
    assert told.of_earlier_days in str(told)


def test_an_early_pour_told_in_the_same_night_is_not_of_an_earlier_day():
    # 09:05 UTC is 01:05 on site: the shift of the evening before still runs.
    early = event("start", "2026-03-04 01:00", known="2026-03-04 09:05")
    told = book(early)
    assert told.happened == told.recorded == ()
    assert whats(book(early, day=dt.date(2026, 3, 4)).happened) == ["started"]


def test_a_start_that_was_cancelled_moves_no_pour_to_another_shift():
    wrong = event("start", "2026-03-04 01:00", known="2026-03-04 09:05")
    void = a_void(wrong, "2026-03-04 01:10", known="2026-03-04 09:10")
    right = event("start", "2026-03-03 22:00", known="2026-03-04 09:10")
    load = event("place", "2026-03-04 02:00", known="2026-03-04 11:00", quantity=5)
    told = book(wrong, void, right, load)
    assert [e.event for e in told.happened if not e.voided_by] == [right, void, load]


def test_totals_are_printed_on_top_with_those_of_all_headings_below():
    log = [event("place", "2026-03-03 10:00", unit, "deck_pour", quantity="62.50",
                 measure_unit="m3") for unit in ("E01", "E03")]  # fmt: skip
    totals = shift_totals(LogArrays(JOB, a_frame(*log)), DAY, LATER)
    lines = str(day_book(log, JOB, DAY, known_on=LATER, totals=totals)).splitlines()
    first = lines.index("Placed in this shift")
    assert [line.split()[0] for line in lines[first + 1 : first + 4]] == ["h1", "h2", "all"]
    assert "125 m³ in 2 entries, started 2 units, to date 125 m³" in lines[first + 3]
    assert first < lines.index(next(line for line in lines if "placed 62.50 m³" in line))


MOMENTS = st.datetimes(dt.datetime(2026, 3, 1), dt.datetime(2026, 3, 8))


@given(st.lists(st.tuples(MOMENTS, MOMENTS), max_size=12))
def test_every_line_stands_in_the_book_of_exactly_one_shift(moments):
    events = [
        an_event("note", at, note="x", recorded_at=known.replace(tzinfo=dt.UTC))
        for at, known in moments
    ]
    days = [dt.date(2026, 2, 27) + dt.timedelta(days=n) for n in range(12)]
    found = [e.event.event_id for day in days for e in book(*events, day=day).happened]
    assert sorted(found) == sorted(e.event_id for e in events)


@given(MOMENTS)
def test_a_shift_is_never_of_a_later_day(moment):
    assert moment.date() - shift_of(moment) in (dt.timedelta(0), dt.timedelta(days=1))


# What somebody told of the last shift


def test_what_somebody_told_last_is_that_of_the_last_shift_and_of_nobody_else():
    before = an_event(at="2026-03-02 08:00", by="A. Reed")
    start = an_event(at="2026-03-03 08:00", by="A. Reed")
    night = an_event("place", "2026-03-04 01:00", quantity=5, by="A. Reed")
    others = an_event("finish", "2026-03-04 09:00", by="B. Alder")
    assert told_last([before, start, night, others], "A. Reed") == (DAY, (start, night))
    assert told_last([before], "Nobody") == (None, ())


def test_what_was_cancelled_is_told_no_more():
    before = an_event(at="2026-03-02 08:00", by="A. Reed")
    wrong = an_event(at="2026-03-03 08:00", by="A. Reed")
    void = an_event("void", "2026-03-03 09:00", unit="", activity="", voids=wrong.event_id,
                    by="A. Reed")  # fmt: skip
    assert told_last([before, wrong, void], "A. Reed") == (dt.date(2026, 3, 2), (before,))
