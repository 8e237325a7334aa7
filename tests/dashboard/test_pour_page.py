"""The page of the next pour, without a browser: what is asked, what is shown, what is refused."""

from __future__ import annotations

import dataclasses
import json

import pytest
from dash.development.base_component import Component

from dashboard.pages import pour
from dashboard.parts.drying_look import LEVEL_LOOKS
from dashboard.parts.pour_choice import MOST, pour_choice
from dashboard.parts.pour_fields import FIELDS, asked_texts, read_typed, usual_texts
from dashboard.parts.pour_form import field_id
from dashboard.parts.pour_sheet import in_short, limit_words, pour_answer, pour_more, ready_words
from model.clock import clock_starting_at
from model.drying import Weather, drying
from model.pour_words import Shown, hours_words
from model.project import Project
from model.store import open_store
from tests.dashboard.conftest import words_of
from tests.model.builders import NOW, a_job, done, only

DECK = ("W25", "deck_pour")
WARM = {"concrete_temp": "84", "air_temp": "80", "humidity": "20", "wind": "14"}


def text_of(shown) -> str:
    """All words of a component, as they are sent."""
    parts = shown if isinstance(shown, list) else [shown]
    return json.dumps([part.to_plotly_json() for part in parts], default=_plain, ensure_ascii=False)


def _plain(value):
    assert isinstance(value, Component)
    return value.to_plotly_json()


def typed(call, texts, pour_of=DECK, usual=None, **more):
    """Answer of the page to what stands in its fields."""
    unit, activity = pour_of
    which = {"unit": unit, "activity": activity, "span": "", "usual": usual or {}}
    values = {f"{field_id(key)}.value": text for key, text in texts.items()}
    return call("pour-answer.children", **{"pour-which.data": which, **values, **more})


def said(answer):
    return answer.get_json()["response"]["pour-said"]["data"]


# What the fields hold


def test_the_fields_left_as_they_are_ask_nothing(project):
    usual = project.pour(*DECK)
    texts = usual_texts(usual)
    assert asked_texts(texts, texts) == {}
    assert set(texts) == set(FIELDS)


def test_what_stands_in_the_fields_is_what_the_answer_goes_by(project):
    texts = usual_texts(project.pour(*DECK))
    read = read_typed({key: text for key, text in texts.items() if text}, "us")
    assert read.wrong == {}
    again, usual = project.pour(*DECK, **read.asked).plan, project.pour(*DECK).plan
    assert again.start == usual.start
    assert again.rate.m3_per_h == pytest.approx(usual.rate.m3_per_h, rel=0.01)
    assert again.trucks_needed == usual.trucks_needed


# What is shown


def test_the_cards_tell_the_numbers_of_the_model(project):
    answer = project.pour(*DECK, weather=Weather(29.0, 26.0, 0.2, 6.0))
    plan, shown = answer.plan, answer.shown
    told = text_of([*pour_answer(answer), *pour_more(answer, WARM)])
    assert shown.volume_words(plan.concrete.order_m3) in told
    assert hours_words(plan.hours) in told
    assert f'"{plan.loads}"' in told
    assert f'"{plan.trucks_needed}"' in told
    assert shown.area_words(plan.finishing.area_m2_per_h) in told
    assert LEVEL_LOOKS[plan.drying.level].words in told
    for caution in (*answer.cautions, *plan.drying.precautions):
        assert caution in told
    for one in plan.before:
        assert one.name in told


def test_a_lift_says_nothing_of_finishing_and_drying(project):
    answer = project.pour("W23", "bottom_slab_stems")
    told = text_of([*pour_answer(answer), *pour_more(answer, {})])
    assert "To be finished" not in told
    assert "Drying" not in told
    assert "Kept wet" not in told


def test_without_readings_it_says_that_four_are_wanted(project):
    told = text_of(pour_more(project.pour(*DECK), {}))
    assert "Give the four readings" in told


def test_without_a_quantity_it_says_so_in_place_of_numbers(project):
    answer = project.pour(*DECK)
    plan = answer.plan
    nothing = dataclasses.replace(plan.concrete, planned_m3=None)
    empty = dataclasses.replace(answer, plan=dataclasses.replace(plan, concrete=nothing))
    told = text_of(pour_answer(empty))
    assert "the end is not known" in told
    assert "nothing says how much" in in_short(empty)


def test_whether_it_is_ready_is_said_in_words(project):
    assert ready_words(project.pour(*DECK).plan) == "Ready: every trade before it is finished"
    assert ready_words(project.pour("W07", "deck_pour").plan) == "Not ready: Rebar not finished"
    held = ready_words(project.pour("E20", "bottom_slab_stems").plan)
    assert held.startswith("On hold: ")


@pytest.mark.parametrize(
    ("weather", "words"),
    [
        ((27.0, 27.0, 0.5), "Watch (0.10 lb/ft²/h) from 6\u00a0mph of wind; act (0.20 lb/ft²/h) "
                            "from 15\u00a0mph of wind."),
        ((5.0, 30.0, 1.0), "No wind brings it to watch (0.10 lb/ft²/h); no wind brings it to "
                           "act (0.20 lb/ft²/h)."),
        ((130 / 3, 10.0, 0.0), "Watch (0.10 lb/ft²/h) in still air already; act (0.20 lb/ft²/h) "
                            "from 1\u00a0mph of wind."),
    ],
)  # fmt: skip
def test_the_wind_at_each_limit_is_said_or_that_none_reaches_it(weather, words):
    # By hand, in °F and mph: (80.6^2.5 - 0.5 * 80.6^2.5)(1 + 0.4 V)e-6 = 0.1 and 0.2 at 6.1 and
    # 14.6; 110^2.5 (1 + 0.4 V)e-6 = 0.127 in still air and 0.2 at 1.4.
    assert limit_words(drying(Weather(*weather, 1.0)), Shown("us")) == words


def test_each_level_has_a_word_and_a_mark_of_its_own():
    assert len({look.mark for look in LEVEL_LOOKS.values()}) == 3
    assert len({look.words for look in LEVEL_LOOKS.values()}) == 3


def test_so_many_pours_are_offered_and_no_more(project):
    ahead = project.pours_ahead()
    assert len(ahead) > MOST
    told = text_of(pour_choice(ahead, ["E01"], [ahead[0].activity], DECK))
    assert told.count('"href"') == MOST
    assert told.count("pour-link chosen") == 1


# What is typed


def test_a_rate_that_is_typed_is_answered_and_put_into_the_address(call):
    answer = typed(call, {"rate": "40"})
    assert "at 40\u00a0yd³/h, as given" in words_of(answer)
    assert said(answer) == {"query": "?unit=W25&activity=deck_pour&rate=40", "wrong": []}


def test_a_wrong_value_is_told_at_its_field_and_nothing_else_changes(call):
    answer = typed(call, {"rate": "40", "load": "nine"}).get_json()["response"]
    assert "pour-answer" not in answer
    assert "pour-more" not in answer
    assert answer["pour-load-told"]["children"].startswith("That is no number")
    assert answer["pour-rate-told"]["children"] == ""
    assert answer["pour-said"]["data"] == {"query": None, "wrong": ["pour-load"]}


def test_what_only_the_model_refuses_is_told_at_its_field_too(call):
    answer = typed(call, {"rate": "0.5"}).get_json()["response"]
    assert "hours" in answer["pour-rate-told"]["children"]
    assert "pour-answer" not in answer


def test_a_pour_that_was_finished_meanwhile_says_so(call):
    told = words_of(typed(call, {}, pour_of=("E07", "deck_pour")))
    assert "was finished on 11 Sep 2026" in told


def test_a_tick_changes_nothing_while_the_log_stays_as_it_is(call, project):
    seen = {"pour-seq.data": project.last_seq()}
    assert not (call("pour-seq.data", **seen).get_json() or {}).get("response")
    grown = call("pour-seq.data", **{"pour-seq.data": 0}).get_json()
    assert grown["response"]["pour-seq"]["data"] == project.last_seq()


# What an address asks for


def test_an_address_is_followed_and_what_cannot_be_read_is_left_out_and_said(project):
    told = text_of(pour.layout(project, "?unit=W25&activity=deck_pour&rate=40&load=nine"))
    assert "as given" in told
    assert pour.LEFT_OUT in told
    assert "That is no number" in told


def test_a_unit_alone_leads_to_its_own_next_pour(project):
    assert "Deck pour of W07" in text_of(pour.layout(project, "?unit=W07"))
    assert "Bottom slab and stems of W10" in text_of(pour.layout(project, "?unit=W10"))


def test_a_unit_that_is_all_poured_says_when(project):
    assert "Deck pour of E07 was finished on" in text_of(pour.layout(project, "?unit=E07"))


@pytest.mark.parametrize(
    "search",
    [
        "?unit=E99",
        "?unit=&activity=",
        "?activity=rebar",
        "?span=9",
        "?unit=W25&activity=deck_pour&span=1",
        "?unit=%00",
        "%%%",
    ],
)
def test_no_address_ends_in_a_fault(project, search):
    assert "Which pour" in text_of(pour.layout(project, search))


def test_following_a_link_shows_that_pour_and_leaves_other_pages_alone(call):
    shown = call("pour-whole.children", **{"url.pathname": "/pour", "url.search": "?unit=W07"})
    assert "Deck pour of W07" in words_of(shown)
    other = call("pour-whole.children", **{"url.pathname": "/line", "url.search": "?unit=W07"})
    assert not (other.get_json() or {}).get("response")


def test_a_job_that_is_all_poured_says_so(tmp_path):
    job = a_job(units=1, activities=only("bottom_slab_stems"))
    clock = clock_starting_at(NOW.replace(tzinfo=job.timezone))
    project = Project(tmp_path, job, open_store(":memory:", clock), clock=clock)
    assert "Bottom slab and stems of E01" in text_of(pour.layout(project))
    project.record(done("bottom_slab_stems", "E01"))
    assert pour.ALL_POURED in text_of(pour.layout(project))


def test_a_job_without_concrete_says_so(tmp_path):
    job = a_job(units=1, activities=only("falsework"))
    clock = clock_starting_at(NOW.replace(tzinfo=job.timezone))
    project = Project(tmp_path, job, open_store(":memory:", clock), clock=clock)
    assert pour.NO_POUR in text_of(pour.layout(project))


def test_the_history_of_a_unit_leads_to_its_next_pour(call):
    selection = {"selection.data": {"unit": "W07", "opened": 1}, "seen-seq.data": 1}
    assert '"/pour?unit=W07"' in words_of(call("history.children", **selection))
