"""The one door for writing: all or nothing, once, with every problem beside its event."""

import datetime as dt
import json
import threading

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from dashboard.doors.event_json import KEYS
from dashboard.doors.events_api import EVENTS_AT_MOST
from model.events import KINDS
from model.problems import StoreError
from tests.dashboard.visitors import Visitors, an_item
from tests.model.builders import an_event


@pytest.fixture
def visitors(tmp_path):
    """A project without users: what is told apart here is not who."""
    return Visitors(tmp_path, users=False)


@pytest.fixture
def people(tmp_path):
    return Visitors(tmp_path)


def post(visitors, *items, who="nobody", **body):
    return visitors.send("POST", "/api/events", who, json={"events": list(items), **body})


def post_text(visitors, text, content_type="application/json"):
    return visitors.send("POST", "/api/events", data=text, content_type=content_type)


def recorded(visitors):
    return visitors.project._store.events()


# All or nothing, and once


def test_a_batch_is_recorded_as_it_was_typed(visitors):
    pour = an_item("place", quantity="62.50", measure_unit="m2", note="two loads")
    answer = post(visitors, an_item(), pour)
    assert answer.status_code == 200
    assert answer.get_json() == {
        "accepted": ["test-start", "test-place"], "repeated": [], "warnings": [], "last_seq": 2,
    }  # fmt: skip
    assert str(recorded(visitors)[1].quantity) == "62.50"
    assert recorded(visitors)[1].note == "two loads"


def test_sent_again_it_changes_nothing_and_is_confirmed_again(visitors):
    post(visitors, an_item())
    answer = post(visitors, an_item(), an_item("finish", at="2026-03-03T15:00"))
    assert answer.get_json()["repeated"] == ["test-start"]
    assert answer.get_json()["accepted"] == ["test-finish"]
    assert len(recorded(visitors)) == 2


def test_one_wrong_event_refuses_all_and_says_which_it_is(visitors):
    answer = post(visitors, an_item(), an_item("hold", reason=""),
                  an_item(unit="X9", event_id="elsewhere"))  # fmt: skip
    assert answer.status_code == 422
    told = {(p["event_id"], p["field"]) for p in answer.get_json()["problems"]}
    assert ("test-hold", "reason") in told
    assert ("elsewhere", "unit") in told
    assert recorded(visitors) == []


def test_problems_name_the_right_event_when_others_of_the_batch_are_repeated(visitors):
    post(visitors, an_item())
    answer = post(visitors, an_item(), an_item("finish", at="2026-03-01T08:00"))
    assert answer.status_code == 422
    assert {p["event_id"] for p in answer.get_json()["problems"]} == {"test-finish"}
    assert {p["row"] for p in answer.get_json()["problems"]} == {2}


def test_another_event_under_a_used_id_is_refused(visitors):
    post(visitors, an_item())
    answer = post(visitors, an_item(note="something else"))
    assert answer.status_code == 422
    assert answer.get_json()["problems"][0]["event_id"] == "test-start"


def test_what_the_trade_allows_but_someone_should_see_comes_back_as_a_warning(visitors):
    answer = post(visitors, an_item(at="2026-03-07T08:00"))
    assert answer.status_code == 200
    (warning,) = answer.get_json()["warnings"]
    assert (warning["event_id"], warning["severity"]) == ("test-start", "warning")


def test_a_full_disk_is_said_and_not_a_fault(visitors, monkeypatch):
    def full(*_, **__):
        raise StoreError("the disk is full and nothing of this batch was written.")

    monkeypatch.setattr(visitors.project._store, "append", full)
    answer = post(visitors, an_item())
    assert answer.status_code == 503
    assert "disk is full" in answer.get_json()["problems"][0]["message"]


# Who says so


def test_who_is_signed_in_is_who_says_so_whatever_the_body_claims(people):
    post(people, an_item(by="Somebody Else"), who="scheduler")
    assert recorded(people)[0].by == "Scheduler"


def test_a_program_records_in_the_name_of_its_person(people):
    headers = people.token("scheduler", "record")
    people.client.post("/api/events", json={"events": [an_item(by="x")]}, headers=headers)
    assert recorded(people)[0].by == "Scheduler"


def test_without_users_the_body_says_who(visitors):
    post(visitors, an_item(by=" R. Alder "))
    assert recorded(visitors)[0].by == "R. Alder"
    assert post(visitors, an_item("finish", by="")).status_code == 422


def test_a_superintendent_records_on_the_headings_given_alone(people):
    assert post(people, an_item(unit="E01"), who="superintendent").status_code == 200
    other = an_item("start", unit="E04", event_id="other")
    answer = post(people, other, an_item("finish", unit="E01"), who="superintendent")
    assert answer.status_code == 403
    assert "h2" in answer.get_json()["problems"][0]["message"]
    assert len(recorded(people)) == 1
    assert people.denied() == ["Superintendent: POST /api/events: not on h2"]
    assert post(people, other, who="scheduler").status_code == 200


def test_a_superintendent_cannot_cancel_what_others_recorded_on_another_heading(people):
    post(people, an_item(unit="E04"), who="scheduler")
    void = an_item("void", unit="", activity="", voids="test-start")
    assert post(people, void, who="superintendent").status_code == 403


# Somebody else recorded there meanwhile


def test_the_later_of_two_phones_sees_both_and_chooses(people):
    assert post(people, an_item(), who="superintendent", seen_seq=0).status_code == 200
    late = an_item("start", event_id="late", at="2026-03-02T09:00")
    answer = post(people, late, who="scheduler", seen_seq=0)
    assert answer.status_code == 409
    told = answer.get_json()
    assert told["last_seq"] == 1
    (theirs,) = told["meanwhile"]
    assert (theirs["by"], theirs["kind"], theirs["at"]) == (
        "Superintendent", "start", "2026-03-02T08:00",
    )  # fmt: skip
    assert theirs["recorded_at"].endswith("+00:00")
    assert len(recorded(people)) == 1
    finish = an_item("finish", at="2026-03-04T15:00")
    assert post(people, finish, who="scheduler", seen_seq=1).status_code == 200


def test_despite_others_it_is_taken_if_the_log_still_accepts_it(people):
    post(people, an_item(), who="superintendent", seen_seq=0)
    despite = {"who": "scheduler", "seen_seq": 0, "despite_others": True}
    assert post(people, an_item("start", event_id="late"), **despite).status_code == 422
    assert post(people, an_item("finish", at="2026-03-04T15:00"), **despite).status_code == 200


def test_of_many_phones_at_once_one_is_taken_and_the_others_are_shown_it(visitors):
    answers = []
    together = threading.Barrier(8)

    def send(number):
        client = visitors.app.server.test_client()
        item = an_item(event_id=f"phone-{number}", by=f"Person {number}")
        together.wait()
        sent = client.post("/api/events", json={"events": [item], "seen_seq": 0})
        answers.append((sent.status_code, sent.get_json()))

    threads = [threading.Thread(target=send, args=(number,)) for number in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(status for status, _ in answers) == [200] + [409] * 7
    (winner,) = recorded(visitors)
    shown = {body["meanwhile"][0]["by"] for status, body in answers if status == 409}
    assert shown == {winner.by}


# Shape and content

SHAPES = [
    {}, {"events": []}, {"events": {}}, {"events": None}, {"events": "x"}, [], None, 1, "x",
    {"events": [1]}, {"events": [None]}, {"events": [[]]}, {"events": [{}]},
    {"events": [an_item()], "more": 1},
    {"events": [an_item()], "seen_seq": -1}, {"events": [an_item()], "seen_seq": "1"},
    {"events": [an_item()], "seen_seq": True}, {"events": [an_item()], "seen_seq": 1.5},
    {"events": [an_item()], "seen_seq": 2**60},
    {"events": [an_item()], "despite_others": 1}, {"events": [an_item()], "despite_others": None},
    {"events": [an_item(quantity=5)]}, {"events": [an_item(note=None)]},
    {"events": [an_item(seq="5")]}, {"events": [an_item(recorded_at="2026-03-02T08:00")]},
    {"events": [an_item(note="x" * 10_001)]}, {"events": [an_item(unit="x" * 101)]},
]  # fmt: skip


@pytest.mark.parametrize("body", SHAPES, ids=range(len(SHAPES)))
def test_a_body_of_the_wrong_shape_is_refused_in_words(visitors, body):
    answer = post_text(visitors, json.dumps(body))
    assert answer.status_code == 400
    assert answer.get_json()["problems"][0]["fix"]
    assert recorded(visitors) == []


@pytest.mark.parametrize(
    "text", ["", "{", "{'events': []}", "\x00", '{"events": [NaN]}', "[" * 500_000, "9" * 5_000,
             '{"events": ' * 50_000, b"\xff\xfe\x00", '{"events": [1e999999]}']
)  # fmt: skip
def test_a_body_that_is_no_json_is_refused_without_a_fault(visitors, text):
    assert post_text(visitors, text).status_code == 400


@pytest.mark.parametrize("kind", ["text/plain", "application/x-www-form-urlencoded", ""])
def test_what_is_not_sent_as_json_is_not_read(visitors, kind):
    answer = post_text(visitors, json.dumps({"events": [an_item()]}), kind)
    assert answer.status_code == 415


def test_too_many_events_at_once_are_refused(visitors):
    items = [an_item("note", event_id=f"n{n}", note="x") for n in range(EVENTS_AT_MOST + 1)]
    assert post(visitors, *items).status_code == 413
    assert post(visitors, *items[:-1]).status_code == 200


def test_a_body_over_a_mebibyte_is_refused(visitors):
    items = [an_item("note", event_id=f"n{n}", note="x" * 10_000) for n in range(110)]
    assert post(visitors, *items).status_code == 413


CONTENTS = [
    ("at", "yesterday"), ("at", ""), ("at", "2026-02-30T08:00"), ("at", "2026-03-02"),
    ("at", "2026-03-02T08:00Z"), ("at", "2026-03-02T08:00-08:00"), ("at", "0000-01-01T00:00"),
    ("at", "9999-12-31T23:59"), ("at", "٢٠٢٦-03-02T08:00"),
    ("kind", "begin"), ("kind", ""), ("event_id", ""), ("event_id", "a b"),
    ("event_id", "\ud800"), ("quantity", "three"), ("quantity", "-3"), ("quantity", "nan"),
    ("quantity", "1e9"), ("quantity", "١٢"), ("quantity", "9" * 99),
    ("note", "\ud800"), ("note", "\x00"), ("note", "\x1b[31m"), ("reason", "\ud800x"),
    ("unit", "\x00"), ("span", "\x00"), ("activity", "\x07"), ("voids", "\ud800"),
    ("measure_unit", "\x00"), ("by", "\ud800"),
]  # fmt: skip


@pytest.mark.parametrize(("key", "value"), CONTENTS, ids=range(len(CONTENTS)))
def test_content_that_cannot_be_is_refused_beside_its_field(visitors, key, value):
    answer = post(visitors, {**an_item("hold", reason="rain"), key: value})
    assert answer.status_code == 422
    assert key in {problem["field"] for problem in answer.get_json()["problems"]}
    assert recorded(visitors) == []


MOMENTS = st.datetimes(dt.datetime(2025, 1, 1), dt.datetime(2027, 6, 1)).map(
    lambda moment: moment.isoformat(timespec="minutes")
)
LIKELY = st.fixed_dictionaries(
    {
        "event_id": st.sampled_from(["a", "b", "c", "d", "e"]),
        "at": MOMENTS,
        "unit": st.sampled_from(["E01", "E04", "X9", ""]),
        "activity": st.sampled_from(["falsework", "deck_forms", "curing", "odd", ""]),
        "kind": st.sampled_from(KINDS),
        "by": st.sampled_from(["R. Alder", ""]),
    },
    optional={
        "span": st.sampled_from(["1", "2", "9", ""]),
        "quantity": st.sampled_from(["5", "0", "99999999999", "0.000000000001", "", "x"]),
        "measure_unit": st.sampled_from(["m2", "yd3", "odd", ""]),
        "reason": st.sampled_from(["rain", ""]),
        "note": st.text(max_size=5),
        "voids": st.sampled_from(["a", "b", "nothing", ""]),
    },
)


@given(st.lists(st.lists(LIKELY, min_size=1, max_size=5), min_size=1, max_size=4))
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_whatever_people_send_is_recorded_whole_or_refused_in_words(visitors, batches):
    for batch in batches:
        before = visitors.project.last_seq()
        answer = post(visitors, *batch, seen_seq=before)
        after = visitors.project.last_seq()
        assert answer.status_code in (200, 422)
        taken = len(answer.get_json().get("accepted", []))
        assert after - before == taken
        if answer.status_code == 422:
            problems = answer.get_json()["problems"]
            assert problems
            assert all(p["message"] and p["event_id"] is not None for p in problems)
            json.dumps(visitors.send("GET", "/api/day-book?date=2026-03-02").get_json())


# What is typed stays text

SCRIPT = "<script>window.taken=1</script><img src=x onerror='window.taken=1'>\"'&"


@pytest.mark.parametrize("key", sorted(KEYS))
def test_a_script_in_any_field_comes_back_as_the_same_text_or_not_at_all(visitors, key):
    post(visitors, an_item(event_id="first"))
    answer = post(visitors, {**an_item("hold", reason="rain"), key: SCRIPT})
    assert answer.mimetype == "application/json"
    assert answer.status_code in (200, 400, 422)
    for path in ("/api/entry-sheet", "/api/day-book?date=2026-03-02"):
        shown = visitors.send("GET", path)
        assert shown.mimetype == "application/json"
        assert shown.headers["X-Content-Type-Options"] == "nosniff"
    if answer.status_code == 200:
        assert getattr(recorded(visitors)[-1], key) == SCRIPT


def test_free_text_keeps_its_lines_and_every_script(visitors):
    words = "первая линия\n第二行\tثالث 👷"
    post(visitors, an_item(note=words))
    assert recorded(visitors)[0].note == words


# The entry sheet and the day book


def test_the_sheet_says_what_can_be_recorded_and_what_was_seen(visitors):
    post(visitors, an_item())
    sheet = visitors.send("GET", "/api/entry-sheet").get_json()
    assert sheet["last_seq"] == 1
    assert sheet["me"] is None
    row = next(r for r in sheet["rows"] if (r["unit"], r["activity"]) == ("E01", "falsework"))
    assert (row["status"], row["at_hand"], row["span"]) == ("under_way", True, "")
    waiting = next(r for r in sheet["rows"] if r["activity"] == "deck_pour")
    assert waiting["waits_for"] == "Rebar"
    assert len(sheet["rows"]) == 4 * 4 + 2 * 8, "four activities by unit, two by span"


def test_a_superintendents_sheet_holds_the_headings_given_and_an_owners_all(people):
    sheet = people.send("GET", "/api/entry-sheet", "superintendent").get_json()
    assert {row["heading"] for row in sheet["rows"]} == {"h1"}
    assert [heading["key"] for heading in sheet["headings"]] == ["h1"]
    assert sheet["me"]["name"] == "Superintendent"
    owner = people.send("GET", "/api/entry-sheet", "owner").get_json()
    assert {row["heading"] for row in owner["rows"]} == {"h1", "h2"}


def test_the_day_book_of_the_door_is_that_of_the_project(visitors):
    post(visitors, an_item())
    visitors.project.record([an_event("place", quantity="3.50")])
    told = visitors.send("GET", "/api/day-book?date=2026-03-02").get_json()
    assert [line["kind"] for line in told["happened"]] == ["start", "place"]
    assert told["happened"][1]["quantity"] == "3.50"
    for wrong in ("yesterday", "20260302", "", "0001-01-01", "9999-12-31"):
        assert visitors.send("GET", f"/api/day-book?date={wrong}").status_code == 400
