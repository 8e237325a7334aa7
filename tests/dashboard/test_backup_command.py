"""``viaduct backup`` and ``viaduct restore``."""

from __future__ import annotations

from pathlib import Path

from tests.dashboard.asking import run

EVENT = (
    "event_id,at,by,unit,span,activity,kind,quantity,measure_unit,reason,note,voids\n"
    "8d1f3c52-70c8-44f5-a0b7-0a0d3b2a0001,2026-03-02 07:00,Ada,U1,,falsework,start,,,,,\n"
)


def test_a_project_backed_up_and_restored_says_the_same(tmp_path: Path):
    folder, kept, back = tmp_path / "job", tmp_path / "kept.zip", tmp_path / "back"
    run("new", folder)
    (tmp_path / "events.csv").write_text(EVENT)
    assert run("record", folder, tmp_path / "events.csv").exit_code == 0
    said = run("backup", folder, kept)
    assert (said.exit_code, said.stderr) == (0, "")
    assert "1 events in the log" in said.stdout
    assert run("restore", kept, back).exit_code == 0
    asked = ("--as-of", "2026-03-02", "--json")
    assert run("status", back, *asked).stdout == run("status", folder, *asked).stdout != ""


def test_a_backup_that_is_there_is_not_replaced(tmp_path: Path):
    folder, kept = tmp_path / "job", tmp_path / "kept.zip"
    run("new", folder)
    assert run("backup", folder, kept).exit_code == 0
    before = kept.read_bytes()
    again = run("backup", folder, kept)
    assert (again.exit_code, again.stdout) == (2, "")
    assert "there already" in again.stderr
    assert kept.read_bytes() == before


def test_a_file_that_is_no_backup_is_refused(tmp_path: Path):
    (tmp_path / "notes.txt").write_text("mine")
    result = run("restore", tmp_path / "notes.txt", tmp_path / "back")
    assert result.exit_code == 2
    assert "no backup" in result.stderr
    assert not (tmp_path / "back").exists()
