"""``viaduct pour`` on the demo: it says what Python says, and what is wrong with a question."""

import datetime as dt
import json

import pytest

from demo_project.day_book import LOAD_YD3, PLACED_PER_HOUR
from demo_project.generator import LOG_ENDS
from model.pour_asked import asked_in
from model.pour_rate import past_pours
from model.project import Project
from model.units import from_si
from tests.dashboard.asking import json_of, run

DAY = f"{LOG_ENDS:%Y-%m-%d}"
WEATHER = ("--concrete-temp", 75, "--air-temp", 60, "--humidity", 60, "--wind", 8)


def answer_of(*words):
    return json_of("pour", *words, "--as-of", DAY)


def refusal_of(*words):
    result = run("pour", *words)
    assert (result.exit_code, result.stdout) == (2, "")
    return result.stderr


def test_the_command_and_json_say_what_python_says(folder):
    told = answer_of(folder, "W25", "deck_pour", *WEATHER, "--rate", 70, "--start", "2026-11-30")
    with Project.open(folder) as project:
        asked = asked_in("us", concrete_temp=75, air_temp=60, humidity_percent=60, wind=8, rate=70,
                         start=dt.date(2026, 11, 30))  # fmt: skip
        answer = project.pour(
            "W25", "deck_pour", as_of=dt.datetime.combine(LOG_ENDS, dt.time.max), **asked
        )
    expected = answer.as_dict()
    told.pop("known_on"), expected.pop("known_on")  # the moment each was asked
    assert told == json.loads(json.dumps(expected))
    plan = answer.plan
    assert told["hours"] == plan.hours
    assert told["order"] == pytest.approx(from_si(plan.concrete.order_m3, "yd3"))
    assert f"{plan.loads} of" in str(answer)


def test_the_words_and_json_say_the_same_numbers(folder):
    told = answer_of(folder, "W25", "deck_pour")
    words = run("pour", folder, "W25", "deck_pour", "--as-of", DAY).stdout.replace("\u00a0", " ")
    assert f"order {told['order']:.0f} yd³" in " ".join(words.split())
    assert f"{told['loads']} of 9 yd³" in words
    assert f"{told['trucks']} trucks" in words


def test_it_has_the_keys_scripts_rely_on(folder):
    told = answer_of(folder, "W25", "deck_pour", *WEATHER)
    assert {
        "unit", "activity", "as_of", "planned", "placed", "remaining", "order", "measure_unit",
        "planned_from", "rate", "rate_from", "rate_low", "rate_high", "hours", "hours_low",
        "hours_high", "start", "end", "loads", "load", "last_load", "minutes_between_loads",
        "trucks", "finishing", "drying", "before", "ready", "wet_until", "lost_day_chance",
        "working_day", "recent", "cautions",
    } <= set(told)  # fmt: skip
    assert told["drying"]["rate_unit"] == "lb_ft2_h"
    assert told["cautions"]


def test_it_agrees_with_what_status_says(folder):
    with Project.open(folder) as project:
        units = project.status(as_of=dt.datetime.combine(LOG_ENDS, dt.time.max)).units
    row = units[(units["unit"] == "W25") & (units["activity"] == "deck_pour")].iloc[0]
    told = answer_of(folder, "W25", "deck_pour")
    assert told["planned"] == pytest.approx(row["planned"])
    assert (told["placed"], told["status"]) == (row["placed"], row["status"])


def test_the_demos_pours_are_timed_at_the_pace_they_were_poured(folder):
    """The generator draws each pour's pace from 0.92 to 1.12 times the usual; that comes back."""
    with Project.open(folder) as project:
        state = project.state()
        for key, usual in PLACED_PER_HOUR.items():
            timed = past_pours(state, project.activity(key)).timed
            assert len(timed) > 20
            for pour in timed:
                rate = from_si(pour.rate_m3_per_h, "yd3")
                # Tickets are told to five minutes: half of that at each end of two hours or more.
                assert 0.92 * usual / 1.05 < rate < 1.12 * usual * 1.05, pour


def test_the_demo_orders_by_its_project_file(folder):
    told = answer_of(folder, "W25", "deck_pour")
    assert (told["load"], told["load_from"]) == (pytest.approx(LOAD_YD3), "project")
    assert (told["round_trip_minutes"], told["allowance_percent"]) == (45, pytest.approx(3))
    assert told["start"].endswith("T05:30")
    assert told["rate_from"] == "recent"
    assert told["rate_low"] < told["rate"] < told["rate_high"]
    assert told["end"] < told["end_late"]


def test_what_was_not_known_yet_is_not_counted(folder):
    july = ("--as-of", "2026-07-31", "--known-on", "2026-07-31", "--json")
    early = json.loads(run("pour", folder, "W25", "deck_pour", *july).stdout)
    assert early["recent"]
    assert max(pour["day"] for pour in early["recent"]) <= "2026-07-31"


def test_a_pour_that_waits_says_what_for(folder):
    told = answer_of(folder, "E15", "deck_pour")
    assert not told["ready"]
    assert [row["status"] for row in told["before"]] == ["not_started"] * 4
    assert told["ahead"] == ["E20", "E19", "E18", "E17", "E16"]
    held = answer_of(folder, "E20", "bottom_slab_stems")
    assert held["reason"] in held["cautions"][0]


def test_the_first_lift_leaves_no_deck_to_finish(folder):
    told = answer_of(folder, "W23", "bottom_slab_stems", *WEATHER)
    assert (told["finishing"], told["drying"], told["wet_until"]) == (None, None, None)


def test_a_start_may_be_a_day_or_a_moment(folder):
    assert answer_of(folder, "W25", "deck_pour", "--start", "2026-11-30")["start"] == (
        "2026-11-30T05:30"
    )
    told = answer_of(folder, "W25", "deck_pour", "--start", "2026-11-29T20:30")
    assert (told["start"], told["working_day"]) == ("2026-11-29T20:30", False)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("E99", "deck_pour"), "'E99' is no unit of this job. Use one of E01, E02"),
        (("E15", "painting"), "'painting' is no activity of this job. Use one of falsework"),
        (("E15", "rebar"), "Rebar places no concrete. Use one of bottom_slab_stems, deck_pour."),
        (("E05", "deck_pour"), "Deck pour of E05 was finished on 4 Aug 2026."),
        (("E15", "deck_pour", "--rate", "0"), "rate: It must be a number above 0."),
        (("E15", "deck_pour", "--span", "1"), "span: Deck pour goes by whole units."),
        (("E15", "deck_pour", "--wind", "8"), "humidity: The humidity of the air is missing."),
        (("E15", "deck_pour", "--start", "soon"), "'soon' is no date"),
        (("E15", "deck_pour", "--rate", "fast"), "'fast' is not a valid float"),
    ],
)
def test_a_question_that_cannot_be_answered_ends_with_2_and_says_what(folder, words, said):
    assert said in refusal_of(folder, *words)


def test_asking_leaves_the_log_alone(folder):
    with Project.open(folder) as project:
        before = project.last_seq()
    answer_of(folder, "W25", "deck_pour", "--volume", 300)
    with Project.open(folder) as project:
        assert project.last_seq() == before


def test_the_starter_project_plans_by_common_practice_until_it_has_poured(tmp_path):
    assert run("new", tmp_path / "job").exit_code == 0
    told = json.loads(run("pour", tmp_path / "job", "U1", "deck_pour", "--json").stdout)
    assert (told["rate_from"], told["rate"]) == ("common_practice", pytest.approx(60.0))
    assert told["recent"] == []
