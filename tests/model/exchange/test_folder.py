"""A project folder: read when sound, and everything wrong with it said in one go."""

from __future__ import annotations

import datetime as dt
import re
import tempfile
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from model.exchange.folder import read_folder
from model.units import si_per
from tests.model.exchange import folders
from tests.model.exchange.folders import (
    ALIGNMENT,
    BASELINE,
    BENTS,
    PROJECT,
    QUANTITIES,
    SECTION,
    UNITS,
    a_folder,
    errors_of,
    place,
    problems_of,
    swapped,
    the_error,
    the_job,
    the_warning,
)


def test_a_sound_folder_has_no_problem(tmp_path):
    assert problems_of(a_folder(tmp_path)) == ()


def test_a_sound_folder_becomes_a_job(tmp_path):
    job = the_job(a_folder(tmp_path))
    assert job.name == "Heron Flat Crossing"
    assert job.timezone == ZoneInfo("America/Los_Angeles")
    assert job.calendar.start == dt.date(2026, 3, 2)
    assert dt.date(2026, 7, 3) in job.calendar.holidays  # Independence Day, kept on Friday
    assert [a.key for a in job.activities][-1] == "curing"
    assert job.activity_by_key["deck_pour"].planned_cycle_days == 2.0
    assert job.heading_of_unit == {"E01": "east", "E02": "east", "W02": "west", "W01": "west"}
    assert job.spans_of_unit == {
        "E01": ("1", "2"), "E02": ("1", "2"), "W01": ("1",), "W02": ("1", "2"),
    }  # fmt: skip
    assert job.headings[0].falsework_sets == 2
    assert job.headings[1].falsework_sets is None
    assert job.baseline["planned_finish"].tolist()[0].date() == dt.date(2026, 3, 20)


def test_reading_a_folder_changes_nothing_in_it(tmp_path):
    folder = a_folder(tmp_path)
    before = {p.name: (p.read_bytes(), p.stat().st_mtime_ns) for p in folder.iterdir()}
    read_folder(folder)
    assert {p.name: (p.read_bytes(), p.stat().st_mtime_ns) for p in folder.iterdir()} == before


def test_section_and_quantities_may_both_be_missing(tmp_path):
    job = the_job(a_folder(tmp_path, section_toml=None, quantities_csv=None, baseline_csv=None))
    assert job.planned.empty
    assert job.baseline.empty


# Files that are missing


def test_a_path_that_is_no_folder_is_said(tmp_path):
    job, (problem,) = read_folder(tmp_path / "nowhere")
    assert job is None
    assert "no folder" in problem.message


@pytest.mark.parametrize("name", ["project.toml", "alignment.csv", "bents.csv", "units.csv"])
def test_a_missing_file_is_named(tmp_path, name):
    folder = a_folder(tmp_path, **{name.replace(".", "_"): None})
    missing = [e for e in errors_of(folder) if "missing" in e.message]
    assert [e.file for e in missing] == [name]


def test_a_file_with_a_name_near_the_missing_one_is_pointed_at(tmp_path):
    folder = a_folder(tmp_path)
    (folder / "bents.csv").rename(folder / "bent.csv")
    error = next(e for e in errors_of(folder) if e.file == "bents.csv")
    assert "'bent.csv'" in error.fix


# Columns and cells, in every table

TABLES = {
    "alignment_csv": (ALIGNMENT, "length"),
    "bents_csv": (BENTS, "station"),
    "units_csv": (UNITS, "from_bent"),
    "quantities_csv": (QUANTITIES, "measure_unit"),
    "baseline_csv": (BASELINE, "planned_finish"),
}


@pytest.mark.parametrize("key", TABLES)
def test_a_missing_column_is_named(tmp_path, key):
    text, column = TABLES[key]
    error = next(iter(errors_of(a_folder(tmp_path, **{key: swapped(text, column, "other")}))))
    assert place(error) == (key.replace("_", "."), 1, column)
    assert "missing" in error.message


def test_a_column_spelt_wrong_is_recognised(tmp_path):
    error = the_error(a_folder(tmp_path, bents_csv=swapped(BENTS, "skew_deg", "skew_dge")))
    assert place(error) == ("bents.csv", 1, "skew_deg")
    assert "'skew_dge'" in error.fix


@pytest.mark.parametrize("key", TABLES)
def test_an_extra_column_is_passed_over_with_a_warning(tmp_path, key):
    text, _ = TABLES[key]
    wider = "\n".join(f"{line},x" for line in text.splitlines())
    warning = the_warning(a_folder(tmp_path, **{key: wider}))
    assert place(warning) == (key.replace("_", "."), 1, "x")


@pytest.mark.parametrize(
    ("key", "text", "old", "new", "row", "field"),
    [
        ("alignment_csv", ALIGNMENT, "main,tangent,200", "main,tangent,long", 2, "length"),
        ("alignment_csv", ALIGNMENT, "250,600,600", "250,600,6oo", 4, "radius_out"),
        ("bents_csv", BENTS, "E,B2,1040", "E,B2,ten40", 3, "station"),
        ("bents_csv", BENTS, "W,H1,1048,hinge,5", "W,H1,1048,hinge,five", 10, "skew_deg"),
        ("bents_csv", BENTS, "A4,1120,abutment,0,14", "A4,1120,abutment,0,nan", 12, "left_offset"),
        ("bents_csv", BENTS, "A4,1120,abutment,0,14", "A4,1120,abutment,0,14e6", 12, "left_offset"),
        ("alignment_csv", ALIGNMENT, "main,tangent,200", "main,tangent,2e9", 2, "length"),
        ("quantities_csv", QUANTITIES, "14.5,t", "1e300,t", 3, "planned"),
        ("quantities_csv", QUANTITIES, "14.5,t", "14;5,t", 3, "planned"),
        ("baseline_csv", BASELINE, "2026-05-01", "1 May", 3, "planned_finish"),
        ("baseline_csv", BASELINE, "2026-05-01", "2026-02-30", 3, "planned_finish"),
    ],
)  # fmt: skip
def test_a_cell_of_the_wrong_type_is_named_by_row_and_column(
    tmp_path, key, text, old, new, row, field
):
    error = the_error(a_folder(tmp_path, **{key: swapped(text, old, new)}))
    assert place(error) == (key.replace("_", "."), row, field)
    assert error.fix


def test_rows_are_counted_as_an_editor_does_in_spite_of_blank_lines(tmp_path):
    spaced = "\n\n" + BENTS.replace("\n", "\r\n\r\n").replace("E,B2,1040", "E,B2,ten40")
    error = the_error(a_folder(tmp_path, bents_csv=spaced))
    assert place(error) == ("bents.csv", 7, "station")


def test_a_byte_order_mark_windows_line_ends_and_blank_lines_do_no_harm(tmp_path):
    files = {
        key: "\ufeff" + text.replace("\n", "\r\n") + "\r\n,,\r\n\r\n"
        for key, (text, _) in TABLES.items()
    }
    folder = a_folder(tmp_path, project_toml="\ufeff" + PROJECT.replace("\n", "\r\n"), **files)
    assert problems_of(folder) == ()


def test_semicolons_between_columns_are_recognised(tmp_path):
    error = the_error(a_folder(tmp_path, bents_csv=BENTS.replace(",", ";")))
    assert place(error) == ("bents.csv", 1, None)
    assert "semicolons" in error.message


def test_a_row_with_a_cell_too_many_is_named(tmp_path):
    error = the_error(
        a_folder(tmp_path, baseline_csv=swapped(BASELINE, "2026-05-01", "2026-05-01,late"))
    )
    assert place(error) == ("baseline.csv", 3, None)


def test_a_file_that_is_no_text_is_said(tmp_path):
    folder = a_folder(tmp_path)
    (folder / "baseline.csv").write_bytes(BASELINE.encode("utf-16"))
    assert place(the_error(folder)) == ("baseline.csv", None, None)


def test_an_open_quotation_mark_is_said(tmp_path):
    error = the_error(a_folder(tmp_path, baseline_csv=swapped(BASELINE, "E01,deck", '"E01,deck')))
    assert place(error) == ("baseline.csv", 3, None)


# project.toml


@pytest.mark.parametrize(
    ("old", "new", "field"),
    [
        ("epsg = 26910", 'epsg = "26910"', "project.epsg"),
        ("epsg = 26910", "epsg = 4326", "project.epsg"),
        ("epsg = 26910", "epsg = 99999", "project.epsg"),
        ("epsg = 26910", "epsg = 0", "project.epsg"),
        ("epsg = 26910", "epsg = 4978", "project.epsg"),
        ("epsg = 26910", "epsg = 2048", "project.epsg"),
        ('units = "si"', 'units = "metric"', "project.units"),
        ('"America/Los_Angeles"', '"America/Los_Angles"', "project.timezone"),
        ('"America/Los_Angeles"', '"America"', "project.timezone"),
        ("start = 2026-03-02", 'start = "2026-03-02"', "project.start"),
        ("start = 2026-03-02", "start = 2026-03-02T07:00:00", "project.start"),
        ("start = 2026-03-02", "start = 0001-01-01", "project.start"),
        ("start = 2026-03-02", "start = 9999-12-31", "project.start"),
        ('"Thu", "Fri"]', '"Thu", "Freitag"]', "calendar.workdays"),
        ('"Thu", "Fri"]', '"Thu", "Thu"]', "calendar.workdays"),
        ('holidays = "US-CA"', 'holidays = "US-Q"', "calendar.holidays"),
        ("days_off = [2026-07-02]", "days_off = 2026-07-02", "calendar.days_off"),
        ("[4, 4, 3, 2, 1,", "[4, 4, 3, 2,", "calendar.lost_days_per_month"),
        ("[4, 4, 3, 2, 1,", "[4, 4, -3, 2, 1,", "calendar.lost_days_per_month"),
        ("[4, 4, 3, 2, 1,", "[24, 4, 3, 2, 1,", "calendar.lost_days_per_month"),
        ("planned_cycle = 2", "planned_cycle = 0", "activity.planned_cycle"),
        ("planned_cycle = 2", "planned_cycle = inf", "activity.planned_cycle"),
        ("lag_days = 1", "lag_days = 1.5", "activity.lag_days"),
        ("weather = false", "weather = 0", "activity.weather"),
        ('measure = "steel"', 'measure = "stel"', "activity.measure"),
        ('after = ["rebar"]', 'after = ["rebars"]', "activity.after"),
        ('after = ["falsework"]', 'after = ["curing"]', "activity.after"),
        ("falsework_sets = 2", "falsework_sets = 0", "heading.falsework_sets"),
        ('units = ["W02", "W01"]', 'units = ["W02", 1]', "heading.units"),
        ("azimuth_deg = 35.0", "azimuth_deg = 350000.0", "alignment.azimuth_deg"),
        ("start_station = 900.0", 'start_station = "0+9x"', "alignment.start_station"),
        ("easting = 550000.0", "easting = true", "alignment.easting"),
    ],
)
def test_a_wrong_value_in_project_toml_is_named_by_line_and_key(tmp_path, old, new, field):
    text = swapped(PROJECT, old, new)
    error = next(e for e in errors_of(a_folder(tmp_path, project_toml=text)))
    assert error.file == "project.toml"
    assert error.field == field
    if field != "activity.after" or "rebars" in new:
        line = 1 + text.splitlines().index(next(x for x in text.splitlines() if new in x))
        assert error.row == line
    assert error.fix


def test_activities_that_wait_in_a_circle_are_named(tmp_path):
    text = swapped(PROJECT, 'after = ["falsework"]', 'after = ["curing"]')
    error = the_error(a_folder(tmp_path, project_toml=text))
    assert "circle" in error.message
    assert "bottom_slab_stems" in error.message


def test_a_line_that_is_no_toml_is_named(tmp_path):
    error = the_error(a_folder(tmp_path, project_toml=swapped(PROJECT, '"east"', "east")))
    line = 1 + swapped(PROJECT, '"east"', "east").splitlines().index("key = east")
    assert place(error) == ("project.toml", line, None)


@pytest.mark.parametrize("key", ["name", "epsg", "timezone", "start"])
def test_a_missing_key_of_the_project_is_named(tmp_path, key):
    lines = [line for line in PROJECT.splitlines() if not line.startswith(f"{key} =")]
    text = "\n".join([*lines, *(x for x in PROJECT.splitlines()[3:] if False)])
    errors = errors_of(a_folder(tmp_path, project_toml=text))
    assert ("project.toml", f"project.{key}") in [(e.file, e.field) for e in errors]


def test_an_unknown_key_is_passed_over_with_the_nearest_name(tmp_path):
    text = swapped(PROJECT, "turnaround_days = 2", "turnaround_day = 2")
    warning = the_warning(a_folder(tmp_path, project_toml=text))
    assert place(warning) == ("project.toml", 1 + text.splitlines().index("turnaround_day = 2"),
                              "heading.turnaround_day")  # fmt: skip
    assert "'turnaround_days'" in warning.fix


def test_an_unknown_table_is_passed_over_with_the_nearest_name(tmp_path):
    warning = the_warning(a_folder(tmp_path, project_toml=PROJECT + "[calender]\nx = 1\n"))
    assert warning.field == "calender"
    assert "'calendar'" in warning.fix


def test_single_brackets_where_a_list_of_tables_is_meant_are_recognised(tmp_path):
    text = swapped(PROJECT, "[[alignment]]", "[alignment]")
    assert "[[alignment]]" in errors_of(a_folder(tmp_path, project_toml=text))[0].fix


def test_an_activity_or_heading_given_twice_is_named(tmp_path):
    text = swapped(PROJECT, 'key = "rebar"', 'key = "deck_forms"')
    text = swapped(text, 'key = "west"', 'key = "east"')
    fields = [e.field for e in errors_of(a_folder(tmp_path, project_toml=text))]
    assert {"activity.key", "heading.key"} <= set(fields)


# Headings and units


def test_a_unit_in_two_headings_is_named(tmp_path):
    text = swapped(PROJECT, '["W02", "W01"]', '["W02", "W01", "E02"]')
    error = the_error(a_folder(tmp_path, project_toml=text))
    assert place(error)[::2] == ("project.toml", "heading.units")
    assert "'E02'" in error.message


def test_an_unknown_unit_in_a_heading_is_named_with_the_nearest(tmp_path):
    text = swapped(PROJECT, '["W02", "W01"]', '["W02", "W01", "W2"]')
    error = the_error(a_folder(tmp_path, project_toml=text))
    assert "'W2'" in error.message
    assert "'W02'" in error.fix


def test_a_unit_in_no_heading_is_named_by_its_row(tmp_path):
    text = swapped(PROJECT, '["W02", "W01"]', '["W02"]')
    error = the_error(a_folder(tmp_path, project_toml=text))
    assert place(error) == ("units.csv", 4, "heading")


def test_a_heading_that_differs_between_the_files_is_named(tmp_path):
    error = the_error(a_folder(tmp_path, units_csv=swapped(UNITS, "H1,A5,east", "H1,A5,west")))
    assert place(error) == ("units.csv", 3, "heading")


def test_an_unknown_heading_is_named(tmp_path):
    error = the_error(a_folder(tmp_path, units_csv=swapped(UNITS, "H1,A5,east", "H1,A5,eats")))
    assert place(error) == ("units.csv", 3, "heading")
    assert "'east'" in error.fix


def test_without_headings_the_units_file_gives_them(tmp_path):
    begin, end = PROJECT.index("[[heading]]"), PROJECT.index("[[alignment]]")
    folder = a_folder(tmp_path, project_toml=PROJECT[:begin] + PROJECT[end:])
    assert the_warning(folder).field == "heading"
    assert [h.units for h in the_job(folder).headings] == [("E01", "E02"), ("W01", "W02")]


def test_a_unit_given_twice_is_named(tmp_path):
    errors = errors_of(a_folder(tmp_path, units_csv=swapped(UNITS, "E02,E", "E01,E")))
    assert ("units.csv", 3, "unit") in [place(e) for e in errors]


# Alignment, bents and units on the line


def test_an_unknown_structure_is_named_with_the_nearest(tmp_path):
    errors = errors_of(a_folder(tmp_path, units_csv=swapped(UNITS, "W02,W,", "W02,w,")))
    assert place(errors[0]) == ("units.csv", 5, "structure")


def test_a_structure_that_follows_no_alignment_is_named(tmp_path):
    text = swapped(PROJECT, 'key = "W"\nalignment = "main"', 'key = "W"\nalignment = "mian"')
    error = the_error(a_folder(tmp_path, project_toml=text))
    assert place(error)[::2] == ("project.toml", "structure.alignment")
    assert "'main'" in error.fix


def test_a_duplicate_bent_is_named(tmp_path):
    errors = errors_of(a_folder(tmp_path, bents_csv=swapped(BENTS, "E,B3,1080", "E,B2,1080")))
    assert [place(e) for e in errors] == [("bents.csv", 4, "bent")]
    assert "row 3" in errors[0].message


def test_stations_that_do_not_rise_are_named_as_on_drawings(tmp_path):
    errors = errors_of(a_folder(tmp_path, bents_csv=swapped(BENTS, "E,B3,1080", "E,B3,1030")))
    assert place(errors[0]) == ("bents.csv", 4, "station")
    assert "1+030.00 comes before bent B2 (1+040.00)" in errors[0].message


def test_an_unknown_bent_in_units_is_named(tmp_path):
    error = the_error(a_folder(tmp_path, units_csv=swapped(UNITS, "E02,E,H1,A5", "E02,E,H1,A6")))
    assert place(error) == ("units.csv", 3, "to_bent")
    assert "'A6'" in error.message


def test_a_unit_that_runs_back_is_named(tmp_path):
    error = the_error(a_folder(tmp_path, units_csv=swapped(UNITS, "E02,E,H1,A5", "E02,E,A5,H1")))
    assert place(error) == ("units.csv", 3, "from_bent")


def test_units_that_overlap_along_the_stations_are_named(tmp_path):
    text = swapped(UNITS, "E02,E,H1,A5", "E02,E,B2,A5")
    errors = errors_of(a_folder(tmp_path, units_csv=text))
    assert ("units.csv", 3, "from_bent") in [place(e) for e in errors]
    overlap = next(e for e in errors if e.field == "from_bent")
    assert "1+040.00" in overlap.message
    assert "1+088.00" in overlap.message


def test_a_gap_between_units_is_a_warning(tmp_path):
    warning = the_warning(
        a_folder(tmp_path, units_csv=swapped(UNITS, "E02,E,H1,A5", "E02,E,B4,A5"))
    )
    assert place(warning) == ("units.csv", 3, "from_bent")


def test_a_hinge_inside_a_unit_is_named(tmp_path):
    text = swapped(UNITS, "E01,E,A1,H1,east\nE02,E,H1,A5,east\n", "E01,E,A1,A5,east\n")
    project = swapped(PROJECT, '["E01", "E02"]', '["E01"]')
    error = the_error(a_folder(tmp_path, units_csv=text, project_toml=project))
    assert place(error) == ("units.csv", 2, "to_bent")
    assert "H1" in error.message


def test_a_bent_off_the_alignment_is_named(tmp_path):
    text = swapped(PROJECT, "start_station = 900.0", "start_station = 640.0")
    error = the_error(a_folder(tmp_path, project_toml=text))
    assert place(error) == ("bents.csv", 7, "station")


def test_footprints_that_cross_one_another_are_named(tmp_path):
    text = BENTS.replace(",14,2", ",14,-5")  # the westbound deck laid over the eastbound one
    errors = errors_of(a_folder(tmp_path, bents_csv=text))
    assert {place(e)[::2] for e in errors} == {("bents.csv", "station")}
    assert "E01" in errors[0].message
    assert "W01" in errors[0].message


def test_bent_lines_that_cross_on_the_deck_are_named(tmp_path):
    text = swapped(BENTS, "E,B2,1040,bent,0", "E,B2,1040,bent,-75")
    errors = errors_of(a_folder(tmp_path, bents_csv=text))
    assert {e.file for e in errors} == {"bents.csv"}


def test_a_curve_without_turn_is_named(tmp_path):
    error = the_error(
        a_folder(tmp_path, alignment_csv=swapped(ALIGNMENT, "600,600,left", "600,600,"))
    )
    assert place(error) == ("alignment.csv", 4, "turn")


def test_an_unknown_alignment_is_named(tmp_path):
    errors = errors_of(a_folder(tmp_path, alignment_csv=ALIGNMENT.replace("main", "mian")))
    assert place(errors[0]) == ("alignment.csv", 2, "alignment")
    assert "'main'" in errors[0].fix


def test_two_files_for_one_alignment_are_refused(tmp_path):
    folder = a_folder(tmp_path)
    (folder / "alignment.xml").write_text("<LandXML/>")
    assert place(the_error(folder)) == ("alignment.xml", None, None)


# Stations and offsets as people write them


def test_stations_with_a_plus_sign_count_full_stations_of_1000_m(tmp_path):
    text = BENTS.replace(",1000,", ",1+000,").replace(",1088,", ",1+088.00,")
    plain, plus = tmp_path / "plain", tmp_path / "plus"
    plain.mkdir(), plus.mkdir()
    one, other = the_job(a_folder(plain)), the_job(a_folder(plus, bents_csv=text))
    assert np.array_equal(one.spans["from_station_m"], other.spans["from_station_m"])


def test_in_feet_a_full_station_is_100_ft_and_all_lengths_are_feet(tmp_path):
    text = BENTS.replace(",1088,", ",10+88.0,")
    job = the_job(
        a_folder(tmp_path, project_toml=swapped(PROJECT, "26910", "2225"), bents_csv=text)
    )
    foot = si_per("ft_us")
    assert job.units["to_station_m"].iloc[0] == pytest.approx(1088 * foot, abs=1e-9)
    assert job.units["area_m2"].iloc[0] == pytest.approx(1056.0 * foot**2, rel=1e-6)
    inside = shapely.get_coordinates(job.units.geometry.to_numpy())
    assert np.abs(inside - [550000.0, 4180000.0]).max() < 1000  # coordinates stay in feet


OUTWARD = BENTS.replace(",14,2", ",3,9")
"""Both edges west of the line can't be given as distances outward; these straddle it."""


def straddling(left: float, right: float, *, said: str = "") -> dict[str, str]:
    """A folder of the eastbound structure alone, its deck edges given as these numbers."""
    rows = [line for line in BENTS.splitlines() if not line.startswith("W")]
    bents = "\n".join(
        [rows[0], *(",".join([*row.split(",")[:5], str(left), str(right)]) for row in rows[1:])]
    )
    project = PROJECT.replace('[[structure]]\nkey = "W"\nalignment = "main"\n', "")
    project = project.replace('[[heading]]\nkey = "west"\nunits = ["W02", "W01"]\n', "")
    project = project.replace("start = 2026-03-02", f"start = 2026-03-02\n{said}")
    units = "\n".join(line for line in UNITS.splitlines() if not line.startswith("W"))
    return {"bents_csv": bents, "units_csv": units, "project_toml": project}


@pytest.mark.parametrize(
    ("left", "right", "said", "width"),
    [
        (6, -6, "", 12),  # outward would make no width
        (6, 6, "", 12),  # signed would make no width
        (-2, -14, "", 12),
        (14, 2, 'offsets = "signed"', 12),
        (14, 2, 'offsets = "outward"', 16),
    ],
)
def test_offsets_are_signed_or_outward_as_said_or_as_they_can_only_be(
    tmp_path, left, right, said, width
):
    job = the_job(a_folder(tmp_path, **straddling(left, right, said=said)))
    span = job.spans.iloc[0]  # on the tangent
    assert span["area_m2"] / span["length_m"] == pytest.approx(width)


def test_offsets_that_could_be_either_are_taken_as_signed_with_a_warning(tmp_path):
    folder = a_folder(tmp_path, **straddling(14, 2))
    assert place(the_warning(folder)) == ("bents.csv", None, "left_offset")
    assert 'offsets = "signed"' in the_warning(folder).fix or "signed" in the_warning(folder).fix
    span = the_job(folder).spans.iloc[0]
    assert span["area_m2"] / span["length_m"] == pytest.approx(12)


def test_offsets_that_can_be_neither_are_named(tmp_path):
    errors = errors_of(
        a_folder(tmp_path, bents_csv=swapped(BENTS, "B2,1040,bent,5,14,2", "B2,1040,bent,5,-14,2"))
    )
    assert place(errors[0]) == ("bents.csv", 9, "left_offset")


def test_rows_that_need_different_readings_are_named_together(tmp_path):
    text = swapped(BENTS, "B2,1040,bent,5,14,2", "B2,1040,bent,5,2,14")
    errors = errors_of(a_folder(tmp_path, bents_csv=text))
    assert place(errors[0]) == ("bents.csv", 9, "left_offset")
    assert "row 2" in errors[0].message


def test_offsets_against_what_the_project_says_are_named(tmp_path):
    files = straddling(-2, -14, said='offsets = "outward"')
    errors = errors_of(a_folder(tmp_path, **files))
    assert place(errors[0]) == ("bents.csv", 2, "left_offset")


# Quantities, section and baseline


def test_a_scheduled_quantity_is_kept_and_the_rest_is_computed(tmp_path):
    planned = the_job(a_folder(tmp_path)).planned.set_index(["unit", "activity", "span"])
    pour = planned.loc[("E01", "deck_pour", "")]
    assert pour["planned_from"] == "schedule"
    assert pour["planned_si"] == pytest.approx(250 * 0.764554857984, rel=1e-12)  # yd³, Pint
    assert planned.loc[("E01", "rebar", "1"), "planned_si"] == 14_500.0
    assert planned.loc[("E01", "rebar", "2"), "planned_from"] == "section"
    assert planned.loc[("E02", "deck_pour", ""), "planned_from"] == "section"
    assert planned.index.is_unique


def test_planned_rows_follow_the_grain_of_the_activity(tmp_path):
    planned = the_job(a_folder(tmp_path, quantities_csv=None)).planned
    by_span = planned.groupby("activity")["span"].agg(lambda spans: bool((spans != "").all()))
    assert by_span.to_dict() == {
        "falsework": False, "bottom_slab_stems": False, "deck_forms": True, "rebar": True,
        "deck_pour": False, "curing": False,
    }  # fmt: skip


def test_a_unit_planned_as_a_whole_leaves_nothing_to_compute_for_its_spans(tmp_path):
    text = swapped(QUANTITIES, "E01,1,rebar", "E01,,rebar")
    planned = the_job(a_folder(tmp_path, quantities_csv=text)).planned
    rebar = planned[(planned["unit"] == "E01") & (planned["activity"] == "rebar")]
    assert rebar["span"].tolist() == [""]


def test_falsework_and_curing_cover_the_deck(tmp_path):
    job = the_job(a_folder(tmp_path, quantities_csv=None))
    for activity in ("falsework", "curing"):
        own = job.planned[job.planned["activity"] == activity]
        assert own["planned_si"].tolist() == pytest.approx(job.units["area_m2"].tolist())


@pytest.mark.parametrize(
    ("old", "new", "row", "field"),
    [
        ("250,yd3", "250,yards", 2, "measure_unit"),
        ("250,yd3", "250,ft2", 2, "measure_unit"),
        ("250,yd3", "250,", 2, "measure_unit"),
        ("250,yd3", "-250,yd3", 2, "planned"),
        ("E01,,deck_pour", "E99,,deck_pour", 2, "unit"),
        ("E01,,deck_pour", "E01,,deckpour", 2, "activity"),
        ("E01,,deck_pour", "E01,1,deck_pour", 2, "span"),
        ("E01,1,rebar", "E01,3,rebar", 3, "span"),
        ("E01,1,rebar,14.5,t", "E01,,deck_pour,14.5,m3", 3, "activity"),
    ],
)
def test_a_wrong_planned_quantity_is_named(tmp_path, old, new, row, field):
    error = the_error(a_folder(tmp_path, quantities_csv=swapped(QUANTITIES, old, new)))
    assert place(error) == ("quantities.csv", row, field)
    assert error.fix


def test_an_activity_planned_for_the_unit_and_for_a_span_is_named(tmp_path):
    error = the_error(a_folder(tmp_path, quantities_csv=QUANTITIES + "E01,,rebar,40,t\n"))
    assert place(error) == ("quantities.csv", 3, "span")


@pytest.mark.parametrize(
    ("old", "new", "row", "field"),
    [
        ("E01,deck_pour", "E77,deck_pour", 3, "unit"),
        ("E01,deck_pour", "E01,deck_por", 3, "activity"),
        ("E01,deck_pour", "E01,falsework", 3, "activity"),
    ],
)
def test_a_wrong_baseline_row_is_named(tmp_path, old, new, row, field):
    error = the_error(a_folder(tmp_path, baseline_csv=swapped(BASELINE, old, new)))
    assert place(error) == ("baseline.csv", row, field)


@pytest.mark.parametrize(
    ("old", "new", "field"),
    [
        ("depth = 2.0", "depth = -2.0", "section.depth"),
        ("depth = 2.0", "depth = 0.34", "section.depth"),
        ("depth = 2.0", 'depth = "2 m"', "section.depth"),
        ("depth = 2.0\n", "", "section.depth"),
        ("stems = 3", "stems = 1", "section.stems"),
        ("stems = 3", "stems = 40", "section.stem_thickness"),
        ("overhang_length = 1.5", "overhang_length = 6.5", "section.overhang_length"),
        ("bent_cap_length = 1.8", "bent_cap_length = 60", "section.bent_cap_length"),
        ('name = "Typical"', 'structures = ["X"]', "section.structures"),
        ('name = "Typical"', 'units = ["E1"]', "section.units"),
        ('name = "Typical"', 'length_unit = "yard"', "section.length_unit"),
        ("_m3 = 150", "_m3 = 150\ndeck_steel_lb_per_yd3 = 250", "section.deck_steel_lb_per_yd3"),
    ],
)
def test_an_impossible_section_is_named_by_line_and_key(tmp_path, old, new, field):
    text = swapped(SECTION, old, new)
    errors = errors_of(a_folder(tmp_path, section_toml=text))
    assert {(e.file, e.field) for e in errors} == {("section.toml", field)}
    assert all(e.row for e in errors)


def test_an_unknown_key_of_the_section_is_a_warning(tmp_path):
    text = swapped(SECTION, "exterior_stem_slope", "exterior_stem_slop")
    assert the_warning(a_folder(tmp_path, section_toml=text)).field == "section.exterior_stem_slop"


def test_a_section_in_inches_gives_the_same_plan_as_in_metres(tmp_path):
    metres, inches = tmp_path / "metres", tmp_path / "inches"
    metres.mkdir(), inches.mkdir()
    lines = []
    for line in SECTION.splitlines():
        key, _, value = line.partition(" = ")
        if value and key not in ("name", "stems", "exterior_stem_slope") and "steel" not in key:
            value = repr(float(value) / 0.0254)
        lines.append(f"{key} = {value}" if value else line)
    text = "\n".join(lines) + '\nlength_unit = "in"\n'
    one = the_job(a_folder(metres)).planned["planned_si"]
    other = the_job(a_folder(inches, section_toml=text)).planned["planned_si"]
    assert other.to_numpy() == pytest.approx(one.to_numpy(), rel=1e-9)


def test_units_take_their_own_section_before_their_structures_before_the_general_one(tmp_path):
    def thick(deck: float, owner: str) -> str:
        return swapped(
            swapped(SECTION, "deck_thickness = 0.2", f"deck_thickness = {deck}"),
            'name = "Typical"', owner,
        )  # fmt: skip

    text = SECTION + thick(0.3, 'structures = ["E"]') + thick(0.4, 'units = ["E02"]')
    plain = tmp_path / "plain"
    plain.mkdir()
    base = the_job(a_folder(plain, quantities_csv=None))
    job = the_job(a_folder(tmp_path, section_toml=text, quantities_csv=None))

    def pours(of):
        return of.planned[of.planned["activity"] == "deck_pour"].set_index("unit")["planned_si"]

    gained = (pours(job) - pours(base)) / job.units.set_index("unit")["length_m"]
    # 0.1 and 0.2 m more deck on a box of 9 m (E01) and about 11 m (E02)
    assert gained["E01"] == pytest.approx(0.9, rel=0.01)
    assert 2.0 < gained["E02"] < 2.4
    assert gained["W01"] == gained["W02"] == 0.0


def test_a_unit_without_a_section_is_a_warning(tmp_path):
    text = swapped(SECTION, 'name = "Typical"', 'structures = ["E"]')
    warning = the_warning(a_folder(tmp_path, section_toml=text))
    assert warning.field == "section.units"
    assert "W01, W02" in warning.message


def test_a_measure_that_no_section_gives_is_a_warning(tmp_path):
    text = swapped(PROJECT, 'measure = "falsework"', 'measure = "steel"')
    warning = the_warning(a_folder(tmp_path, project_toml=text))
    assert place(warning)[::2] == ("section.toml", "section")
    assert "falsework" in warning.message


def test_a_rebar_plan_without_a_rate_is_a_warning(tmp_path):
    text = swapped(SECTION, "deck_steel_kg_per_m3 = 150\n", "")
    warning = the_warning(a_folder(tmp_path, section_toml=text))
    assert warning.field == "section.deck_steel_kg_per_m3"


# All in one go


def test_the_problems_of_all_files_are_said_in_one_go(tmp_path):
    folder = a_folder(
        tmp_path,
        project_toml=swapped(PROJECT, '"America/Los_Angeles"', '"Mars/Olympus"'),
        alignment_csv=swapped(ALIGNMENT, "main,tangent,200", "main,tangent,-200"),
        bents_csv=swapped(swapped(BENTS, "E,B3,1080", "E,B2,1080"), "W,B2,1040", "W,B2,x"),
        units_csv=swapped(UNITS, "E02,E,H1", "E02,E,H9"),
        quantities_csv=swapped(QUANTITIES, "250,yd3", "250,gallons"),
        baseline_csv=swapped(BASELINE, "2026-05-01", "soon"),
        section_toml=swapped(SECTION, "stems = 3", "stems = 1"),
    )
    found = {place(e) for e in errors_of(folder)}
    line = {text: 1 + PROJECT.splitlines().index(text) for text in PROJECT.splitlines()}
    assert found == {
        ("project.toml", line['timezone = "America/Los_Angeles"'], "project.timezone"),
        ("alignment.csv", 2, "length"),
        ("bents.csv", 4, "bent"),
        ("bents.csv", 9, "station"),
        ("units.csv", 3, "from_bent"),
        ("quantities.csv", 2, "measure_unit"),
        ("baseline.csv", 3, "planned_finish"),
        ("section.toml", 1 + SECTION.splitlines().index("stems = 3"), "section.stems"),
    }
    assert all(problem.fix and problem.message for problem in problems_of(folder))


@pytest.mark.parametrize("text", [None, "name = \n"])
def test_without_a_readable_project_toml_the_other_files_are_still_checked(tmp_path, text):
    bents = swapped(BENTS, "W,B2,1040", "W,B2,x")
    errors = errors_of(a_folder(tmp_path, project_toml=text, bents_csv=bents))
    assert [e.file for e in errors] == ["project.toml", "bents.csv"]


def test_a_name_that_is_wrong_in_many_rows_is_said_once(tmp_path):
    errors = errors_of(a_folder(tmp_path, bents_csv=BENTS.replace("\nE,", "\nEast,")))
    unknown = [e for e in errors if "'East'" in e.message]
    assert [place(e) for e in unknown] == [("bents.csv", 2, "structure")]
    assert "5 more rows" in unknown[0].message


@pytest.mark.parametrize("name", folders.SOUND)
@pytest.mark.parametrize("text", ["", "\n", "\x00", "a", '"', "[", "a,b\n1\n", "= = =\n", "\ufeff"])
def test_no_file_however_broken_makes_a_traceback(tmp_path, name, text):
    job, problems = read_folder(a_folder(tmp_path, **{name.replace(".", "_"): text}))
    assert (job is None) or name in ("quantities.csv", "baseline.csv")
    assert job is not None or problems


SLIPS = [
    "", "0", "-", "-1", "1e9", "1e308", "nan", '"', ",", "\n", "[", "]", "=", "é", "\x00", "W",
    "hinge", "abutment", "bent", "curve", "spiral", "left", "H1", "A1", "1+000", "true",
    '"x"', "2026-01-01",
]  # fmt: skip


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_any_slip_in_any_file_is_a_problem_or_harmless_never_a_traceback(data):
    texts = dict(folders.SOUND)
    for _ in range(data.draw(st.integers(1, 3))):
        name = data.draw(st.sampled_from(sorted(texts)))
        words = [found.span() for found in re.finditer(r"[^,\n=\s]+", texts[name])]
        if words:
            begin, end = data.draw(st.sampled_from(words))
            slip = data.draw(st.sampled_from(SLIPS))
            texts[name] = texts[name][:begin] + slip + texts[name][end:]
    with tempfile.TemporaryDirectory() as where:
        files = {name.replace(".", "_"): text for name, text in texts.items()}
        job, problems = read_folder(a_folder(Path(where), **files))
    assert (job is None) == any(problem.severity == "error" for problem in problems)
    assert all(problem.message and problem.fix for problem in problems)
