"""The entry sheet: what is likely next on each heading, and what it costs to know it."""

from __future__ import annotations

import datetime as dt

import pytest

from dashboard.app import Settings, create_app
from model.clock import clock_starting_at
from model.project import Project
from tests.dashboard.visitors import Visitors, an_item
from tests.model.builders import an_event

TWO_SPANS_DUE = ("W_from_west", "W09", "2", "deck_forms")


@pytest.fixture
def shift_end(project):
    """The demo on the day after its log ends, half past three: nothing is told of that day yet."""
    at = dt.datetime(2026, 11, 25, 15, 30, tzinfo=project.job.timezone)
    with Project.open(project.folder, clock=clock_starting_at(at)) as opened:
        yield opened


@pytest.fixture
def ask(shift_end):
    client = create_app(shift_end, Settings(demo=True)).server.test_client()
    return lambda: client.get("/api/entry-sheet").get_json()


def places(proposals, kind):
    return [
        (one["heading"], one["unit"], one["span"], one["activity"])
        for one in proposals
        if kind in one["kinds"]
    ]


def test_the_sheet_proposes_for_the_shift_that_ends_now(ask):
    likely = ask()["likely"]
    assert (likely["shift"], likely["next_shift"]) == ("2026-11-25", "2026-11-30")
    assert likely["note"] == ""
    assert TWO_SPANS_DUE in places(likely["proposals"], "finish")


def test_every_proposal_is_a_row_of_the_sheet_that_stands_so_that_it_can_be_told(ask):
    sheet = ask()
    stands = {(r["unit"], r["span"], r["activity"]): r["status"] for r in sheet["rows"]}
    expected = {"finish": "under_way", "start": "not_started", "resume": "on_hold"}
    assert sheet["likely"]["proposals"]
    for one in sheet["likely"]["proposals"]:
        status = stands[one["unit"], one["span"], one["activity"]]
        assert expected[one["kinds"][-1]] == status
        assert 0 <= one["chance"] <= one["chance_by_next"] <= 1


def test_the_likeliest_of_a_heading_comes_first(ask):
    sheet = ask()
    for heading in sheet["headings"]:
        chances = [round(one["chance"], 1) for one in sheet["likely"]["proposals"]
                   if one["heading"] == heading["key"]]  # fmt: skip
        assert chances == sorted(chances, reverse=True)


def test_what_has_been_recorded_is_not_proposed_again(ask, shift_end):
    heading, unit, span, activity = TWO_SPANS_DUE
    told = an_event("finish", "2026-11-25 15:00", unit, activity, span)
    shift_end.record([told])
    proposals = ask()["likely"]["proposals"]
    assert (heading, unit, span, activity) not in places(proposals, "finish")


def test_the_line_is_marched_once_until_the_log_grows(shift_end):
    first = shift_end.line.likely_next()
    assert shift_end.line.likely_next() is first
    shift_end.record([an_event("hold", "2026-11-25 15:00", "W10", "falsework")])
    assert shift_end.line.likely_next() is not first


def test_the_sheet_says_when_there_is_no_pace_to_go_by(tmp_path, project):
    """A copy of the demo whose log is empty."""
    for name in ("project.toml", "alignment.csv", "bents.csv", "units.csv"):
        (tmp_path / name).write_bytes((project.folder / name).read_bytes())
    with Project.open(tmp_path) as fresh:
        client = create_app(fresh, Settings()).server.test_client()
        likely = client.get("/api/entry-sheet").get_json()["likely"]
    assert likely["proposals"] == []
    assert likely["note"] == "Nothing is finished yet, so there is no pace to go by."


def test_the_sheet_tells_who_asks_what_they_told_of_their_last_shift(tmp_path):
    visitors = Visitors(tmp_path)
    first = {"event_id": "first", "at": "2027-01-04T08:00"}
    for who, item in (
        ("superintendent", an_item(**first)),
        ("scheduler", an_item("note", note="levels read")),
    ):
        answer = visitors.send("POST", "/api/events", who, json={"events": [item]})
        assert answer.status_code == 200
    sheet = visitors.send("GET", "/api/entry-sheet?by=Scheduler", "superintendent").get_json()
    assert (sheet["told"]["by"], sheet["told"]["shift"]) == ("Superintendent", "2027-01-04")
    assert [event["event_id"] for event in sheet["told"]["events"]] == ["first"]


def test_without_users_the_sheet_tells_it_of_the_name_that_is_given(tmp_path):
    visitors = Visitors(tmp_path, users=False)
    visitors.send("POST", "/api/events", json={"events": [an_item(at="2027-01-04T08:00")]})
    told = visitors.send("GET", "/api/entry-sheet?by=R.+Alder").get_json()["told"]
    assert [event["kind"] for event in told["events"]] == ["start"]
    for address in ("/api/entry-sheet", "/api/entry-sheet?by=Nobody"):
        assert visitors.send("GET", address).get_json()["told"]["events"] == []


def test_the_sheet_carries_what_the_log_judges_by_so_that_the_phone_can_say_it_first(ask, project):
    sheet = ask()
    assert sheet["limits"] == {"over_plan": 1.1, "far_over_plan": 2.0, "single_place": 1.5,
                               "little_placed": 0.8, "load_gap_minutes": 30}  # fmt: skip
    for activity in sheet["activities"]:
        assert activity["after"] == list(project.job.activity_by_key[activity["key"]].after)
        assert set(activity["factors"]) == set(activity["accepted_units"])
    (pour,) = [each for each in sheet["activities"] if each["key"] == "deck_pour"]
    # A cubic yard is 0.764554857984 m³ and 27 cubic feet: NIST SP 811, appendix B.8.
    assert pour["factors"]["m3"] == pytest.approx(1 / 0.764554857984)
    assert pour["factors"]["ft3"] == pytest.approx(1 / 27)


def test_a_sheet_tells_of_one_state_of_the_log_though_somebody_records_meanwhile(
    ask, shift_end, monkeypatch
):
    """The row and what its person told must agree, or the phone would count an amount twice."""
    at_hand, place = shift_end.at_hand, ("W23", "bottom_slab_stems")
    seen = []

    def recorded_meanwhile(activity):
        rows = at_hand(activity)
        if activity == place[1] and not seen:
            seen.append(activity)
            shift_end.record([an_event("note", shift_end.now().replace(tzinfo=None), place[0],
                                       activity=place[1], by="Ada Thorn")])  # fmt: skip
        return rows

    monkeypatch.setattr(shift_end, "at_hand", recorded_meanwhile)
    assert ask()["last_seq"] == shift_end.last_seq()
