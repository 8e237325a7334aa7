"""The plan page: looked over before it is saved, and only for who schedules."""

from __future__ import annotations

import base64

import pytest

from dashboard.parts.plan_form import FIELDS, LOST
from model.project import Project
from tests.dashboard.conftest import Caller, words_of
from tests.dashboard.visitors import Visitors
from tests.model.exchange.folders import BASELINE, PROJECT, a_folder, swapped

LATER = swapped(BASELINE, "2026-05-01", "2026-05-08")


@pytest.fixture
def folder(tmp_path):
    return a_folder(tmp_path)


@pytest.fixture
def project(folder):
    with Project.open(folder) as opened:
        yield opened


def as_file(text):
    return "data:text/csv;base64," + base64.b64encode(text.encode()).decode()


def choose(call, text):
    return call(
        "plan-review.children",
        "plan-file.contents",
        **{"plan-file.contents": as_file(text), "plan-file.filename": "new.csv"},
    )


def save(call, reviewed):
    return call("plan-review.children", "plan-save.n_clicks", **{"plan-reviewed.data": reviewed})


def reviewed_in(answer):
    return answer.get_json()["response"]["plan-reviewed"]["data"]


def fields(**changed):
    """What stands in the calendar's form of the sound folder."""
    lost = dict(zip(LOST, [4, 4, 3, 2, 1, 0, 0, 0, 1, 2, 3, 4], strict=True))
    usual = {"plan-workdays": ["Mon", "Tue", "Wed", "Thu", "Fri"], "plan-holidays": "US-CA",
             "plan-days-off": "2026-07-02", **lost, **changed}  # fmt: skip
    return {f"{name}.value": usual[name] for name in FIELDS}


def save_calendar(call, project, seen=None, **changed):
    seen = seen or project.plan.calendar().hash
    return call("plan-told.children", **{"plan-calendar-seen.data": seen}, **fields(**changed))


def test_the_page_shows_the_baseline_in_numbers_and_the_calendar(call):
    words = words_of(call("page.children", **{"url.pathname": "/plan", "url.search": ""}))
    for word in ("Planned finishes", "20 Mar 2026", "1 May 2026", "of 4", "US-CA", "2026-07-02",
                 "Mon, Tue, Wed, Thu, Fri", "working days a year"):  # fmt: skip
        assert word in words


def test_without_a_baseline_the_page_says_what_to_do(tmp_path):
    with Project.open(a_folder(tmp_path, baseline_csv=None)) as project:
        visitors = Visitors(tmp_path, project=project, users=False)
        call = Caller(visitors.app, visitors.app.server.test_client())
        words = words_of(call("page.children", **{"url.pathname": "/plan", "url.search": ""}))
    assert "There is no baseline yet" in words
    assert "Choose a baseline.csv" in words
    assert "another" not in words


def test_a_chosen_baseline_is_looked_over_and_saved_by_a_second_press(call, project, folder):
    chosen = choose(call, LATER)
    words = words_of(chosen)
    assert "What new.csv would change" in words
    assert "5 later" in words
    assert chosen.get_json()["response"]["plan-decide"]["hidden"] is False
    assert (folder / "baseline.csv").read_text() == BASELINE
    saved = words_of(save(call, reviewed_in(chosen)))
    assert "saved and in use" in saved
    assert "plan_before/" in saved
    assert "8 May 2026" in saved
    assert (folder / "baseline.csv").read_text() == LATER


def test_a_chosen_baseline_with_a_fault_is_said_with_its_row_and_cannot_be_saved(call, folder):
    chosen = choose(call, swapped(BASELINE, "E01,deck_pour", "E99,deck_pour"))
    assert "baseline.csv, row 3, unit" in words_of(chosen)
    assert chosen.get_json()["response"]["plan-decide"]["hidden"] is True
    assert reviewed_in(chosen) is None


@pytest.mark.parametrize("contents", ["", "data:text/csv;base64,%%", "data:;base64,//79", "x"])
def test_a_file_that_is_no_text_is_said_in_words(call, contents):
    answer = call("plan-review.children", "plan-file.contents",
                  **{"plan-file.contents": contents, "plan-file.filename": "x.csv"})  # fmt: skip
    assert answer.status_code == 200
    assert reviewed_in(answer) is None


def test_who_is_second_sees_what_the_first_saved_and_may_save_again(call, project, folder):
    mine = reviewed_in(choose(call, LATER))
    theirs = swapped(BASELINE, "2026-03-20", "2026-03-23")
    project.put_baseline(theirs, project.plan.baseline().hash)
    answer = save(call, mine)
    assert "Somebody saved another baseline" in words_of(answer)
    assert (folder / "baseline.csv").read_text() == theirs
    save(call, reviewed_in(answer))
    assert (folder / "baseline.csv").read_text() == LATER


def test_the_calendar_of_the_form_is_saved_and_other_keys_stay(call, project, folder):
    answer = save_calendar(call, project, **{"plan-holidays": "US-OR"})
    assert "The calendar is saved" in words_of(answer)
    assert "working days a year" in words_of(answer)
    assert (folder / "project.toml").read_text() == swapped(PROJECT, '"US-CA"', '"US-OR"')
    assert (
        project.plan.calendar().hash
        == (answer.get_json()["response"]["plan-calendar-seen"]["data"])
    )


@pytest.mark.parametrize(
    ("changed", "word"),
    [
        ({"plan-days-off": "tomorrow"}, "'tomorrow' is no day"),
        ({"plan-workdays": []}, "The days worked are none"),
        ({"plan-holidays": "ZZ"}, "holidays"),
        ({"plan-lost-may": None}, "Lost days are missing for May"),
        ({"plan-lost-may": 40}, "from 0 to 31"),
        ({"plan-lost-may": 25}, "leave no working day"),
    ],
)
def test_a_calendar_with_a_fault_is_said_and_not_saved(call, project, folder, changed, word):
    assert word in words_of(save_calendar(call, project, **changed))
    assert (folder / "project.toml").read_text() == PROJECT


def test_two_calendars_are_both_shown_to_who_is_second(call, project):
    seen = project.plan.calendar()
    project.put_calendar({**seen.values, "holidays": ""}, seen.hash)
    words = words_of(save_calendar(call, project, seen.hash, **{"plan-days-off": ""}))
    assert "Theirs: Public holidays: none" in words
    assert "Save again if it is to stand" in words


def test_a_plan_that_is_broken_on_the_disk_is_told_on_the_page(call, project, folder):
    (folder / "baseline.csv").write_text("unit\n")
    project.take_new_plan()
    words = words_of(call("page.children", **{"url.pathname": "/plan", "url.search": ""}))
    assert "the plan before stays in use" in words


@pytest.mark.parametrize("who", ["owner", "superintendent", "scheduler", "administrator"])
def test_only_who_may_plan_gets_the_page_and_the_link_to_it(project, folder, who):
    visitors = Visitors(folder, project=project)
    headers = visitors.signed_in(who)
    body = {
        "output": "..page.children...top-links.children...bottom-links.children..",
        "outputs": [{"id": f"{name}", "property": "children"}
                    for name in ("page", "top-links", "bottom-links")],
        "inputs": [{"id": "url", "property": "pathname", "value": "/plan"}],
        "state": [{"id": "url", "property": "search", "value": ""}], "changedPropIds": [],
    }  # fmt: skip
    answer = visitors.client.post("/_dash-update-component", json=body, headers=headers)
    shown, linked = "plan-file" in words_of(answer), '"href": "/plan"' in words_of(answer)
    assert shown == linked == (who in ("scheduler", "administrator"))
    denied = any("may not plan" in line for line in visitors.denied())
    assert denied == (not shown)
