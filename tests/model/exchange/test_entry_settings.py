"""What ``project.toml`` may say of shift entry."""

import shutil
from importlib.resources import files
from pathlib import Path

import pytest

from model.exchange.folder import read_folder
from model.hold_reasons import HOLD_REASONS


@pytest.fixture
def folder(tmp_path):
    return shutil.copytree(Path(str(files("demo_project") / "starter")), tmp_path / "job")


def with_entry(folder, text):
    path = folder / "project.toml"
    path.write_text(path.read_text(encoding="utf-8") + text, encoding="utf-8")
    return read_folder(folder)


def about_entry(problems):
    return [problem for problem in problems if "entry" in (problem.field or "")]


def test_a_project_without_reasons_of_its_own_gets_the_usual_ones(folder):
    job, problems = read_folder(folder)
    assert job.hold_reasons == HOLD_REASONS
    assert not about_entry(problems)


def test_a_project_gives_its_own_reasons_for_a_hold(folder):
    job, problems = with_entry(folder, '\n[entry]\nhold_reasons = ["Ebb too strong"]\n')
    assert job.hold_reasons == ("Ebb too strong",)
    assert not about_entry(problems)


def test_a_reason_that_is_no_text_is_said_with_its_line(folder):
    job, problems = with_entry(folder, "\n[entry]\nhold_reasons = [3]\n")
    assert job is None
    (problem,) = about_entry(problems)
    assert problem.field == "entry.hold_reasons"
    assert "list of texts" in problem.fix
