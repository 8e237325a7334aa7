"""The project folder: everything about a job that is not in its log, checked in one go."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import geopandas as gpd
import pandas as pd

from model.activities import Heading
from model.exchange.findings import Findings, listed, nearest
from model.exchange.geojson import CONTEXT_FILE
from model.exchange.geometry_files import Geometry, missing_file, read_geometry
from model.exchange.geopackage import context_layers
from model.exchange.quantity_files import (
    BASELINE_FILE,
    QUANTITIES_FILE,
    read_baseline,
    read_quantities,
)
from model.exchange.section_file import FILE as SECTION_FILE
from model.exchange.section_file import check_sections, read_sections
from model.exchange.settings import FILE as PROJECT_FILE
from model.exchange.settings import UNREADABLE, Settings, read_settings
from model.job import Job, empty_baseline
from model.problems import Problem
from model.section import TypicalSection
from model.section_plan import (
    deck_lengths_m,
    empty_plan,
    planned_from_section,
    solids_of_spans,
    unplanned,
)

Footprints = tuple[gpd.GeoDataFrame, gpd.GeoDataFrame]


def read_folder(
    path: Path, instead: Mapping[str, Path] | None = None
) -> tuple[Job | None, tuple[Problem, ...]]:
    """Read a project folder and say everything that is wrong with it.

    Parameters
    ----------
    path
        The folder; nothing in it is changed.
    instead
        Files to read instead of ``project.toml`` or ``baseline.csv``, by these names: what the
        folder would be with them.

    Returns
    -------
    Job or None
        None when any problem is an error.
    problems
        Errors and warnings of all files, each with file, row, field, message and fix. Where
        one file cannot be read, what depends on it is not checked.
    """
    findings = Findings(path.name)
    if not path.is_dir():
        findings.error("It is no folder.", "Give the project folder; `viaduct new` makes one.")
        return None, tuple(findings.problems)
    settings, others = UNREADABLE, instead or {}
    project_file = others.get(PROJECT_FILE, path / PROJECT_FILE)
    if project_file.exists():
        settings = read_settings(project_file, findings.of(PROJECT_FILE))
    else:
        fix = "Add it: it names the job, its calendar and activities."
        missing_file(path, PROJECT_FILE, fix, findings)
    baseline_file = others.get(BASELINE_FILE, path / BASELINE_FILE)
    return _read_job(path, baseline_file, settings, findings), tuple(findings.problems)


def _read_job(
    path: Path, baseline_file: Path, settings: Settings, findings: Findings
) -> Job | None:
    geometry = read_geometry(path, settings, findings)
    headings = _headings(settings, geometry, findings)
    planned = _planned(path, settings, geometry, findings)
    baseline = empty_baseline()
    if baseline_file.exists():
        found = findings.of(BASELINE_FILE)
        baseline = read_baseline(baseline_file, _unit_keys(geometry), settings.activities, found)
    if (path / CONTEXT_FILE).exists():
        context_layers(path / CONTEXT_FILE, findings.of(CONTEXT_FILE))
    if findings.error_count() or geometry.footprints is None or settings.calendar is None:
        return None
    spans, units = geometry.footprints
    return Job(
        name=settings.name,
        units_system=settings.units_system,
        timezone=settings.timezone,
        calendar=settings.calendar,
        activities=settings.activities,
        headings=headings,
        units=units,
        spans=spans,
        planned=planned,
        baseline=baseline,
        structure_names={structure.key: structure.name for structure in settings.structures},
        hold_reasons=settings.hold_reasons,
        pours=settings.pours,
    )


def _unit_keys(geometry: Geometry) -> list[str] | None:
    return None if geometry.units is None else geometry.units["unit"].tolist()


def _headings(settings: Settings, geometry: Geometry, findings: Findings) -> tuple[Heading, ...]:
    """Return the headings, and note where they and the units' file don't agree."""
    if geometry.units is None or not settings.readable:
        return settings.headings
    heading_of = dict(zip(geometry.units["unit"], geometry.units["heading"], strict=True))
    found, project = findings.of(geometry.file), findings.of(PROJECT_FILE)
    if not settings.headings:
        project.warning(
            f"There is no heading; they are taken from {geometry.file}, in its order.",
            "Add a [[heading]] with its units in building order.",
            field="heading",
        )
        return _headings_by_unit(heading_of)
    listed_in: dict[str, str] = {}
    for heading, row in zip(settings.headings, settings.heading_rows, strict=True):
        for unit in heading.units:
            if unit not in heading_of:
                message = f"Unit {unit!r} is not in {geometry.file}."
                fix = nearest(unit, heading_of) or f"Add it to {geometry.file}, or take it out."
                project.error(message, fix, row=row, field="heading.units")
            listed_in.setdefault(unit, heading.key)
    _check_heading_of_units(heading_of, listed_in, settings, geometry, found)
    return settings.headings


def _check_heading_of_units(
    heading_of: dict[str, str],
    listed_in: dict[str, str],
    settings: Settings,
    geometry: Geometry,
    found: Findings,
) -> None:
    keys = [heading.key for heading in settings.headings]
    for unit, key in heading_of.items():
        row, field = geometry.rows.get(unit), "heading"
        if not key or not unit:
            continue  # a blank is noted where the file is read
        if key not in keys:
            message = f"Heading {key!r} is not in {PROJECT_FILE}, which has {listed(keys)}."
            fix = nearest(key, keys) or f"Add it to {PROJECT_FILE} as a [[heading]]."
        elif unit not in listed_in:
            message = f"Unit {unit} is in no heading of {PROJECT_FILE}."
            fix = f"Put it among the units of [[heading]] {key!r}, where it is built."
        elif listed_in[unit] != key:
            message = f"Unit {unit} is in heading {key!r} here, in {listed_in[unit]!r} there."
            fix = f"Let {geometry.file} and {PROJECT_FILE} agree."
        else:
            continue
        found.error(message, fix, row=row, field=field)


def _headings_by_unit(heading_of: dict[str, str]) -> tuple[Heading, ...]:
    keys = dict.fromkeys(key for key in heading_of.values() if key)
    return tuple(
        Heading(key, tuple(unit for unit, own in heading_of.items() if own == key)) for key in keys
    )


def _planned(
    path: Path, settings: Settings, geometry: Geometry, findings: Findings
) -> pd.DataFrame:
    """Return the scheduled quantities, and from the section what they leave out."""
    scheduled = empty_plan()
    if (path / QUANTITIES_FILE).exists():
        spans_of_unit = None
        if geometry.footprints is not None:
            grouped = geometry.footprints[0].groupby("unit", sort=False)["span"]
            spans_of_unit = {str(unit): list(spans) for unit, spans in grouped}
        scheduled = read_quantities(
            path / QUANTITIES_FILE,
            _unit_keys(geometry),
            spans_of_unit,
            settings.activities,
            findings.of(QUANTITIES_FILE),
        )
    if not (path / SECTION_FILE).exists():
        return scheduled
    computed = _computed(path, settings, geometry, findings)
    return merged_plan(scheduled, computed)


def _computed(
    path: Path, settings: Settings, geometry: Geometry, findings: Findings
) -> pd.DataFrame:
    found, metres = findings.of(SECTION_FILE), settings.metres_per_unit
    sections = read_sections(path / SECTION_FILE, geometry.units, metres, found)
    if sections is None or geometry.footprints is None:
        return empty_plan()
    spans = geometry.footprints[0]
    solids = solids_of_spans(spans, geometry.bents)
    lengths = deck_lengths_m(spans, geometry.bents)
    before = findings.error_count()
    check_sections(sections, spans, lengths, solids, geometry.bents)
    if findings.error_count() > before:
        return empty_plan()
    _warn_of_unplanned(settings, sections.of_unit(), found)
    return planned_from_section(spans, lengths, solids, sections.of_unit(), settings.activities)


def _warn_of_unplanned(
    settings: Settings, sections: Mapping[str, TypicalSection], found: Findings
) -> None:
    for activity in unplanned(settings.activities):
        message = f"{activity.key} measures {activity.measure}, which no section gives."
        fix = f"Plan it in {QUANTITIES_FILE}, or change its measure in {PROJECT_FILE}."
        found.warning(message, fix, field="section")
    wanted = any(a.key == "rebar" and a.measure == "steel" for a in settings.activities)
    without = [unit for unit, section in sections.items() if not section.plans_deck_steel]
    if wanted and without:
        message = f"No rate of deck reinforcement is given for {listed(without)}."
        fix = "Add deck_steel_kg_per_m3 or deck_steel_lb_per_yd3 to the section."
        found.warning(message, fix, field="section.deck_steel_kg_per_m3")


def merged_plan(scheduled: pd.DataFrame, computed: pd.DataFrame) -> pd.DataFrame:
    """Return the schedule's quantities and, for what it leaves out, those of the section.

    Parameters
    ----------
    scheduled, computed
        Rows of ``Job.planned``. A scheduled whole unit stands for all of its spans.
    """
    keys = ["unit", "span", "activity"]
    whole = scheduled.loc[scheduled["span"] == "", ["unit", "activity"]]
    known_unit = _rows_in(computed, whole, ["unit", "activity"])
    known = known_unit | _rows_in(computed, scheduled, keys)
    return pd.concat([scheduled, computed[~known]], ignore_index=True)


def _rows_in(frame: pd.DataFrame, other: pd.DataFrame, keys: list[str]) -> pd.Series:
    """Tell which rows of a frame have their keys in another."""
    inside = pd.MultiIndex.from_frame(frame[keys]).isin(pd.MultiIndex.from_frame(other[keys]))
    return pd.Series(inside, index=frame.index)
