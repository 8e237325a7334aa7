"""The plan and its cases by HTTP: checked like a folder, whole, and never silently lost."""

from __future__ import annotations

import json
import threading
from concurrent.futures import ThreadPoolExecutor

import pytest
from click.testing import CliRunner

from dashboard.command import main
from dashboard.demo import open_demo
from dashboard.doors import whatif_api
from dashboard.doors.plan_openapi import PLAN_SCHEMAS
from dashboard.parts import calendar_shape
from model.exchange.change_file import CHANGE_TABLES
from model.exchange.project_keys import CALENDAR_KEYS
from model.project import Project
from tests.dashboard.visitors import Visitors
from tests.model.exchange.folders import BASELINE, PROJECT, a_folder, swapped

LATER = swapped(BASELINE, "2026-05-01", "2026-05-08")
CSV = {"Content-Type": "text/csv"}
SIX = {"case": [{"name": "Six-day week", "workdays": ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat"]}]}


@pytest.fixture
def folder(tmp_path):
    return a_folder(tmp_path)


@pytest.fixture
def visitors(folder):
    with Project.open(folder) as project:
        # Sessions go by a clock of their own, the project by the real one.
        yield Visitors(folder, project=project)


def put(visitors, what, who="scheduler", seen=None, **more):
    headers = {"If-Match": f'"{seen}"'} if seen else {}
    return visitors.send("PUT", f"/api/plan/{what}", who,
                         headers={**headers, **more.pop("headers", {})}, **more)  # fmt: skip


def seen(visitors, what):
    return visitors.send("GET", f"/api/plan/{what}", "owner").get_etag()[0]


# The baseline


def test_the_baseline_is_read_as_it_was_typed(visitors):
    answer = visitors.send("GET", "/api/plan/baseline", "owner")
    assert (answer.status_code, answer.mimetype, answer.text) == (200, "text/csv", BASELINE)
    assert answer.get_etag()[0] == visitors.project.plan.baseline().hash


def test_a_scheduler_replaces_the_baseline_and_the_trail_says_so(visitors, folder):
    answer = put(visitors, "baseline", seen=seen(visitors, "baseline"), data=LATER, headers=CSV)
    told = answer.get_json()
    assert (answer.status_code, told["changed"]) == (200, True)
    assert (folder / "baseline.csv").read_text() == LATER
    assert (folder / told["kept"]).read_text() == BASELINE
    assert answer.get_etag()[0] == told["hash"] == seen(visitors, "baseline")
    line = next(line for line in visitors.people.trail() if line.what == "PUT baseline")
    assert line.user == "Scheduler"
    assert "1 moved" in line.why


@pytest.mark.parametrize("who", ["owner", "superintendent", "nobody"])
def test_nobody_but_schedulers_and_administrators_replaces_the_plan(visitors, folder, who):
    for what, body in (("baseline", {"data": LATER, "headers": CSV}), ("calendar", {"json": {}})):
        answer = put(visitors, what, who, seen=seen(visitors, what), **body)
        assert answer.status_code in (401, 403)
    assert (folder / "baseline.csv").read_text() == BASELINE
    assert (folder / "project.toml").read_text() == PROJECT


def test_a_token_for_planning_opens_the_plan_and_no_other_does(visitors):
    for scopes, status in ((("read", "record"), 403), (("read", "plan"), 200)):
        headers = visitors.token("scheduler", *scopes)
        answer = visitors.client.post("/api/whatif", json=SIX, headers=headers)
        assert answer.status_code == status
    tag = {"If-Match": f'"{seen(visitors, "baseline")}"'}
    answer = visitors.client.put("/api/plan/baseline", data=LATER, headers=headers | tag | CSV)
    assert answer.status_code == 200


def test_where_the_plan_cannot_be_kept_no_folder_of_the_machine_is_told(visitors, folder):
    (folder / "plan_before").write_text("a file in the way of the folder")
    answer = put(visitors, "baseline", seen=seen(visitors, "baseline"), data=LATER, headers=CSV)
    assert answer.status_code == 503
    assert "plan_before cannot be" in answer.text
    assert str(folder) not in answer.text
    assert (folder / "baseline.csv").read_text() == BASELINE


@pytest.mark.parametrize("day", ["9999-12-31", "0001-01-01"])
def test_a_planned_finish_that_no_chart_can_show_is_a_slip_of_the_pen(visitors, folder, day):
    odd = swapped(BASELINE, "2026-05-01", day)
    answer = put(visitors, "baseline", seen=seen(visitors, "baseline"), data=odd, headers=CSV)
    assert answer.status_code == 422
    assert day in answer.get_json()["problems"][0]["message"]
    assert (folder / "baseline.csv").read_text() == BASELINE


@pytest.mark.parametrize("code", ["utils", "__class__", "HolidayBase"])
def test_a_word_that_is_no_country_is_refused_as_holidays(visitors, folder, code):
    calendar = visitors.send("GET", "/api/plan/calendar", "owner").get_json() | {"holidays": code}
    answer = put(visitors, "calendar", seen=seen(visitors, "calendar"), json=calendar)
    assert answer.status_code == 422
    assert answer.get_json()["problems"][0]["field"] == "calendar.holidays"
    assert (folder / "project.toml").read_text() == PROJECT


def test_who_does_not_say_what_is_replaced_replaces_nothing(visitors, folder):
    for headers in ({}, {"If-Match": "*"}, {"If-Match": '"a", "b"'}):
        answer = put(visitors, "baseline", data=LATER, headers=CSV | headers)
        assert answer.status_code == 428
        assert answer.get_json()["problems"][0]["field"] == "If-Match"
    assert (folder / "baseline.csv").read_text() == BASELINE


def test_of_two_schedulers_the_later_one_gets_both_baselines(visitors, folder):
    first = seen(visitors, "baseline")
    put(visitors, "baseline", seen=first, data=LATER, headers=CSV)
    other = swapped(BASELINE, "2026-05-01", "2026-06-01")
    answer = put(visitors, "baseline", "administrator", seen=first, data=other, headers=CSV)
    told = answer.get_json()
    assert answer.status_code == 412
    assert (told["now"], told["yours"]) == (LATER, other)
    again = put(visitors, "baseline", "administrator", seen=told["hash"], data=other, headers=CSV)
    assert again.status_code == 200
    assert (folder / "baseline.csv").read_text() == other


def test_a_baseline_with_a_fault_is_refused_with_its_row_and_field(visitors, folder):
    wrong = swapped(BASELINE, "E01,deck_pour", "E99,deck_pour")
    answer = put(visitors, "baseline", seen=seen(visitors, "baseline"), data=wrong, headers=CSV)
    [problem] = answer.get_json()["problems"]
    assert answer.status_code == 422
    assert (problem["file"], problem["row"], problem["field"]) == ("baseline.csv", 3, "unit")
    assert problem["fix"]
    assert (folder / "baseline.csv").read_text() == BASELINE


def test_the_first_baseline_of_a_project_is_put_where_none_is(tmp_path):
    with Project.open(a_folder(tmp_path, baseline_csv=None)) as project:
        visitors = Visitors(tmp_path, project=project)
        assert visitors.send("GET", "/api/plan/baseline", "owner").status_code == 404
        none_yet = {"If-None-Match": "*"}
        answer = put(visitors, "baseline", data=BASELINE, headers=CSV | none_yet)
        assert answer.status_code == 200
        answer = put(visitors, "baseline", data=LATER, headers=CSV | none_yet)
        assert answer.status_code == 412


def test_a_review_says_what_would_move_and_writes_nothing(visitors, folder):
    answer = visitors.send("POST", "/api/plan/baseline/review", "scheduler", data=LATER,
                           headers=CSV)  # fmt: skip
    assert answer.get_json()["moved"] == [
        {"unit": "E01", "activity": "deck_pour", "was": "2026-05-01", "will_be": "2026-05-08",
         "working_days": 5}
    ]  # fmt: skip
    assert (folder / "baseline.csv").read_text() == BASELINE


@pytest.mark.parametrize(
    ("body", "headers", "status"),
    [(LATER, {"Content-Type": "text/html"}, 415), (b"\xff\xfe", CSV, 400), ("", CSV, 422),
     ("x" * (1024 * 1024 + 1), CSV, 413)],
)  # fmt: skip
def test_what_is_no_baseline_at_all_is_refused(visitors, body, headers, status):
    tag = seen(visitors, "baseline")
    answer = put(visitors, "baseline", seen=tag, data=body, headers=headers)
    assert answer.status_code == status
    assert answer.get_json()["problems"][0]["fix"]


# The calendar


def test_the_calendar_that_was_read_can_be_put_back_changed(visitors, folder):
    read = visitors.send("GET", "/api/plan/calendar", "owner")
    values = read.get_json()
    values["days_off"].append("2026-08-14")
    answer = put(visitors, "calendar", seen=read.get_etag()[0], json=values)
    assert answer.status_code == 200
    wanted = swapped(PROJECT, "[2026-07-02]", "[2026-07-02, 2026-08-14]")
    # A list that changes is written anew; how it is spaced is the writer's.
    assert (folder / "project.toml").read_text().replace(" ", "") == wanted.replace(" ", "")
    assert visitors.send("GET", "/api/plan/calendar", "owner").get_json() == values


@pytest.mark.parametrize(
    ("body", "status", "field"),
    [
        ([], 400, None),
        ({"week": []}, 400, None),
        ({"workdays": "Mon"}, 400, "workdays"),
        ({"holidays": 5}, 400, "holidays"),
        ({"holidays": "US\nCA"}, 400, "holidays"),
        ({"days_off": [20260703]}, 400, "days_off"),
        ({"lost_days_per_month": [1e99] * 12}, 400, "lost_days_per_month"),
        ({"workdays": ["Funday"]}, 422, "calendar.workdays"),
        ({"days_off": ["2026-02-30"]}, 422, "calendar.days_off"),
        ({"lost_days_per_month": [1]}, 422, "calendar.lost_days_per_month"),
    ],
)
def test_what_is_no_calendar_is_refused_with_field_and_fix(visitors, folder, body, status, field):
    answer = put(visitors, "calendar", seen=seen(visitors, "calendar"), json=body)
    problem = answer.get_json()["problems"][0]
    assert (answer.status_code, problem["field"]) == (status, field)
    assert problem["fix"]
    assert (folder / "project.toml").read_text() == PROJECT


def test_of_two_schedulers_the_later_one_gets_both_calendars(visitors):
    first = seen(visitors, "calendar")
    put(visitors, "calendar", seen=first, json={"workdays": ["Mon"]})
    answer = put(visitors, "calendar", seen=first, json={"workdays": ["Tue"]})
    told = answer.get_json()
    assert answer.status_code == 412
    assert told["now"]["workdays"] == ["Mon"]
    assert told["yours"] == {"workdays": ["Tue"]}


def test_the_doors_know_every_key_of_the_calendar_and_of_cases():
    assert set(calendar_shape.CALENDAR_KEYS) == set(CALENDAR_KEYS)
    cases = PLAN_SCHEMAS["Cases"]["properties"]
    assert cases.keys() == CHANGE_TABLES.keys()
    for name, keys in CHANGE_TABLES.items():
        assert cases[name]["items"]["properties"].keys() == keys.keys()


# Cases


def test_cases_by_http_are_those_of_the_command(visitors, folder, tmp_path):
    change = tmp_path / "change.toml"
    change.write_text('[[case]]\nname = "Two"\n[[crews]]\nactivity = "rebar"\ncrews = 2\n')
    sent = {"case": [{"name": "Two"}], "crews": [{"activity": "rebar", "crews": 2}]}
    before = visitors.project.last_seq()
    answer = visitors.send("POST", "/api/whatif", "scheduler", json=sent)
    printed = CliRunner().invoke(main, ["whatif", str(folder), str(change), "--json"])
    assert answer.get_json() == json.loads(printed.stdout)
    assert visitors.project.last_seq() == before


@pytest.mark.parametrize(
    ("body", "status", "field"),
    [
        ([], 400, None),
        ({}, 422, "case"),
        ({"case": {}}, 422, "case"),
        ({"case": [{}]}, 422, "case.name"),
        ({"case": [{"name": "x", "wether": 1}]}, 422, "case.wether"),
        ({"case": [{"name": "x", "weather": 10**400}]}, 422, "case.weather"),
        ({"case": [{"name": "x"}], "sets": [{"falsework_sets": 10**400}]}, 422,
         "sets.falsework_sets"),
        ({"case": [{"name": "x"}], "crews": [{"activity": "paint", "crews": 2}]}, 422, None),
        ({"case": [{"name": f"{n}"} for n in range(5)]}, 422, None),
    ],
)  # fmt: skip
def test_what_is_no_case_is_refused_with_field_and_fix(visitors, body, status, field):
    answer = visitors.send("POST", "/api/whatif", "scheduler", json=body)
    problem = answer.get_json()["problems"][0]
    assert answer.status_code == status
    assert field is None or problem["field"] == field
    assert problem["fix"]


def test_cases_by_http_look_back_as_asked(tmp_path):
    body = {"case": [{"name": "As it is"}]}
    with open_demo(tmp_path / "demo") as project:
        visitors = Visitors(tmp_path / "demo", project=project)
        answers = [
            visitors.send("POST", f"/api/whatif{query}", "scheduler", json=body).get_json()
            for query in ("", "?recent=3", "?recent_weeks=4.5")
        ]
        asked = [{}, {"recent": 3}, {"recent_weeks": 4.5}]
        assert answers == [project.whatif_tables(body, **back).as_dict() for back in asked]
    assert answers[0] not in answers[1:]
    assert answers[1] != answers[2]


@pytest.mark.parametrize(
    "query", ["recent=1", "recent=4.5", "recent=", "recent_weeks=nan", "recent=4&recent_weeks=6"]
)
def test_what_cannot_be_looked_back_over_is_refused(visitors, query):
    body = {"case": [{"name": "x"}]}
    answer = visitors.send("POST", f"/api/whatif?{query}", "scheduler", json=body)
    assert answer.status_code == 400
    assert answer.get_json()["problems"][0]["field"] == "recent"


def test_many_comparisons_at_once_do_not_keep_everybody_waiting(folder, monkeypatch):
    monkeypatch.setattr(whatif_api, "AT_ONCE", 1)
    begun, go_on = threading.Event(), threading.Event()
    with Project.open(folder) as project:
        visitors = Visitors(folder, project=project)
        real = project.whatif_tables

        def slow(*given):
            begun.set()
            go_on.wait(timeout=60)
            return real(*given)

        monkeypatch.setattr(project, "whatif_tables", slow)
        with ThreadPoolExecutor() as others:
            first = others.submit(visitors.send, "POST", "/api/whatif", "scheduler", json=SIX)
            begun.wait(timeout=60)
            second = visitors.send("POST", "/api/whatif", "scheduler", json=SIX)
            go_on.set()
        assert (first.result().status_code, second.status_code) == (200, 503)
        assert visitors.send("POST", "/api/whatif", "scheduler", json=SIX).status_code == 200


def test_more_than_a_case_needs_is_too_much(visitors):
    body = {"case": [{"name": "x" * 70_000}]}
    assert visitors.send("POST", "/api/whatif", "scheduler", json=body).status_code == 413
