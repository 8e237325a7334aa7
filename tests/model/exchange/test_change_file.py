"""CHANGE.toml: cases are read as meant, and what is wrong is said with its line."""

from __future__ import annotations

import datetime as dt
import shutil
from importlib.resources import files
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from model.exchange.change_file import read_changes, write_changes
from model.problems import InputError, Problem
from model.project import Project
from model.whatif import Change

CASE = '[[case]]\nname = "A"\n'


@pytest.fixture
def at(tmp_path: Path) -> Path:
    return tmp_path / "CHANGE.toml"


def read(path: Path, text: str) -> tuple[list[Change], list[Problem]]:
    path.write_text(text, encoding="utf-8")
    return read_changes(path)


def the_problem(path: Path, text: str) -> Problem:
    _, problems = read(path, text)
    (problem,) = problems
    assert problem.file == "CHANGE.toml"
    assert problem.fix
    return problem


def test_a_case_changes_week_weather_crews_cycle_sets_and_order(at: Path) -> None:
    (case,), problems = read(
        at,
        """
[[case]]
name = "Six days"
workdays = ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat"]
weather = 0.5

[[crews]]
heading = "west"
activity = "rebar"
crews = 2

[[cycle]]
activity = "deck_pour"
days = 2.5

[[sets]]
falsework_sets = 3
turnaround_days = 2

[[order]]
heading = "west"
units = ["E07", "E06"]
""",
    )
    assert problems == []
    assert case == Change(
        name="Six days",
        cycles={("", "deck_pour"): 2.5},
        crews={("west", "rebar"): 2},
        falsework_sets={"": 3},
        turnaround_days={"": 2},
        workdays=("Mon", "Tue", "Wed", "Thu", "Fri", "Sat"),
        weather=0.5,
        order={"west": ("E07", "E06")},
    )


def test_each_change_goes_to_the_case_it_names(at: Path) -> None:
    text = (
        '[[case]]\nname = "A"\n[[case]]\nname = "B"\n'
        '[[crews]]\ncase = "B"\nactivity = "rebar"\ncrews = 2\n'
        '[[sets]]\ncase = "A"\nheading = "h1"\nfalsework_sets = 4\n'
    )
    (first, second), problems = read(at, text)
    assert problems == []
    assert (first.crews, first.falsework_sets) == ({}, {"h1": 4})
    assert (second.crews, second.falsework_sets) == ({("", "rebar"): 2}, {})


def test_of_sets_and_turnaround_either_may_be_left_out(at: Path) -> None:
    (case,), _ = read(at, CASE + '[[sets]]\nheading = "h1"\nturnaround_days = 0\n')
    assert (case.falsework_sets, case.turnaround_days) == ({}, {"h1": 0})


# Text below a case on lines 1 and 2; the line and field that the problem names.
WRONG = [
    ("workdays = ['Mo']\n", 3, "case.workdays"),
    ("weather = -1\n", 3, "case.weather"),
    ("[[crews]]\nactivity = 'rebar'\ncrews = 0\n", 5, "crews.crews"),
    ("[[crews]]\nactivity = 'rebar'\ncrews = 1.5\n", 5, "crews.crews"),
    ("[[crews]]\ncrews = 2\n", 3, "crews.activity"),
    ("[[cycle]]\nactivity = 'rebar'\ndays = 0\n", 5, "cycle.days"),
    ("[[cycle]]\nactivity = 'rebar'\ndays = 'three'\n", 5, "cycle.days"),
    ("[[sets]]\nfalsework_sets = 0\n", 4, "sets.falsework_sets"),
    ("[[order]]\nheading = 'h1'\nunits = 'E07'\n", 5, "order.units"),
    ("[[order]]\ncase = 'Z'\nheading = 'h1'\nunits = ['E07']\n", 4, "order.case"),
    ("[[case]]\nname = 'A'\n", 4, "case.name"),
]


@pytest.mark.parametrize(("text", "row", "field"), WRONG)
def test_what_is_wrong_is_said_with_its_line_and_key(
    at: Path, text: str, row: int, field: str
) -> None:
    problem = the_problem(at, CASE + text)
    assert (problem.row, problem.field) == (row, field)
    assert problem.severity == "error"


def test_all_that_is_wrong_is_said_in_one_go(at: Path) -> None:
    text = CASE + "weather = 'wet'\n[[crews]]\nactivity = 'rebar'\ncrews = 0\n"
    _, problems = read(at, text)
    assert [problem.row for problem in problems] == [3, 6]


def test_a_misspelt_key_is_passed_over_and_said(at: Path) -> None:
    problem = the_problem(at, CASE + "wether = 0.5\n")
    assert (problem.severity, problem.row) == ("warning", 3)
    assert "weather" in problem.fix


def test_a_file_without_a_case_says_what_to_add(at: Path) -> None:
    assert "[[case]]" in the_problem(at, "").fix


def test_a_file_that_is_no_toml_or_not_there_is_a_problem_not_a_crash(at: Path) -> None:
    assert read_changes(at)[1][0].file == "CHANGE.toml"
    assert the_problem(at, CASE + "workdays = [\n").row is not None


keys = st.text("abcXYZ_0189 é\"\\'#\n", min_size=1, max_size=8).filter(str.strip)
numbers = st.floats(0.1, 300, allow_nan=False).map(lambda number: round(number, 3))


@given(
    st.lists(
        st.builds(
            Change,
            name=keys,
            cycles=st.dictionaries(st.tuples(keys | st.just(""), keys), numbers, max_size=2),
            crews=st.dictionaries(st.tuples(keys, keys), st.integers(1, 100), max_size=2),
            falsework_sets=st.dictionaries(keys | st.just(""), st.integers(1, 9), max_size=2),
            turnaround_days=st.dictionaries(keys, st.integers(0, 366), max_size=2),
            workdays=st.sampled_from([(), ("Mon", "Sat")]),
            weather=st.floats(0, 100),
            order=st.dictionaries(
                keys, st.lists(keys, min_size=1, max_size=3).map(tuple), max_size=2
            ),
        ),
        min_size=1,
        max_size=4,
        unique_by=lambda change: change.name,
    )
)
@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_cases_written_are_read_back_as_they_were(at: Path, changes: list[Change]) -> None:
    back, problems = read(at, write_changes(changes))
    assert problems == []
    assert back == changes


@pytest.fixture
def project(tmp_path: Path) -> Project:
    folder = shutil.copytree(Path(str(files("demo_project") / "starter")), tmp_path / "job")
    noon = dt.datetime(2026, 3, 2, 20, 0, tzinfo=dt.UTC)
    return Project.open(folder, clock=lambda: noon)


def test_a_project_answers_a_file_of_cases(project: Project, at: Path) -> None:
    activity = project.job.activities[0].key
    at.write_text(CASE + f"[[cycle]]\nactivity = '{activity}'\ndays = 20.0\n", encoding="utf-8")
    with project:
        as_it_is, slower = project.whatif_file(at).cases
    assert slower.name == "A"
    assert slower.finish.p50 > as_it_is.finish.p50


def test_a_file_that_does_not_fit_the_job_is_refused_in_words(project: Project, at: Path) -> None:
    at.write_text(CASE + "[[crews]]\nactivity = 'no_such'\ncrews = 2\n", encoding="utf-8")
    with project, pytest.raises(InputError) as refused:
        project.whatif_file(at)
    assert "no_such" in str(refused.value)
