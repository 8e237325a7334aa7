"""The small parts of shift entry, against Python's own decimals, dates and UUIDs."""

from __future__ import annotations

import datetime as dt
import random
import uuid
from decimal import Decimal
from pathlib import Path

import pytest

ASSETS = Path(__file__).parents[2] / "assets"


@pytest.fixture(scope="module")
def page(browser):
    """A page at an address that is not secure, from which the modules can be loaded."""

    def answer(route):
        file = ASSETS / route.request.url.partition("/assets/")[2]
        route.fulfill(path=file) if file.is_file() else route.fulfill(body="<p>")

    opened = browser.new_page()
    opened.route("http://parts.test/**", answer)
    opened.goto("http://parts.test/")
    yield opened
    opened.close()


def call(page, module, name, *values):
    """Call a function of a module; ``values`` travel as JSON."""
    script = """async ([module, name, values]) =>
        (await import(`/assets/entry/${module}.js`))[name](...values)"""
    return page.evaluate(script, [module, name, list(values)])


@pytest.mark.parametrize(
    ("typed", "read"),
    [
        ("300", "300"),
        (" 60.50 ", "60.50"),  # digits stay as typed
        ("1,200.5", "1200.5"),
        (".5", "0.5"),
        ("7.", "7"),
        ("60,5", None),  # sixty and a half, or six hundred and five? ask
        ("0,500", None),
        ("0", None),
        ("-3", None),
        ("1e3", None),
        ("3 loads", None),
        ("1,20", None),
        ("99999999999", None),
        ("", None),
    ],
)
def test_an_amount_is_read_as_a_person_means_it_or_not_at_all(page, typed, read):
    assert call(page, "amounts", "readAmount", typed) == read


def test_load_tickets_add_up_exactly_as_decimals_do(page):
    rng = random.Random(1)
    for _ in range(50):
        loads = [f"{rng.randint(0, 30)}.{rng.randint(0, 999):03d}"[: rng.randint(4, 6)]
                 for _ in range(rng.randint(1, 40))]  # fmt: skip
        assert Decimal(call(page, "amounts", "total", loads)) == sum(map(Decimal, loads))


def test_a_load_steps_up_and_down_but_never_to_nothing(page):
    assert call(page, "amounts", "stepped", "9.75", "0.5", True) == "10.25"
    assert call(page, "amounts", "stepped", "10", "0.5", False) == "9.5"
    assert call(page, "amounts", "stepped", "0.5", "0.5", False) == "0.5"


def test_an_identifier_made_without_a_secure_address_is_a_random_uuid(page):
    assert page.evaluate("crypto.randomUUID === undefined")
    made = [call(page, "identifiers", "newId") for _ in range(50)]
    read = [uuid.UUID(text) for text in made]
    assert {(one.version, one.variant) for one in read} == {(4, uuid.RFC_4122)}
    assert len(set(read)) == len(read)


@pytest.mark.parametrize(
    ("time", "expected"),
    [
        ("19:30", "2026-11-24T19:30"),
        ("23:59", "2026-11-24T23:59"),
        ("00:30", "2026-11-25T00:30"),
        ("05:00", "2026-11-25T05:00"),
        ("05:20", "2026-11-25T05:20"),  # a little after the end
        ("18:40", "2026-11-24T18:40"),  # a little before the beginning
    ],
)
def test_a_time_after_midnight_is_on_the_next_date_of_a_night_shift(page, time, expected):
    night = {"day": "2026-11-24", "from": "19:00", "to": "05:00"}
    assert call(page, "site_clock", "momentOf", night, time) == expected


def test_a_day_shift_stays_on_its_date(page):
    shift = {"day": "2026-11-24", "from": "07:00", "to": "15:30"}
    for minute in range(0, 24 * 60, 37):
        time = f"{minute // 60:02d}:{minute % 60:02d}"
        assert call(page, "site_clock", "momentOf", shift, time) == f"2026-11-24T{time}"


@pytest.mark.parametrize(
    ("now", "usual", "day"),
    [("2026-11-24T15:30", "07:00", "2026-11-24"), ("2026-11-25T05:10", "19:00", "2026-11-24")],
)
def test_the_shift_that_ends_now_began_today_or_last_night(page, now, usual, day):
    shift = call(page, "site_clock", "shiftAt", now, usual)
    assert shift == {"day": day, "from": usual, "to": now[11:]}


def test_minutes_go_over_days_months_and_leap_days(page):
    for text in ("2026-12-31T23:50", "2028-02-28T23:50", "2027-02-28T23:50"):
        expected = dt.datetime.fromisoformat(text) + dt.timedelta(minutes=25)
        later = call(page, "site_clock", "minutesLater", text, 25)
        assert later == expected.isoformat(timespec="minutes")


def test_the_site_clock_goes_on_from_the_list_whatever_the_phone_says(page):
    now = page.evaluate(
        """async () => {
            const { SiteClock } = await import("/assets/entry/site_clock.js");
            const cameAt = Date.UTC(2001, 0, 1);  // a phone whose clock is years behind
            return new SiteClock("2026-11-24T18:05", cameAt, () => cameAt + 90 * 60_000).now();
        }"""
    )
    assert now == "2026-11-24T19:35"


@pytest.mark.parametrize(
    ("chance", "words"),
    [(1.0, "more than 9 in 10"), (0.951, "more than 9 in 10"), (0.95, "9 in 10"),
     (0.75, "8 in 10"), (0.5, "5 in 10"), (0.06, "1 in 10"), (0.05, "1 in 10"),
     (0.049, "less than 1 in 10"), (0.0, "less than 1 in 10")],
)  # fmt: skip
def test_a_chance_is_said_in_tenths_and_never_as_certain(page, chance, words):
    assert call(page, "likely", "inTen", chance) == words


PLACE = {"unit": "E01", "span": "", "activity": "rebar", "heading": "h1"}
KEPT_LIST = {
    "likely": {
        "shift": "2026-11-24", "next_shift": "2026-11-25", "note": "",
        "proposals": [{**PLACE, "kinds": ["finish"], "chance": 0.1, "chance_by_next": 0.8}],
    }
}  # fmt: skip


@pytest.mark.parametrize(
    ("day", "status", "soon"),
    [("2026-11-24", "under_way", [0.1]), ("2026-11-25", "under_way", [0.8]),
     ("2026-11-26", "under_way", []), ("2026-11-24", "complete", [])],
)  # fmt: skip
def test_a_list_kept_since_the_last_shift_tells_of_this_one_too(page, day, status, soon):
    rows = [{**PLACE, "status": status}]
    found = call(page, "likely", "proposalsOf", KEPT_LIST, rows, "h1", day)
    assert [one["soon"] for one in found] == soon


def test_a_list_kept_by_an_earlier_version_proposes_nothing(page):
    assert call(page, "likely", "proposalsOf", {}, [], "h1", "2026-11-24") == []


def test_the_unit_whose_turn_it_is_on_its_heading_is_offered_not_the_first_by_name(page):
    def row(unit, activity, status="not_started", at_hand=True):
        return {"unit": unit, "span": "", "activity": activity, "heading": "west", "status": status,
                "at_hand": at_hand}  # fmt: skip

    sheet = {
        "last_seq": 5,
        "activities": [{"key": key, "measure_unit": "ft2"} for key in ("falsework", "rebar")],
        "headings": [{"key": "west", "units": ["W23", "W22", "W21"]}],
        "rows": [
            row("W21", "falsework"),
            row("W22", "falsework"),
            row("W23", "falsework", "complete"),
            row("W22", "rebar", at_hand=False),
            row("W23", "rebar"),
        ],
    }
    rows = call(page, "rows", "withKept", sheet, [])
    offered = call(page, "rows", "likely", rows, "west")
    assert [(each["unit"], each["activity"]) for each in offered] == [
        ("W22", "falsework"),
        ("W23", "rebar"),
    ]


@pytest.mark.parametrize(
    ("status", "did", "offered"),
    [
        ("not_started", (), ["start", "hold"]),
        ("not_started", ("start",), ["start", "hold", "place", "finish"]),
        ("under_way", (), ["finish", "place", "hold"]),
        ("on_hold", (), ["resume", "finish", "place"]),
        ("complete", (), ["reopen", "place", "check"]),
    ],
)
def test_the_likeliest_tick_comes_first_and_none_moves_under_the_thumb(page, status, did, offered):
    row = {**POUR_ROW, "status": status}
    assert call(page, "rows", "offered", row, a_draft(did=did), CONCRETE) == offered


def test_a_correction_offers_its_ticks_in_the_order_of_the_work(page):
    row, draft = {**POUR_ROW, "status": "complete"}, a_draft(corrects=[placed()])
    in_turn = ["start", "place", "hold", "check", "resume", "finish", "reopen"]
    assert call(page, "rows", "offered", row, draft, CONCRETE) == in_turn


USUAL = {"day": "2026-11-25", "from": "07:00", "to": "15:30"}
TOLD = {
    "a pour of three loads with a photo": [
        {"kind": "start", "at": "2026-11-24T08:10", "note": "pump moved attachment:" + "a" * 64},
        {"kind": "place", "at": "2026-11-24T14:00", "quantity": "27.50", "measure_unit": "yd3",
         "note": "3 loads: 9.50, 10, 8"},
    ],
    "loads with tickets and times": [
        {"kind": "place", "at": "2026-11-24T14:00", "quantity": "37.25", "measure_unit": "yd3",
         "note": "4 loads: 10 (ticket 48213, 08:10), 10 (08:24), 9.5 (ticket B 7), 7.75. dry"},
    ],
    "one load with a ticket": [
        {"kind": "place", "at": "2026-11-24T14:00", "quantity": "10", "measure_unit": "yd3",
         "note": "1 load: 10 (ticket 48213)"},
    ],
    "one load in words of one's own": [
        {"kind": "place", "at": "2026-11-24T14:00", "quantity": "10", "measure_unit": "yd3",
         "note": "1 load: 10. the last one"},
    ],
    "more loads than are named": [
        {"kind": "place", "at": "2026-11-24T14:00", "quantity": "20", "measure_unit": "yd3",
         "note": "3 loads: 10, 10"},
    ],
    "a time that is none": [
        {"kind": "place", "at": "2026-11-24T14:00", "quantity": "20", "measure_unit": "yd3",
         "note": "2 loads: 10 (08:75), 10"},
    ],
    "loads that do not add up": [
        {"kind": "place", "at": "2026-11-24T14:00", "quantity": "30", "measure_unit": "m3",
         "note": "2 loads: 9.50, 10"},
    ],
    "a hold for a reason of the list and more": [
        {"kind": "hold", "at": "2026-11-24T09:00", "reason": "Rain: and wind"},
        {"kind": "resume", "at": "2026-11-24T11:00"},
    ],
    "a hold in words of one's own": [
        {"kind": "hold", "at": "2026-11-24T09:00", "reason": "crane: no driver"},
    ],
    "only a note": [{"kind": "note", "at": "2026-11-24T15:30", "note": "levels read"}],
    "a night shift": [
        {"kind": "start", "at": "2026-11-24T22:00"},
        {"kind": "finish", "at": "2026-11-25T03:00"},
    ],
    "an early start of its own day": [{"kind": "start", "at": "2026-11-24T05:00"}],
}  # fmt: skip


@pytest.mark.parametrize("told", TOLD.values(), ids=TOLD.keys())
def test_what_is_taken_back_from_the_log_says_the_same_again(page, told):
    place = {"unit": "W23", "span": "", "activity": "deck_pour"}
    blank = {**place, "by": "A", "quantity": "", "measure_unit": "", "reason": "", "note": "",
             "voids": ""}  # fmt: skip
    events = [{**blank, "event_id": f"e{number}", **event} for number, event in enumerate(told)]
    sheet = {"last_seq": 9, "hold_reasons": ["Rain", "Survey"], "weather_reasons": []}
    said = page.evaluate(
        """async ([row, events, sheet, usual]) => {
            const { draftOf, shiftOf } = await import("/assets/entry/told.js");
            const { eventsOf } = await import("/assets/entry/entries.js");
            const draft = draftOf(row, events, sheet);
            const shift = shiftOf(events, "2026-11-24", usual);
            return eventsOf(draft, shift, "A", "2026-11-25T15:30");
        }""",
        [{**place, "measure_unit": "yd3"}, events, sheet, USUAL],
    )
    voids = [event["voids"] for event in said if event["kind"] == "void"]
    assert voids == [event["event_id"] for event in events]
    again = [event for event in said if event["kind"] != "void"]
    for event in again:
        named = [f"attachment:{file['key']}" for file in event.pop("files")]
        event["note"] = " ".join([*filter(None, [event["note"]]), *named])
    assert [{**event, "event_id": ""} for event in again] == [
        {**event, "event_id": ""} for event in events
    ]


CONCRETE = {
    "key": "deck_pour", "name": "Deck pour", "measure": "concrete", "measure_unit": "yd3",
    "factors": {"yd3": 1, "m3": 1 / 0.764554857984}, "after": [],
}  # fmt: skip
POUR = {"unit": "W23", "span": "", "activity": "deck_pour"}
POUR_ROW = {**POUR, "heading": "west", "status": "under_way", "placed": 30, "planned": 600}
POUR_SHEET = {
    "last_seq": 5, "activities": [CONCRETE], "headings": [{"key": "west", "units": ["W23"]}],
    "rows": [POUR_ROW],
}  # fmt: skip


def placed(event_id="p1", quantity="30", measure_unit="yd3"):
    return {**POUR, "event_id": event_id, "kind": "place", "at": "2026-11-24T14:00",
            "quantity": quantity, "measure_unit": measure_unit}  # fmt: skip


def a_draft(amount="", corrects=(), did=("place",), measure_unit="yd3", **more):
    told = list(corrects)
    return {
        **POUR, "did": {kind: {"time": ""} for kind in did}, "tickets": [], "amount": amount,
        "ticket": "",
        "measure_unit": measure_unit, "files": [],
        "corrects": {"entry": None, "events": [e["event_id"] for e in told], "told": told}
        if told else None, **more,
    }  # fmt: skip


def an_entry(events, state="queued", last_seq=0, drafts=()):
    return {"events": events, "state": state, "last_seq": last_seq, "drafts": list(drafts)}


def test_a_corrected_amount_is_not_counted_beside_the_one_it_replaces(page):
    draft = a_draft("30", corrects=[placed()])
    assert call(page, "measured", "placedAfter", POUR_ROW, draft, CONCRETE) == 30
    assert call(page, "measured", "placedAfter", POUR_ROW, a_draft("30"), CONCRETE) == 60


def test_an_amount_in_another_unit_is_counted_in_the_unit_of_the_list(page):
    """A cubic yard is 0.764554857984 m³: NIST SP 811, appendix B.8."""
    after = call(
        page, "measured", "placedAfter", POUR_ROW, a_draft("8", measure_unit="m3"), CONCRETE
    )
    assert after == pytest.approx(30 + 8 / 0.764554857984)


def test_an_amount_in_a_unit_that_an_old_list_cannot_convert_is_not_guessed(page):
    old = {**CONCRETE, "factors": None}
    draft = a_draft("8", measure_unit="m3")
    assert call(page, "measured", "placedAfter", POUR_ROW, draft, old) is None


LATER = {"sent": ("sent", 6), "kept": ("queued", 0)}


@pytest.mark.parametrize(("state", "last_seq"), LATER.values(), ids=LATER.keys())
def test_what_is_not_in_the_list_yet_is_added_to_what_it_has(page, state, last_seq):
    entry = an_entry([placed("p2", "12.5")], state, last_seq)
    (row,) = call(page, "rows", "withKept", POUR_SHEET, [entry])
    assert (row["placed"], row["kept"]) == (42.5, True)


def test_what_is_in_the_list_is_not_added_again(page):
    """Sent before the list came; or in the log though its answer was lost."""
    sent = an_entry([placed()], "sent", 5)
    (row,) = call(page, "rows", "withKept", POUR_SHEET, [sent])
    assert (row["placed"], row["kept"]) == (30, False)
    knows = {**POUR_SHEET, "told": {"events": [placed()]}}
    (row,) = call(page, "rows", "withKept", knows, [an_entry([placed()])])
    assert row["placed"] == 30


def test_a_kept_correction_takes_off_what_it_cancels(page):
    cancel = {**POUR, "span": "", "activity": "", "event_id": "v", "kind": "void", "voids": "p1"}
    draft = a_draft("18", corrects=[placed()])
    entry = an_entry([cancel, placed("p2", "18")], drafts=[draft])
    (row,) = call(page, "rows", "withKept", POUR_SHEET, [entry])
    assert row["placed"] == 18
    only_taken_out = an_entry([cancel], drafts=[a_draft(did=(), corrects=[placed()])])
    (row,) = call(page, "rows", "withKept", POUR_SHEET, [only_taken_out])
    assert (row["placed"], row["kept"]) == (0, True)


LIMITS = {"over_plan": 1.1, "far_over_plan": 2.0, "single_place": 1.5, "little_placed": 0.8,
          "load_gap_minutes": 30}  # fmt: skip
REBAR = {"key": "rebar", "name": "Rebar", "measure": "none", "measure_unit": "", "after": []}
ODD_SHEET = {"limits": LIMITS, "activities": [REBAR, {**CONCRETE, "after": ["rebar"]}]}


def odd(page, draft, events=(), rebar=(("1", "complete"), ("2", "complete")), sheet=ODD_SHEET,
        shift=USUAL, also=()):  # fmt: skip
    rows = [{**POUR, "activity": "rebar", "span": span, "status": status}
            for span, status in rebar]  # fmt: skip
    row = {**POUR_ROW, "measure_unit": "yd3"}
    entry = {"events": list(events), "drafts": [draft, *also], "shift": shift}
    return call(page, "odd", "oddOf", draft, entry, [row, *rows], sheet)


def told(kind, at, activity="deck_pour", span=""):
    return {
        "unit": "W23",
        "span": span,
        "activity": activity,
        "kind": kind,
        "at": f"2026-11-24T{at}",
    }


@pytest.mark.parametrize(
    ("amount", "said"),
    [
        ("630", []),  # 660 of 600: 110 %, as much as the log takes without a word
        ("636", ["11 % over plan in all, 666 of 600 yd³."]),
        ("900", ["55 % over plan in all, 930 of 600 yd³."]),
        ("901", ["55 % over plan in all, 931 of 600 yd³: "
                 "the log refuses that as a slip of the hand."]),
    ],
)  # fmt: skip
def test_what_is_over_plan_is_said_before_it_is_sent(page, amount, said):
    """The limits are those of ``model.acceptance``: 110 % in all, 150 % at once."""
    assert odd(page, a_draft(amount)) == said


@pytest.mark.parametrize(
    ("amount", "said"),
    [("450", []), ("449", ["Finished with 121 of 600 yd³ not reported."])],
)
def test_a_finish_with_much_of_the_plan_not_reported_is_said(page, amount, said):
    assert odd(page, a_draft(amount, did=("place", "finish"))) == said


def test_a_finish_without_amounts_goes_by_what_is_placed_already(page):
    said = odd(page, a_draft(did=("finish",), measure_unit=""))
    assert said == ["Finished with 570 of 600 yd³ not reported."]


def test_work_before_what_it_waits_for_is_said_with_the_spans_that_are_open(page):
    start, draft = [told("start", "08:00")], a_draft(did=("start",))
    open_span = (("1", "complete"), ("2", "under_way"))
    assert odd(page, draft, start) == []
    assert odd(page, draft, start, open_span) == [
        "Starts before Rebar of span 2 is finished: the log refuses that until it is recorded."
    ]


@pytest.mark.parametrize(
    ("finished_at", "is_odd"), [("07:30", False), ("08:00", False), ("09:00", True)]
)
def test_what_is_finished_in_the_same_entry_counts_if_it_was_finished_by_then(
    page, finished_at, is_odd
):
    """At the same moment the earlier activity comes first, as in ``model.sequence``."""
    events = [told("finish", finished_at, "rebar", "2"), told("start", "08:00")]
    open_span = (("1", "complete"), ("2", "under_way"))
    assert bool(odd(page, a_draft(did=("start",)), events, open_span)) is is_odd


def test_a_list_of_an_earlier_version_questions_nothing(page):
    old = {"activities": [{**REBAR, "after": None}, {**CONCRETE, "after": None, "factors": None}]}
    assert odd(page, a_draft("9000"), [told("place", "08:00")], (("1", "under_way"),), old) == []


def test_a_cancelled_entry_is_named_by_what_it_said(page):
    void = {"kind": "void", "voids": "p1", "note": "Corrected by who recorded it"}
    words = call(page, "words", "sentence", void, [{**placed(), "note": "levels read"}])
    assert words == "cancelled “placed 30 yd³ · Tue 24 Nov, 14:00”"
    assert call(page, "words", "sentence", void, []).startswith("an earlier entry cancelled")


PHOTO, SHEET = "attachment:" + "5" * 64, "attachment:" + "a" * 64


@pytest.mark.parametrize(
    ("note", "said"),
    [
        (f"west stem {PHOTO}", "west stem (photo or document)"),
        (f"{PHOTO} {SHEET} read", "(photo or document) (photo or document) read"),
        ("attachment: see below", "attachment: see below"),
    ],
)
def test_what_is_attached_is_named_in_words_and_not_by_its_hash(page, note, said):
    words = call(page, "words", "sentence", {**placed(), "note": note}, [])
    assert words == f"placed 30 yd³ · Tue 24 Nov, 14:00 · “{said}”"


HELD = {**POUR, "reason": "", "words": ""}
HOLD_REASONS_OF = """async ([row, draft, reasons]) => {
    const { holdPanel } = await import("/assets/entry/hold_panel.js");
    const panel = holdPanel(row, draft, reasons, () => {});
    const pressed = (button) => button.getAttribute("aria-pressed") === "true";
    return [...panel.querySelectorAll("button")].map((each) => [each.textContent, pressed(each)]);
}"""


@pytest.mark.parametrize(
    ("reason", "offered"),
    [
        ("Rain", [["Rain", True], ["Survey", False], ["Crane", False]]),  # filled in by weather
        ("Crane", [["Survey", False], ["Crane", True]]),
        ("", [["Survey", False], ["Crane", False]]),
    ],
)
def test_why_work_is_held_is_always_shown_as_chosen(page, reason, offered):
    draft = {**HELD, "reason": reason}
    assert page.evaluate(HOLD_REASONS_OF, [POUR, draft, ["Survey", "Crane"]]) == offered


def loads(*told):
    """Loads as the draft keeps them: of an amount, or of (time, ticket)."""
    times = [("", "") if each is None else each for each in told]
    return [{"amount": "10", "ticket": ticket, "time": time, "added": ""} for time, ticket in times]


def at(*times):
    return loads(*((time, "") for time in times))


def test_a_note_tells_of_loads_as_people_write_them(page):
    told = loads(("08:10", "48213"), ("08:24", ""), ("", "48215"), None)
    words = call(page, "loads", "loadsWords", told)
    assert words == "4 loads: 10 (ticket 48213, 08:10), 10 (08:24), 10 (ticket 48215), 10"
    assert call(page, "loads", "readLoads", words, "40") == {"loads": told, "rest": ""}


def test_a_note_of_bare_amounts_as_it_was_written_before_is_still_read(page):
    found = call(page, "loads", "readLoads", "3 loads: 10, 10, 10. pump moved", "30.0")
    assert found == {"loads": loads(None, None, None), "rest": "pump moved"}


def test_signs_that_part_the_loads_of_a_note_do_not_come_into_a_ticket_number(page):
    assert call(page, "loads", "ticketTyped", "48,213 (copy)\t2") == "48213 copy 2"


def test_any_ticket_that_can_be_typed_comes_back_from_the_note(page):
    rng = random.Random(7)
    signs = "0123456789ABZab.:;-/#\"'<>&é (),"
    for _ in range(50):
        typed = ["".join(rng.choices(signs, k=rng.randint(0, 12))) for _ in range(3)]
        tickets = [call(page, "loads", "ticketTyped", one).strip() for one in typed]
        told = loads(*((rng.choice(("", "08:10", "23:59")), ticket) for ticket in tickets))
        words = call(page, "loads", "loadsWords", told)
        assert call(page, "loads", "readLoads", words + ". as told", "30")["loads"] == told


def added(*times, written=None):
    """Loads added when the clock showed these times; ``written`` is what a person wrote."""
    return [{"amount": "10", "ticket": "", "time": written, "added": f"2026-11-24T{time}"}
            for time in times]  # fmt: skip


@pytest.mark.parametrize(
    ("kept", "times"),
    [
        (added("08:10", "08:24", "08:26"), ["08:10", "08:24", "08:26"]),
        (added("18:05"), ["18:05"]),
        (added("18:05", "18:05", "18:06", "18:07"), ["", "", "", ""]),  # after the pour, at a desk
        (added("08:10", "08:24", "08:25", "08:40"), ["08:10", "", "", "08:40"]),
        (added("08:10") + added("08:11", written="08:02"), ["", "08:02"]),
        (added("08:10", written=""), [""]),  # cleared
        (loads(None, ("07:30", "")), ["", "07:30"]),  # entered afterwards
        (added("23:59") + added("00:00"), ["23:59", "00:00"]),  # a day apart, by their dates
    ],
)
def test_the_clock_tells_a_loads_time_unless_loads_were_added_at_once(page, kept, times):
    assert [load["time"] for load in call(page, "loads", "withTimes", kept)] == times


def test_drafts_that_kept_bare_amounts_still_open(page):
    old = a_draft(tickets=["9.50", "10"])
    del old["ticket"]
    again = call(page, "drafts", "anew", old)
    assert [load["amount"] for load in again["tickets"]] == ["9.50", "10"]
    assert call(page, "measured", "amountOf", again) == "19.50"


@pytest.mark.parametrize(
    ("day", "now", "told"),
    [
        ("2026-11-25", "2026-11-25T10:00", "2026-11-25T10:00"),
        ("2026-11-24", "2026-11-25T10:00", ""),  # entered afterwards
        ("2026-11-24", "2026-11-25T02:00", "2026-11-25T02:00"),  # a pour that runs past midnight
    ],
)
def test_the_clock_tells_only_of_the_shift_that_runs(page, day, now, told):
    assert call(page, "site_clock", "nowIn", {**USUAL, "day": day}, now, "07:00") == told


COLD_JOINT = ": a cold joint may have formed, for the engineer of record to look at."


@pytest.mark.parametrize(
    ("times", "said"),
    [
        (("08:10", "08:40", "09:10"), ""),
        (("08:10", "08:41"), "1 (08:10) and 2 (08:41)"),
        (("08:10", "09:00", "09:10", "10:00"), "1 (08:10) and 2 (09:00); 3 (09:10) and 4 (10:00)"),
        (("08:10", "", "09:10"), ""),  # the one between may have come at 08:40
        (("08:10", "", "09:11"), "1 (08:10) and 3 (09:11), even with 1 load between"),
        (("09:00", "08:10", "08:35"), ""),  # told out of order
        (("", "08:10", ""), ""),
    ],
)
def test_a_long_gap_between_loads_is_marked_for_the_engineer_of_record(page, times, said):
    """30 minutes: common practice, no source."""
    found = odd(page, a_draft(tickets=at(*times)))
    assert found == ([f"More than 30 minutes between loads {said}{COLD_JOINT}"] if said else [])


def test_gaps_between_loads_go_over_midnight(page):
    night = {"day": "2026-11-24", "from": "19:00", "to": "05:00"}
    assert odd(page, a_draft(tickets=at("23:40", "00:05")), shift=night) == []
    (said,) = odd(page, a_draft(tickets=at("23:40", "00:15")), shift=night)
    assert "1 (23:40) and 2 (00:15)" in said


def test_a_ticket_tallied_twice_in_one_entry_is_odd(page):
    once, twice = loads(("", "A7"), ("", "A8")), loads(("", "A7"), ("", "A8"), ("", "a7"))
    said = "Ticket A7 is tallied more than once."
    assert odd(page, a_draft(tickets=once)) == []
    assert odd(page, a_draft(tickets=twice)) == [said]
    assert odd(page, a_draft("5", tickets=once, ticket="A7")) == [said]  # typed, not added yet
    assert odd(page, a_draft(tickets=once), also=[a_draft(tickets=loads(("", "A7")))]) == [said]
    not_placed = a_draft(tickets=twice, did=("start",))
    assert odd(page, not_placed) == []


def test_rows_of_one_unit_are_one_entry(page):
    drafts = [{**POUR, "unit": unit, "span": span} for unit, span in
              (("W09", "1"), ("W09", "2"), ("W23", ""))]  # fmt: skip
    assert call(page, "entries", "entriesIn", drafts) == 2


@pytest.mark.parametrize(
    ("query", "asked"),
    [
        ("?heading=W_from_east&unit=W22", {"heading": "W_from_east", "unit": "W22"}),
        ("?unit=Pier+1%26", {"heading": "", "unit": "Pier 1&"}),
        ("", None),
        ("?other=1", None),
    ],
)
def test_an_address_may_ask_for_a_heading_and_a_unit(page, query, asked):
    assert call(page, "asked", "askedOf", query) == asked


NO_UNIT = "The link asks for unit W99, which is not in this list."
NEITHER = "The link asks for heading north and unit W99, which are not in this list."


@pytest.mark.parametrize(
    ("heading", "unit", "opens", "said"),
    [
        ("west", "W23", "west", ""),
        ("", "W23", "west", ""),
        ("east", "W23", "west", ""),  # the unit knows where it is built from
        ("east", "", "east", ""),
        ("east", "W99", "east", NO_UNIT),
        ("north", "W99", "", NEITHER),
    ],
)
def test_what_the_list_has_is_opened_and_what_it_has_not_is_said(page, heading, unit, opens, said):
    rows = [
        {**POUR_ROW, "activity": activity, "status": status}
        for activity, status in (("falsework", "complete"), ("deck_pour", "not_started"),
                                 ("rebar", "under_way"))
    ]  # fmt: skip
    answer = call(page, "asked", "answerTo", {"heading": heading, "unit": unit}, ["west", "east"],
                  rows)  # fmt: skip
    assert (answer["heading"], answer["words"]) == (opens, said)
    first = ["W23||rebar", "W23||deck_pour", "W23||falsework"] if unit == "W23" else []
    assert answer["picked"] == first


PRESSING = """async (steps) => {
    const waits = new Map();
    const { setTimeout, clearTimeout } = window;
    window.setTimeout = (act, wait) => {
        const which = Symbol();
        waits.set(which, { act, wait });
        return which;
    };
    window.clearTimeout = (which) => waits.delete(which);
    const { Press } = await import("/assets/entry/press.js");
    let drawn = 0;
    const press = new Press(() => (drawn += 1));
    press.watch();
    const pass = (most) => {
        for (const [which, { act, wait }] of waits) if (wait <= most && waits.delete(which)) act();
    };
    const told = [];
    const part = (tag) => document.body.appendChild(document.createElement(tag));
    for (const [name, what] of steps) {
        const isKey = name.startsWith("key");
        if (name === "pass") pass(what);
        else if (name === "change") part(what).dispatchEvent(new Event(name, { bubbles: true }));
        else if (isKey) document.dispatchEvent(new KeyboardEvent(name, { key: what }));
        else document.dispatchEvent(new PointerEvent(name, { pointerId: what }));
        told.push(press.isOn);
    }
    pass(0);
    Object.assign(window, { setTimeout, clearTimeout });
    return [told, drawn];
}"""
DOWN, UP, CANCEL, CLICK = "pointerdown", "pointerup", "pointercancel", "click"


@pytest.mark.parametrize(
    ("steps", "is_pressed"),
    [
        ([(DOWN, 1), (UP, 1), (CLICK, 1)], [True, True, False]),  # a touch's click comes later
        ([(DOWN, 1), (UP, 1), ("pass", 300)], [True, True, False]),  # let go beside it
        ([(DOWN, 1), (CANCEL, 1), ("pass", 300)], [True, True, False]),  # it became a scroll
        ([(DOWN, 1), (DOWN, 2), (UP, 2), ("pass", 300), (UP, 1), (CLICK, 1)],
         [True, True, True, True, True, False]),  # two thumbs
        ([(DOWN, 1), ("pass", 9_999), ("pass", 10_000)], [True, True, False]),  # no release is told
        ([(DOWN, 1), ("change", "select")], [True, False]),  # let go over the list of choices
        ([(DOWN, 1), ("change", "input"), (UP, 1), (CLICK, 1)], [True, True, True, False]),
        ([("keydown", " "), ("keyup", " "), (CLICK, -1)], [True, True, False]),
        ([("keydown", " "), ("keydown", " "), ("pass", 300), ("keyup", " "), (CLICK, -1)],
         [True, True, True, True, False]),
    ],
)  # fmt: skip
def test_the_page_is_not_drawn_from_press_to_click_and_always_after(page, steps, is_pressed):
    assert page.evaluate(PRESSING, steps) == [is_pressed, 1]


def test_other_keys_than_the_space_bar_press_nothing(page):
    assert page.evaluate(PRESSING, [("keydown", "a"), ("keyup", "a")]) == [[False, False], 0]


OPENED = """async (steps) => {
    const { Panels } = await import("/assets/entry/panels.js");
    const panels = new Panels();
    return steps.map(([why, clicks]) => {
        const panel = panels.draw("p", { words: "Shift", why });
        const open = panel.open;
        if (clicks) panel.querySelector("summary").click();
        return open;
    });
}"""


@pytest.mark.parametrize(
    ("steps", "open_at_each"),
    [
        ([("", True), ("", False), ("", True), ("", False)], [False, True, True, False]),
        ([("no name", False), ("", False)], [True, False]),
        ([("", True), ("no name", False), ("", False)], [False, True, True]),
        ([("no name", True), ("no name", False), ("Nobody is named.", False)], [True, False, True]),
    ],
)
def test_a_panel_is_open_as_a_person_left_it_or_for_a_new_reason(page, steps, open_at_each):
    assert page.evaluate(OPENED, steps) == open_at_each


DRAINED = """async ([entries, answers, heard]) => {
    const { setTimeout, clearTimeout, fetch } = window;
    const waits = new Map();
    let number = 0;
    window.setTimeout = (act, wait) => { waits.set(number += 1, wait); return number; };
    window.clearTimeout = (which) => waits.delete(which);
    window.fetch = async () => {
        const status = answers.shift();
        if (!status) throw new TypeError("lost");
        return new Response("", { status });
    };
    const { Outbox } = await import("/assets/entry/outbox.js");
    const kept = {
        entries: async () => entries,
        tryAgain: async () => {},
        putEntry: async (entry) => {
            entries[entries.findIndex(({ id }) => id === entry.id)] = entry;
        },
    };
    let outbox = null;
    const onChange = () => outbox && !outbox.draining && heard && outbox.heard(heard);
    outbox = new Outbox(kept, { onChange, onSent: () => {}, onTime: () => {} });
    const planned = [];
    for (let tries = answers.length; tries; tries -= 1) {
        await outbox.drain();
        planned.push([...waits.values()].map((wait) => wait / 1000));
    }
    Object.assign(window, { setTimeout, clearTimeout, fetch });
    return planned;
}"""


def kept_entry(number=1, state="queued"):
    return {"id": f"n{number}", "number": number, "unit": "W23", "state": state, "tries": 0,
            "by": "A", "events": [], "drafts": [], "corrects": [], "seen_seq": 0}  # fmt: skip


def planned(page, entries, answers, heard=0):
    """Seconds to the next try after each of some tries; ``heard`` is how the list is answered."""
    return page.evaluate(DRAINED, [entries, answers, heard])


@pytest.mark.parametrize("heard", [0, 200, 401, 503])
@pytest.mark.parametrize("answer", [503, 401, None])
def test_what_is_kept_is_tried_again_however_the_list_is_answered(page, answer, heard):
    ((wait,),) = planned(page, [kept_entry()], [answer], heard)
    assert wait > 0


def test_tries_come_later_each_time_though_the_list_is_answered(page):
    waits = planned(page, [kept_entry()], [503] * 8, heard=200)
    usual = [5, 10, 20, 40, 80, 160, 300, 300]
    for (wait,), about in zip(waits, usual, strict=True):
        assert 0.8 * about <= wait <= 1.2 * about


def test_what_waits_for_a_choice_is_not_tried_every_few_seconds(page):
    ((wait,),) = planned(page, [kept_entry(1, "refused"), kept_entry(2)], [None], heard=200)
    assert wait >= 0.8 * 300


def test_where_nothing_waits_nothing_is_tried(page):
    assert planned(page, [kept_entry(1, "refused")], [None], heard=503) == [[]]
