"""``viaduct report``: agrees with other commands, leaves no half file, says what is wrong."""

from __future__ import annotations

import datetime as dt
import io
import re

import pypdf
import pytest

from dashboard import report_command
from dashboard.demo import open_demo
from model.project import Project
from tests.dashboard.asking import json_of, run

ENDING = dt.date(2026, 11, 22)
"""The last Sunday of the demo's log."""

AS_KNOWN = ("--as-of", f"{ENDING}", "--known-on", f"{ENDING}")


@pytest.fixture(scope="module")
def week(folder):
    return json_of("report", folder, "--week-ending", ENDING)


@pytest.fixture(scope="module")
def printed(folder, tmp_path_factory):
    target = tmp_path_factory.mktemp("out") / "week.pdf"
    result = run("report", folder, "--week-ending", ENDING, "-o", target)
    assert result.exit_code == 0, result.output
    return target


def text_of(path):
    reader = pypdf.PdfReader(io.BytesIO(path.read_bytes()))
    return re.sub(r"\s+", " ", " ".join(page.extract_text() for page in reader.pages))


def test_what_is_placed_to_date_is_what_the_status_says(folder, week):
    totals = json_of("status", folder, *AS_KNOWN)["totals"]
    for row, total in zip(week["activities"], totals, strict=True):
        assert row["activity"] == total["activity"]
        assert row["placed_to_date"] == pytest.approx(total["placed"])
        assert row["planned"] == pytest.approx(total["planned"])
        assert row["units_complete"] == total["units_complete"]


def test_what_was_placed_in_the_week_is_what_its_day_books_add_up_to(folder, week):
    placed = dict.fromkeys((row["activity"] for row in week["activities"]), 0.0)
    for back in range(7):
        day = ENDING - dt.timedelta(days=back)
        book = json_of("daybook", folder, "--date", day, "--known-on", ENDING)
        for total in book["totals"]["all_headings"]:
            placed[total["activity"]] += total["placed"] or 0.0
    assert sum(placed.values()) > 0
    for row in week["activities"]:
        assert (row["placed"] or 0.0) == pytest.approx(placed[row["activity"]])


def test_the_finish_now_and_a_week_ago_is_what_the_forecasts_said(folder, week):
    now = json_of("forecast", folder, *AS_KNOWN)
    ago = ENDING - dt.timedelta(days=7)
    before = json_of("forecast", folder, "--as-of", ago, "--known-on", ago)
    line, *headings = week["finishes"]
    assert (line["finish"], line["before"]) == (now["finish"], before["finish"])
    assert {one["heading"]: one["finish"] for one in headings} == now["headings"]


def test_who_lags_is_what_the_lag_says(folder, week):
    assert week["lag"] == json_of("lag", folder, *AS_KNOWN)["units"]


def test_the_pages_hold_the_numbers_of_the_answer(week, printed):
    text = text_of(printed)
    for row in week["activities"]:
        if row["measure_unit"]:
            assert f"{row['placed_to_date']:,.0f} of {row['planned']:,.0f}" in text
        assert f"{row['units_complete']} of {row['units_total']}" in text
    finish = dt.date.fromisoformat(week["finishes"][0]["finish"]["p50"])
    assert f"{finish.day} {finish:%b %Y} as likely as not" in text
    move = week["moves"][0]
    assert f"{abs(move['days']):.1f} working days" in text
    assert len(pypdf.PdfReader(printed).pages) <= 3


def test_made_again_it_is_the_same_file_whatever_was_recorded_since(folder, printed, tmp_path):
    with open_demo(folder) as project:
        unit = project.job.units["unit"].iloc[0]
        again = tmp_path / "again.pdf"
        late = tmp_path / "late.csv"
        late.write_text(
            "event_id,at,by,unit,activity,kind,note\n"
            f"late-note,2026-11-20T10:00,R. Alder,{unit},falsework,note,told late\n"
        )
        project.record_csv(late)
    result = run("report", folder, "--week-ending", ENDING, "-o", again)
    assert result.exit_code == 0, result.output
    assert again.read_bytes() == printed.read_bytes()
    assert "1 entry about this week or before became known after" in result.stderr


def test_without_a_day_it_is_the_last_full_week(folder):
    with open_demo(folder) as project:
        assert project.week().moments.ending == ENDING


def test_a_file_that_is_there_is_kept_unless_forced(folder, tmp_path):
    target = tmp_path / "week.pdf"
    target.write_text("mine")
    refused = run("report", folder, "--week-ending", ENDING, "-o", target)
    assert refused.exit_code == 2
    assert "--force" in refused.stderr
    assert target.read_text() == "mine"
    assert run("report", folder, "--week-ending", ENDING, "-o", target, "--force").exit_code == 0
    assert target.read_bytes().startswith(b"%PDF")


def test_a_write_that_fails_leaves_the_former_file_and_no_part_of_a_new_one(
    folder, tmp_path, monkeypatch
):
    target = tmp_path / "week.pdf"
    target.write_text("mine")

    def full(_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(report_command.os, "fsync", full)
    failed = run("report", folder, "--week-ending", ENDING, "-o", target, "--force")
    assert failed.exit_code == 2
    assert "No space left on device" in failed.stderr
    assert [path.name for path in tmp_path.iterdir()] == ["week.pdf"]
    assert target.read_text() == "mine"


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--week-ending", "2026-02-01", "--json"), "before the job starts"),
        (("--week-ending", "2199-01-01", "--json"), "still to come"),
        (("--week-ending", "yesterday", "--json"), "is no day"),
        (
            ("--week-ending", "2026-11-22", "--known-on", "2026-11-01", "--json"),
            "nothing was known",
        ),
        ((), "give -o FILE.pdf"),
        (("-o", "week.docx"), "Use .pdf"),
        (("-o", "nowhere/week.pdf"), "Make it first"),
    ],
)
def test_what_cannot_be_reported_ends_with_2_and_says_why(folder, words, says):
    result = run("report", folder, *words)
    assert result.exit_code == 2
    assert says in result.stderr
    assert result.stdout == ""


def test_a_folder_that_is_no_project_ends_with_2_and_names_what_is_missing(tmp_path):
    result = run("report", tmp_path, "--json")
    assert result.exit_code == 2
    assert "project.toml" in result.stderr


def test_in_python_it_says_the_same(folder, week):
    with Project.open(folder) as project:
        assert project.week(ENDING).as_dict() == week
