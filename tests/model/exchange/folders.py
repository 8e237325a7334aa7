"""A small sound project folder, and ways to spoil it."""

from __future__ import annotations

from pathlib import Path

from model.exchange.folder import read_folder
from model.job import Job
from model.problems import Problem

PROJECT = """\
[project]
name = "Heron Flat Crossing"
epsg = 26910
units = "si"
timezone = "America/Los_Angeles"
start = 2026-03-02

[calendar]
workdays = ["Mon", "Tue", "Wed", "Thu", "Fri"]
holidays = "US-CA"
days_off = [2026-07-02]
lost_days_per_month = [4, 4, 3, 2, 1, 0, 0, 0, 1, 2, 3, 4]

[[activity]]
key = "falsework"
name = "Falsework"
measure = "falsework"

[[activity]]
key = "bottom_slab_stems"
name = "Bottom slab and stems"
measure = "concrete"
after = ["falsework"]

[[activity]]
key = "deck_forms"
name = "Deck forms"
grain = "span"
measure = "formwork"
after = ["bottom_slab_stems"]
lag_days = 1

[[activity]]
key = "rebar"
name = "Rebar"
grain = "span"
measure = "steel"
after = ["deck_forms"]

[[activity]]
key = "deck_pour"
name = "Deck pour"
measure = "concrete"
planned_cycle = 2
after = ["rebar"]

[[activity]]
key = "curing"
name = "Curing"
measure = "area"
planned_cycle = 7
after = ["deck_pour"]
calendar_days = true
weather = false

[[heading]]
key = "east"
units = ["E01", "E02"]
falsework_sets = 2
turnaround_days = 2

[[heading]]
key = "west"
units = ["W02", "W01"]

[[alignment]]
key = "main"
start_station = 900.0
easting = 550000.0
northing = 4180000.0
azimuth_deg = 35.0

[[structure]]
key = "E"
name = "Eastbound"
alignment = "main"

[[structure]]
key = "W"
alignment = "main"
"""

ALIGNMENT = """\
alignment,element,length,radius_in,radius_out,turn
main,tangent,200,,,
main,spiral,60,,600,left
main,curve,250,600,600,left
"""

BENTS = """\
structure,bent,station,kind,skew_deg,left_offset,right_offset
E,A1,1000,abutment,0,-2,-14
E,B2,1040,bent,0,-2,-14
E,B3,1080,bent,0,-2,-14
E,H1,1088,hinge,0,-2,-14
E,B4,1120,bent,0,-2,-16
E,A5,1160,abutment,0,-2,-16
W,A1,1000,abutment,0,14,2
W,B2,1040,bent,5,14,2
W,H1,1048,hinge,5,14,2
W,B3,1080,bent,0,14,2
W,A4,1120,abutment,0,14,2
"""

UNITS = """\
unit,structure,from_bent,to_bent,heading
E01,E,A1,H1,east
E02,E,H1,A5,east
W01,W,A1,H1,west
W02,W,H1,A4,west
"""

SECTION = """\
[[section]]
name = "Typical"
depth = 2.0
deck_thickness = 0.2
overhang_length = 1.5
overhang_edge_thickness = 0.2
overhang_root_thickness = 0.3
stems = 3
stem_thickness = 0.3
exterior_stem_slope = 0.25
bottom_slab_thickness = 0.15
bent_cap_length = 1.8
hinge_diaphragm_length = 0.9
abutment_diaphragm_length = 0.8
deck_steel_kg_per_m3 = 150
"""

QUANTITIES = """\
unit,span,activity,planned,measure_unit
E01,,deck_pour,250,yd3
E01,1,rebar,14.5,t
"""

BASELINE = """\
unit,activity,planned_finish
E01,falsework,2026-03-20
E01,deck_pour,2026-05-01
"""

SOUND = {
    "project.toml": PROJECT,
    "alignment.csv": ALIGNMENT,
    "bents.csv": BENTS,
    "units.csv": UNITS,
    "section.toml": SECTION,
    "quantities.csv": QUANTITIES,
    "baseline.csv": BASELINE,
}


def a_folder(where: Path, **files: str | None) -> Path:
    """A sound folder; ``bents_csv="…"`` gives a file another text, None leaves it out."""
    texts: dict[str, str | None] = dict(SOUND)
    for key, text in files.items():
        name, _, ending = key.rpartition("_")
        texts[f"{name}.{ending}"] = text
    for name, text in texts.items():
        if text is not None:
            (where / name).write_bytes(text.encode())
    return where


def swapped(text: str, old: str, new: str) -> str:
    """The text with one thing changed; fails if it isn't there just once."""
    assert text.count(old) == 1, f"{old!r} is there {text.count(old)} times"
    return text.replace(old, new)


def problems_of(folder: Path) -> tuple[Problem, ...]:
    return read_folder(folder)[1]


def errors_of(folder: Path) -> list[Problem]:
    """The errors of a folder that has some, so that no job came of it."""
    job, problems = read_folder(folder)
    errors = [problem for problem in problems if problem.severity == "error"]
    assert (job is None) == bool(errors), problems
    return errors


def the_error(folder: Path) -> Problem:
    errors = errors_of(folder)
    assert len(errors) == 1, [str(error) for error in errors]
    return errors[0]


def the_warning(folder: Path) -> Problem:
    job, problems = read_folder(folder)
    assert job is not None, [str(problem) for problem in problems]
    assert len(problems) == 1, [str(problem) for problem in problems]
    return problems[0]


def the_job(folder: Path) -> Job:
    job, problems = read_folder(folder)
    assert job is not None, [str(problem) for problem in problems]
    return job


def place(problem: Problem) -> tuple[str, int | None, str | None]:
    """File, row and field of a problem."""
    return problem.file, problem.row, problem.field
