"""``project.toml``: the job's name, place, calendar, activities, headings and lines.

What the file may hold is in ``project_keys``; here it becomes activities, headings, a calendar.
"""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass, field
from pathlib import Path
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError, available_timezones

import pyproj
from pyproj.exceptions import CRSError

from model.activities import Activity, Heading, in_working_order
from model.exchange.findings import Findings, nearest
from model.exchange.pour_settings import read_pours
from model.exchange.project_keys import (
    ACTIVITY_KEYS,
    ALIGNMENT_KEYS,
    CALENDAR_KEYS,
    ENTRY_KEYS,
    HEADING_KEYS,
    PROJECT_KEYS,
    PROJECT_TABLES,
    STRUCTURE_KEYS,
    OffsetRule,
)
from model.exchange.stationing import full_station, parse_station
from model.exchange.toml_file import Table, TomlFile, read_toml
from model.hold_reasons import HOLD_REASONS
from model.pour_habits import JobPours
from model.problems import InputError
from model.units import UnitSystem
from model.workdays import WorkCalendar, holidays_of

FILE = "project.toml"

YEARS_OF_HOLIDAYS = 16
FIRST_YEAR, LAST_YEAR = 1990, 2150
"""A start outside these years is a slip of the pen."""


@dataclass(frozen=True, slots=True)
class Crs:
    """A projected coordinate system and the metres in its unit."""

    crs: pyproj.CRS
    metres_per_unit: float


@dataclass(frozen=True, slots=True)
class LineStart:
    """Where an alignment of ``alignment.csv`` begins, in metres; ``row`` in project.toml."""

    key: str
    start_station_m: float
    easting_m: float
    northing_m: float
    azimuth_deg: float
    row: int | None = None


@dataclass(frozen=True, slots=True)
class Structure:
    """One structure, the alignment it follows, and how its deck edges are given."""

    key: str
    name: str
    alignment: str
    offsets: OffsetRule = ""
    row: int | None = None


@dataclass(frozen=True)
class Settings:
    """What ``project.toml`` says; where it is wrong, stand-ins that let reading go on.

    Parameters
    ----------
    crs
        None where the coordinate system cannot be used.
    heading_rows
        Line of each heading's units in project.toml.
    readable
        False where nothing of it could be read, so that what it lacks is not held against it.
    """

    name: str
    crs: Crs | None
    units_system: UnitSystem
    timezone: ZoneInfo
    calendar: WorkCalendar | None
    activities: tuple[Activity, ...]
    headings: tuple[Heading, ...]
    heading_rows: tuple[int | None, ...]
    lines: tuple[LineStart, ...]
    structures: tuple[Structure, ...]
    hold_reasons: tuple[str, ...] = HOLD_REASONS
    pours: JobPours = field(default_factory=JobPours)
    readable: bool = True

    @property
    def metres_per_unit(self) -> float:
        """Metres in the unit of the folder's lengths; 1 where it isn't known."""
        return self.crs.metres_per_unit if self.crs is not None else 1.0


UNREADABLE = Settings("", None, "us", ZoneInfo("UTC"), None, (), (), (), (), (), readable=False)
"""Stands for a ``project.toml`` that is missing or no TOML, while other files are checked."""


def read_settings(path: Path, findings: Findings) -> Settings:
    """Read ``project.toml``; ``UNREADABLE`` where nothing of it can be read.

    Parameters
    ----------
    path
        The existing file.
    findings
        Where everything wrong with it is noted.
    """
    toml = read_toml(path, findings)
    if toml is None:
        return UNREADABLE
    toml.only_tables(PROJECT_TABLES)
    project = toml.table("project", PROJECT_KEYS, needed=True)
    crs = _crs(toml, project["epsg"])
    metres = crs.metres_per_unit if crs is not None else 1.0
    headings = toml.tables("heading", HEADING_KEYS)
    activities = _activities(toml)
    return Settings(
        name=project["name"],
        crs=crs,
        units_system=project["units"],
        timezone=_timezone(toml, project["timezone"]),
        calendar=_calendar(toml, project["start"]),
        activities=activities,
        headings=_headings(toml, headings),
        heading_rows=tuple(toml.row("heading", n, "units") for n in range(len(headings))),
        lines=_lines(toml, metres),
        structures=_structures(toml, project["offsets"]),
        hold_reasons=tuple(toml.table("entry", ENTRY_KEYS)["hold_reasons"]),
        pours=read_pours(toml, activities, project["units"]),
    )


def _crs(toml: TomlFile, epsg: int) -> Crs | None:
    if epsg == 0:
        return None
    try:
        crs = pyproj.CRS.from_epsg(epsg)
    except CRSError:
        fix = "Look up the number of the job's coordinate system, as 26910 or 2225."
        toml.error(f"EPSG {epsg} is no coordinate system.", fix, "project", key="epsg")
        return None
    fault = _crs_fault(crs)
    if fault:
        fix = "Give the projected system in which stations are measured, as 26910 (m) or 2225 (ft)."
        toml.error(f"EPSG {epsg} ({crs.name}) {fault}.", fix, "project", key="epsg")
        return None
    return Crs(crs, float(crs.axis_info[0].unit_conversion_factor))


def _crs_fault(crs: pyproj.CRS) -> str:
    """Return what makes a coordinate system unfit for an alignment; blank if it is fit."""
    if crs.is_geographic:
        return "counts degrees; expected metres or feet"
    if not crs.is_projected:
        return "is no projected coordinate system"
    directions = {axis.direction for axis in crs.axis_info[:2]}
    if directions != {"east", "north"}:
        return f"has axes to the {' and '.join(sorted(directions))}; expected east and north"
    metres = crs.axis_info[0].unit_conversion_factor
    if not any(math.isclose(metres, known, rel_tol=1e-5) for known in (1.0, 0.3048)):
        return f"counts in {crs.axis_info[0].unit_name}; expected metres or feet"
    return ""


def _timezone(toml: TomlFile, name: str) -> ZoneInfo:
    if not name:
        return ZoneInfo("UTC")
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        near = nearest(name, available_timezones())
        fix = near or "Write a zone of the time-zone database, as America/Los_Angeles."
        toml.error(f"{name!r} is no time zone.", fix, "project", key="timezone")
        return ZoneInfo("UTC")


def _calendar(toml: TomlFile, start: dt.date) -> WorkCalendar | None:
    before = toml.findings.error_count()
    table = toml.table("calendar", CALENDAR_KEYS)
    lost, workdays = table["lost_days_per_month"], table["workdays"]
    if not FIRST_YEAR <= start.year <= LAST_YEAR:
        message = f"The job starts in the year {start.year}."
        toml.error(message, "Correct the year.", "project", key="start")
    if not workdays or len(set(workdays)) != len(workdays):
        message = f"The days worked are {', '.join(workdays) or 'none'}."
        toml.error(message, "Name each day that is worked once.", "calendar", key="workdays")
    if lost is not None:
        _check_lost_days(toml, lost, workdays)
    holidays = _holidays(toml, table["holidays"], start)
    if toml.findings.error_count() > before:
        return None
    lost_days = None if lost is None else tuple(float(days) for days in lost)
    days_off = tuple(sorted(set(table["days_off"])))
    return WorkCalendar(start, tuple(workdays), holidays, days_off, lost_days)


def _check_lost_days(toml: TomlFile, lost: list[float], workdays: list[str]) -> None:
    if len(lost) != 12:
        message = f"Found {len(lost)} numbers; expected 12."
        fix = "Give the working days lost in January … December."
    elif max(lost) >= 4 * len(workdays):
        message = f"{max(lost):g} lost days leave no working day in a month of four weeks."
        fix = "Give the working days lost, not all wet days."
    else:
        return
    toml.error(message, fix, "calendar", key="lost_days_per_month")


def _holidays(toml: TomlFile, code: str, start: dt.date) -> tuple[dt.date, ...]:
    if not code:
        return ()
    year = min(max(start.year, FIRST_YEAR), LAST_YEAR)
    try:
        return holidays_of(code, range(year - 1, year + YEARS_OF_HOLIDAYS))
    except InputError as unknown:
        for problem in unknown.problems:
            toml.error(problem.message, problem.fix, "calendar", key="holidays")
        return ()


def _activities(toml: TomlFile) -> tuple[Activity, ...]:
    tables = toml.tables("activity", ACTIVITY_KEYS)
    if not tables:
        toml.error("There is no activity.", "Add an [[activity]] for each trade.", "activity")
    toml.unique_keys("activity", tables)
    activities = [_activity(table) for table in tables]
    keys = [activity.key for activity in activities]
    before = toml.findings.error_count()
    for number, activity in enumerate(activities):
        for earlier in activity.after:
            if earlier not in keys:
                fix = nearest(earlier, keys) or f"Activities are {', '.join(keys)}."
                message = f"{activity.key} comes after {earlier!r}, which is no activity."
                toml.error(message, fix, "activity", number, "after")
    if toml.findings.error_count() > before or len(set(keys)) != len(keys):
        return tuple(activities)
    try:
        return in_working_order(activities)
    except ValueError as circle:
        fix = "Take one of these out of after, so that the work can begin somewhere."
        toml.error(f"{str(circle).capitalize()}.", fix, "activity", key="after")
        return tuple(activities)


def _activity(table: Table) -> Activity:
    return Activity(
        key=table["key"],
        name=table["name"] or table["key"].replace("_", " ").capitalize(),
        grain=table["grain"],
        measure=table["measure"],
        planned_cycle_days=float(table["planned_cycle"]),
        after=tuple(table["after"]),
        lag_days=table["lag_days"],
        calendar_days=table["calendar_days"],
        weather=table["weather"],
    )


def _headings(toml: TomlFile, tables: list[Table]) -> tuple[Heading, ...]:
    toml.unique_keys("heading", tables)
    heading_of: dict[str, str] = {}
    for number, table in enumerate(tables):
        if not table["units"] and table["key"]:
            toml.error("The heading has no unit.", "List its units.", "heading", number, "units")
        for unit in table["units"]:
            if unit in heading_of:
                message = f"Unit {unit!r} is already in heading {heading_of[unit]!r}."
                fix = "A unit is built once: keep it in one place of one heading."
                toml.error(message, fix, "heading", number, "units")
            heading_of.setdefault(unit, table["key"])
    return tuple(
        Heading(t["key"], tuple(t["units"]), t["falsework_sets"], t["turnaround_days"])
        for t in tables
    )


def _lines(toml: TomlFile, metres: float) -> tuple[LineStart, ...]:
    tables = toml.tables("alignment", ALIGNMENT_KEYS)
    toml.unique_keys("alignment", tables)
    return tuple(
        LineStart(
            key=table["key"],
            start_station_m=_start_station(toml, number, table["start_station"], metres) * metres,
            easting_m=table["easting"] * metres,
            northing_m=table["northing"] * metres,
            azimuth_deg=table["azimuth_deg"],
            row=toml.row("alignment", number),
        )
        for number, table in enumerate(tables)
    )


def _start_station(toml: TomlFile, number: int, given: float | str, metres: float) -> float:
    if not isinstance(given, str):
        return float(given)
    try:
        return parse_station(given, full_station(metres))
    except ValueError:
        fix = 'Write it as 1240.0 or "12+40.00".'
        toml.error(f"{given!r} is no station.", fix, "alignment", number, "start_station")
        return math.nan


def _structures(toml: TomlFile, offsets: OffsetRule) -> tuple[Structure, ...]:
    tables = toml.tables("structure", STRUCTURE_KEYS)
    toml.unique_keys("structure", tables)
    return tuple(
        Structure(
            key=table["key"],
            name=table["name"] or table["key"],
            alignment=table["alignment"],
            offsets=table["offsets"] or offsets,
            row=toml.row("structure", number),
        )
        for number, table in enumerate(tables)
    )
