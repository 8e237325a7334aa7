"""``viaduct lag``, ``backtest`` and ``whatif``: keys, exit codes, and the log left alone."""

import json

import pytest

from dashboard.demo import open_demo
from demo_project.generator import LOG_ENDS
from model.project import Project
from tests.dashboard.asking import json_of, run

DAY = f"{LOG_ENDS:%Y-%m-%d}"


def answer_of(*words):
    return json_of(*words, "--as-of", DAY)


def a_change(tmp_path, text):
    target = tmp_path / "CHANGE.toml"
    target.write_text(text)
    return target


def test_lag_has_the_keys_scripts_rely_on_and_the_worst_first(folder):
    answer = answer_of("lag", folder)
    assert answer["as_of"] == DAY
    keys = {"unit", "activity", "behind_baseline", "behind_pace", "buffer_left",
            "costs_finish_days", "why", "slow_heading_costs_days", "next_crew"}  # fmt: skip
    assert all(keys <= set(row) for row in answer["units"])
    costs = [row["costs_finish_days"] for row in answer["units"]]
    assert costs == sorted(costs, reverse=True)


def test_lag_on_the_command_line_is_what_the_page_shows(folder):
    with open_demo(folder) as project:
        assert answer_of("lag", folder)["units"] == project.lag().as_dict()["units"]


def test_backtest_has_the_keys_scripts_rely_on(folder):
    answer = answer_of("backtest", folder)
    assert {"projections", "coverage_50", "coverage_80", "mean_abs_error_days", "rivals",
            "by_horizon"} <= set(answer)  # fmt: skip
    assert 0 <= answer["coverage_50"] <= answer["coverage_80"] <= 1


def test_backtest_says_in_a_sentence_how_right_projections_were(folder):
    said = run("backtest", folder, "--as-of", DAY).stdout
    assert said.startswith("Of ")
    assert "80\u00a0% band" in said


def test_whatif_compares_the_cases_of_a_file_and_leaves_the_log_alone(folder, tmp_path):
    change = a_change(tmp_path, '[[case]]\nname = "No rain"\nweather = 0.0\n')
    with Project.open(folder) as project:
        before = project.last_seq()
    cases = answer_of("whatif", folder, change)["cases"]
    assert [case["name"] for case in cases] == ["as it is", "No rain"]
    assert cases[1]["finish"]["p50"] < cases[0]["finish"]["p50"]
    with Project.open(folder) as project:
        assert project.last_seq() == before


def test_a_case_the_job_does_not_fit_ends_with_2_and_says_what(folder, tmp_path):
    change = a_change(
        tmp_path, '[[case]]\nname = "Odd"\n[[crews]]\nactivity = "paint"\ncrews = 2\n'
    )
    result = run("whatif", folder, change, "--json")
    assert result.exit_code == 2
    assert "'paint' is no activity" in result.stderr
    assert result.stdout == ""


def test_a_file_that_is_no_toml_ends_with_2_and_names_the_line(folder, tmp_path):
    result = run("whatif", folder, a_change(tmp_path, "[[case]]\nname = oops\n"))
    assert result.exit_code == 2
    assert "CHANGE.toml, row 2" in result.stderr


def test_a_forecast_may_look_back_over_weeks_instead_of_units(folder):
    weeks = answer_of("forecast", folder, "--paths", "500", "--recent-weeks", "6")
    units = answer_of("forecast", folder, "--paths", "500")
    assert weeks["distribution"] != units["distribution"]


def asked(command, folder, tmp_path):
    """The words that ask a command of the line."""
    change = [a_change(tmp_path, TWO_CREWS)] if command == "whatif" else []
    return [command, folder, *change]


TWO_CREWS = '[[case]]\nname = "Two"\n[[crews]]\nactivity = "rebar"\ncrews = 2\n'


@pytest.mark.parametrize("command", ["forecast", "lag", "whatif", "backtest"])
def test_back_over_units_and_over_weeks_are_not_asked_for_at_once(folder, tmp_path, command):
    words = asked(command, folder, tmp_path)
    both = run(*words, "--recent", "4", "--recent-weeks", "6")
    assert both.exit_code == 2
    assert "give --recent or --recent-weeks, not both" in both.output


def test_what_is_no_number_of_weeks_ends_with_2(folder):
    result = run("forecast", folder, "--recent-weeks", "nan")
    assert result.exit_code == 2
    assert "nan is no number" in result.output


@pytest.mark.parametrize("command", ["lag", "whatif", "backtest"])
def test_who_lags_cases_and_old_projections_look_back_as_asked(folder, tmp_path, command):
    ask = {
        "lag": lambda project, **back: project.lag(**back),
        "whatif": lambda project, **back: project.whatif_file(tmp_path / "CHANGE.toml", **back),
        "backtest": lambda project, **back: project.backtest(**back),
    }[command]
    words = asked(command, folder, tmp_path)
    usual = answer_of(*words)
    with open_demo(folder) as project:
        for option, value in (("recent", 4), ("recent_weeks", 6.0)):
            told = answer_of(*words, f"--{option.replace('_', '-')}", value)
            assert told != usual
            in_python = ask(project, **{option: value}).as_dict()
            assert told == json.loads(json.dumps(in_python))


def test_a_forecast_tells_which_trades_learn(folder):
    said = run("forecast", folder, "--paths", "500", "--as-of", DAY).stdout
    assert "Rebar: crews are learning" in said
