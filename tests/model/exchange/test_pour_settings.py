"""What ``project.toml`` may say of pours."""

from __future__ import annotations

import datetime as dt

import pytest

from model.units import si_per
from tests.model.exchange.folders import PROJECT, a_folder, the_error, the_job, the_warning

FULL = """
[pour]
rate = 45
load = 7
round_trip_minutes = 50
allowance_percent = 4
start = "05:30"

[pour.deck_pour]
rate = 40.5
start = "20:30"
"""


def with_pour(tmp_path, text, units="si"):
    project = PROJECT.replace('units = "si"', f'units = "{units}"')
    return a_folder(tmp_path, project_toml=project + text)


def test_a_project_need_not_say_anything(tmp_path):
    habits = the_job(a_folder(tmp_path)).pours.habits("deck_pour")
    assert {habits.rate_m3_per_h, habits.load_m3, habits.round_trip_minutes, habits.allowance,
            habits.start} == {None}  # fmt: skip


def test_what_it_says_goes_for_every_pour_but_where_an_activity_says_otherwise(tmp_path):
    pours = the_job(with_pour(tmp_path, FULL)).pours
    stems, deck = pours.habits("bottom_slab_stems"), pours.habits("deck_pour")
    assert (stems.rate_m3_per_h, stems.start) == (45.0, dt.time(5, 30))
    assert (deck.rate_m3_per_h, deck.start) == (40.5, dt.time(20, 30))
    for habits in (stems, deck):
        assert (habits.load_m3, habits.round_trip_minutes, habits.allowance) == (7.0, 50, 0.04)


def test_amounts_are_in_the_unit_the_project_shows(tmp_path):
    habits = the_job(with_pour(tmp_path, FULL, units="us")).pours.habits("bottom_slab_stems")
    assert habits.rate_m3_per_h == pytest.approx(45 * si_per("yd3"))
    assert habits.load_m3 == pytest.approx(7 * si_per("yd3"))


def line_of(text):
    """The line of the last line of a text put at the end of project.toml."""
    return (PROJECT + text).rstrip("\n").count("\n") + 1


@pytest.mark.parametrize(
    ("line", "field", "words"),
    [
        ("rate = 0", "pour.rate", "more than 0"),
        ("rate = 1001", "pour.rate", "1000 or less"),
        ('load = "nine"', "pour.load", "expected a number"),
        ("load = 31", "pour.load", "30 or less"),
        ("round_trip_minutes = -1", "pour.round_trip_minutes", "more than 0"),
        ("allowance_percent = 51", "pour.allowance_percent", "50 or less"),
        ('start = "6:30"', "pour.start", "time of day"),
        ('start = "24:00"', "pour.start", "time of day"),
        ("start = 06:30:00", "pour.start", "time of day"),
    ],
)
def test_what_cannot_be_is_said_with_its_line_and_the_fix(tmp_path, line, field, words):
    text = f"\n[pour]\n{line}\n"
    problem = the_error(with_pour(tmp_path, text))
    assert (problem.file, problem.field, problem.row) == ("project.toml", field, line_of(text))
    assert words in problem.message
    assert problem.fix


def test_what_an_activity_says_is_checked_like_the_rest(tmp_path):
    text = "\n[pour.deck_pour]\nload = -1\n"
    problem = the_error(with_pour(tmp_path, text))
    assert (problem.field, problem.row) == ("pour.deck_pour.load", line_of(text))


def test_an_activity_that_is_none_is_said_with_the_one_that_is_meant(tmp_path):
    problem = the_error(with_pour(tmp_path, "\n[pour.deck_por]\nload = 7\n"))
    assert "'deck_por' is no activity" in problem.message
    assert "deck_pour" in problem.fix


def test_an_activity_that_is_not_poured_is_said(tmp_path):
    text = "\n[pour.rebar]\nload = 7\n"
    problem = the_error(with_pour(tmp_path, text))
    assert problem.message == "rebar measures steel."
    assert problem.fix == "Activities that are poured are bottom_slab_stems, deck_pour."
    assert problem.row == line_of("\n[pour.rebar]\n")


def test_a_key_nobody_reads_is_a_warning(tmp_path):
    problem = the_warning(with_pour(tmp_path, "\n[pour]\nloads = 7\n"))
    assert (problem.field, problem.fix) == ("pour.loads", "Did you mean 'load'?")


def test_pours_that_are_no_table_are_said(tmp_path):
    problem = the_error(with_pour(tmp_path, "\n[[pour]]\nload = 7\n"))
    assert "[pour]" in problem.fix
