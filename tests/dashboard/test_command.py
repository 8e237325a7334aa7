"""The command line: exit codes, messages, and the keys that scripts rely on."""

import json

import pytest

from model.project import Project
from tests.dashboard.asking import json_of, run


def test_a_new_folder_passes_its_own_check(tmp_path):
    assert run("new", tmp_path / "job").exit_code == 0
    result = run("check", tmp_path / "job")
    assert result.exit_code == 0
    assert json_of("check", tmp_path / "job") == {"ok": True, "problems": []}


def test_a_new_folder_never_writes_over_what_is_there(tmp_path):
    (tmp_path / "notes.txt").write_text("mine")
    result = run("new", tmp_path)
    assert result.exit_code == 2
    assert "not empty" in result.stderr


def test_check_names_file_row_field_and_fix_and_ends_with_2(tmp_path):
    run("new", tmp_path / "job")
    bents = tmp_path / "job" / "bents.csv"
    lines = bents.read_text().splitlines()
    lines[3] = lines[3].replace("1086.0", "1040.0")
    bents.write_text("\n".join(lines))
    result = run("check", tmp_path / "job", "--json")
    assert result.exit_code == 2
    problems = json.loads(result.stdout)["problems"]
    assert any(
        p["file"] == "bents.csv" and p["row"] == 4 and p["field"] == "station" and p["fix"]
        for p in problems
    )


def test_status_has_the_keys_scripts_rely_on(folder):
    answer = json_of("status", folder, "--as-of", "2026-10-01")
    assert set(answer) >= {"as_of", "known_on", "units", "spans", "totals"}
    assert set(answer["units"][0]) >= {
        "unit", "activity", "status", "percent", "placed", "planned", "measure_unit",
        "planned_from", "started", "finished",
    }  # fmt: skip
    assert set(answer["spans"][0]) >= {"unit", "span", "activity", "status"}
    assert set(answer["totals"][0]) >= {
        "activity", "placed", "planned", "measure_unit", "units_complete", "units_total",
    }  # fmt: skip
    assert answer["as_of"].startswith("2026-10-01")


def test_a_unit_on_hold_gives_its_reason(folder):
    units = json_of("status", folder, "--as-of", "2026-11-24")["units"]
    held = [unit for unit in units if unit["status"] == "on_hold"]
    assert held
    assert all(unit["reason"] for unit in held)


def test_status_of_one_activity_leaves_out_the_others(folder):
    answer = json_of("status", folder, "--activity", "rebar")
    assert {unit["activity"] for unit in answer["units"]} == {"rebar"}


def test_an_unknown_activity_is_named_with_those_there_are(folder):
    result = run("status", folder, "--activity", "painting")
    assert result.exit_code == 2
    assert "deck_pour" in result.stderr
    assert "Traceback" not in result.stderr


def a_day_with_late_entries(folder):
    """A day of which something was recorded only on a later one."""
    with Project.open(folder) as project:
        events = project.log().events
        recorded_on = events["recorded_at"].dt.tz_convert(project.job.timezone).dt.date
    late = events[(events["kind"] == "place") & (recorded_on > events["at"].dt.date)]
    return late["at"].iloc[0].date().isoformat()


def test_a_report_as_known_on_an_earlier_day_does_not_know_later_entries(folder):
    day = a_day_with_late_entries(folder)
    then = json_of("status", folder, "--as-of", day, "--known-on", day)
    again = json_of("status", folder, "--as-of", day, "--known-on", day)
    now = json_of("status", folder, "--as-of", day)
    assert then["units"] == again["units"]
    assert then["units"] != now["units"], "the demo's late entries change the past"


def test_forecast_gives_dates_in_order_and_a_date_for_every_unit(folder):
    answer = json_of("forecast", folder, "--as-of", "2026-11-24", "--paths", "500")
    finish = answer["finish"]
    assert finish["p10"] <= finish["p50"] <= finish["p80"] <= finish["p90"]
    assert set(answer) >= {"headings", "units", "cycle", "drivers", "paths", "seed"}
    assert all("p50" in unit or "finished" in unit for unit in answer["units"])
    assert set(answer["cycle"][0]) >= {
        "heading", "activity", "recent_cycle", "spread", "samples",
    }  # fmt: skip
    assert set(answer["drivers"][0]) >= {"constraint", "activity", "heading", "share"}


def test_the_same_seed_gives_the_same_forecast(folder):
    words = ("forecast", folder, "--as-of", "2026-11-24", "--paths", "300", "--seed", "7")
    assert json_of(*words) == json_of(*words)


def test_a_date_that_is_none_says_how_to_write_it(folder):
    result = run("status", folder, "--as-of", "yesterday")
    assert result.exit_code == 2
    assert "2026-11-24" in result.stderr


def test_a_folder_that_is_not_there_is_said_plainly(tmp_path):
    result = run("status", tmp_path / "nowhere")
    assert result.exit_code == 2
    assert "nowhere" in result.stderr


def test_events_from_a_file_are_recorded_all_or_none(tmp_path):
    run("new", tmp_path / "job")
    good = tmp_path / "good.csv"
    good.write_text(
        "event_id,at,by,unit,span,activity,kind,quantity,measure_unit,reason,note,voids\n"
        "8d1f3c52-70c8-44f5-a0b7-0a0d3b2a0001,2026-03-02 07:00,Ada,U1,,falsework,start,,,,,\n"
    )
    assert json_of("record", tmp_path / "job", good)["accepted"] == [
        "8d1f3c52-70c8-44f5-a0b7-0a0d3b2a0001"
    ]
    assert json_of("record", tmp_path / "job", good)["repeated"], "a repeat is harmless"
    bad = tmp_path / "bad.csv"
    bad.write_text(
        "event_id,at,by,unit,span,activity,kind,quantity,measure_unit,reason,note,voids\n"
        "8d1f3c52-70c8-44f5-a0b7-0a0d3b2a0002,2026-03-03 15:00,Ada,U1,,falsework,finish,,,,,\n"
        "8d1f3c52-70c8-44f5-a0b7-0a0d3b2a0003,2026-03-03 15:00,Ada,U9,,falsework,start,,,,,\n"
    )
    result = run("record", tmp_path / "job", bad)
    assert result.exit_code == 2
    assert "bad.csv, row 3, unit" in result.stderr
    units = json_of("status", tmp_path / "job", "--activity", "falsework")["units"]
    assert units[0]["status"] == "under_way", "nothing of the refused file was written"


@pytest.mark.parametrize("ending", ["gpkg", "geojson", "csv"])
def test_an_export_is_written_once_and_not_over_another(folder, tmp_path, ending):
    target = tmp_path / f"out.{ending}"
    assert run("export", folder, target).exit_code == 0
    assert target.stat().st_size > 0
    assert run("export", folder, target).exit_code == 2
    assert run("export", folder, target, "--force").exit_code == 0


def test_an_exported_log_recorded_in_a_new_folder_gives_the_same_status(folder, tmp_path):
    assert run("export", folder, tmp_path / "log.csv").exit_code == 0
    from demo_project import copy_demo

    copy_demo(tmp_path / "again")
    assert run("record", tmp_path / "again", tmp_path / "log.csv").exit_code == 0
    moment = ("--as-of", "2026-09-15", "--known-on", "2026-09-20")
    first = json_of("status", folder, *moment)
    assert json_of("status", tmp_path / "again", *moment) == first


def test_an_export_in_an_unknown_format_names_those_there_are(folder, tmp_path):
    result = run("export", folder, tmp_path / "out.dwg")
    assert result.exit_code == 2
    assert ".gpkg" in result.stderr
