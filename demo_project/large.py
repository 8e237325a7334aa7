"""A very long invented viaduct and a log to match, for benchmarks.

Unlike the demo it does not try to look like a job: every unit takes the same time, so that
5,000 spans and 100,000 events are made in about a second. Lengths are metres, EPSG:26910.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from zoneinfo import ZoneInfo

import geopandas as gpd
import numpy as np
import pandas as pd

from model.activities import Activity, Heading
from model.alignment import Alignment, Element
from model.footprints import span_frame, unit_frame
from model.job import Job
from model.workdays import WorkCalendar

START = dt.date(2024, 3, 4)
ZONE = "America/Los_Angeles"
EPSG = 26910
EASTING_M, NORTHING_M, AZIMUTH_DEG = 380_000.0, 4_330_000.0, 20.0
SPAN_M, SPANS_A_UNIT, HEADINGS = 33.0, 3, 8
EDGES_M = {"E": (-3.0, -15.0), "W": (15.0, 3.0)}
SHIFTS_A_UNIT = 4
"""Shifts of each crew on each unit; the crews follow one another without a gap."""

ACTIVITIES: tuple[Activity, ...] = (
    Activity("falsework", "Falsework", "unit", "falsework", 4.0),
    Activity("bottom_slab_stems", "Bottom slab and stems", "unit", "concrete", 4.0, ("falsework",)),
    Activity("deck_forms", "Deck forms", "span", "formwork", 4.0, ("bottom_slab_stems",)),
    Activity("rebar", "Rebar", "span", "steel", 4.0, ("deck_forms",)),
    Activity("deck_pour", "Deck pour", "unit", "concrete", 4.0, ("rebar",)),
    Activity(
        "curing", "Curing", "unit", "none", 7.0, ("deck_pour",), calendar_days=True, weather=False
    ),
)

PLANNED_PER_M2: Mapping[str, float] = {
    "falsework": 1.0,
    "bottom_slab_stems": 0.38,
    "deck_forms": 1.0,
    "rebar": 34.0,
    "deck_pour": 0.19,
}
"""SI quantity for each square metre of deck."""

_BEND: tuple[Element, ...] = (
    Element("tangent", 700.0),
    Element("spiral", 120.0, radius_out_m=1500.0, turn="right"),
    Element("curve", 800.0, 1500.0, 1500.0, "right"),
    Element("spiral", 120.0, radius_in_m=1500.0, turn="right"),
    Element("tangent", 300.0),
    Element("spiral", 120.0, radius_out_m=1500.0, turn="left"),
    Element("curve", 800.0, 1500.0, 1500.0, "left"),
    Element("spiral", 120.0, radius_in_m=1500.0, turn="left"),
)


@dataclass(frozen=True)
class LargeTables:
    """The line of a large job: bents and units as ``footprints.span_frame`` takes them."""

    alignment: Alignment
    bents: pd.DataFrame
    units: pd.DataFrame


def large_tables(n_spans: int = 5000) -> LargeTables:
    """Lay out twin structures of ``n_spans`` spans in all.

    Parameters
    ----------
    n_spans
        Rounded up to whole units of three spans on both structures.
    """
    n_units = -(-n_spans // (2 * SPANS_A_UNIT))
    n_bents = n_units * SPANS_A_UNIT + 1
    length_m = n_bents * SPAN_M
    bends = int(length_m // sum(element.length_m for element in _BEND)) + 1
    line = Alignment("main", 0.0, EASTING_M, NORTHING_M, AZIMUTH_DEG, _BEND * bends)
    bents = pd.concat([_bents(key, n_bents) for key in EDGES_M], ignore_index=True)
    units = pd.concat([_units(key, n_units) for key in EDGES_M], ignore_index=True)
    return LargeTables(line, bents, units)


def _bents(structure: str, n_bents: int) -> pd.DataFrame:
    """Return the bents of one structure; units meet over bents, without hinges."""
    number = np.arange(1, n_bents + 1)
    left, right = EDGES_M[structure]
    kind = np.where((number == 1) | (number == n_bents), "abutment", "bent")
    return pd.DataFrame(
        {
            "structure": structure,
            "bent": number.astype(str),
            "station_m": number * SPAN_M,
            "kind": kind,
            "skew_deg": 15.0 * np.sin(number / 40.0),
            "left_m": left,
            "right_m": right,
        }
    )


def _units(structure: str, n_units: int) -> pd.DataFrame:
    """Return the units of one structure, shared evenly by its headings."""
    number = np.arange(n_units)
    own_headings = HEADINGS // len(EDGES_M)
    heading = number * own_headings // n_units + 1
    return pd.DataFrame(
        {
            "unit": [f"{structure}{unit + 1:04d}" for unit in number],
            "structure": structure,
            "from_bent": (number * SPANS_A_UNIT + 1).astype(str),
            "to_bent": ((number + 1) * SPANS_A_UNIT + 1).astype(str),
            "heading": [f"{structure}_{key}" for key in heading],
        }
    )


def large_job(n_spans: int = 5000) -> Job:
    """Return a job of ``n_spans`` spans on twin structures, in eight headings.

    Parameters
    ----------
    n_spans
        Rounded up to whole units of three spans on both structures.
    """
    tables = large_tables(n_spans)
    structures = dict.fromkeys(EDGES_M, "main")
    spans = span_frame(
        {"main": tables.alignment}, structures, tables.bents, tables.units, EPSG, 1.0
    )
    units = unit_frame(spans, tables.units)
    headings = tuple(
        Heading(str(key), tuple(own["unit"]))
        for key, own in tables.units.groupby("heading", sort=False)
    )
    return Job(
        name="A very long viaduct",
        units_system="us",
        timezone=ZoneInfo(ZONE),
        calendar=WorkCalendar(START),
        activities=ACTIVITIES,
        headings=headings,
        units=units,
        spans=spans,
        planned=_planned(units, spans),
    )


def _planned(units: gpd.GeoDataFrame, spans: gpd.GeoDataFrame) -> pd.DataFrame:
    """Return planned quantities in proportion to deck area, by what a crew finishes at a time."""
    parts = []
    for activity in ACTIVITIES:
        if activity.key not in PLANNED_PER_M2:
            continue
        rows = spans if activity.grain == "span" else units.assign(span="")
        amount = rows["area_m2"] * PLANNED_PER_M2[activity.key]
        parts.append(
            rows[["unit", "span"]].assign(
                activity=activity.key, planned_si=amount, planned_from="schedule"
            )
        )
    return pd.DataFrame(pd.concat(parts, ignore_index=True))


def write_large_folder(target: Path, n_spans: int = 5000) -> Path:
    """Write the large job as a project folder without a log.

    Parameters
    ----------
    target
        Folder to write to; made when it is not there.
    n_spans
        As in ``large_job``.
    """
    tables = large_tables(n_spans)
    target.mkdir(parents=True, exist_ok=True)
    (target / "project.toml").write_text(_project_toml(tables), encoding="utf-8")
    _csv(_alignment_table(tables.alignment), target / "alignment.csv")
    renamed = {"station_m": "station", "left_m": "left_offset", "right_m": "right_offset"}
    _csv(tables.bents.rename(columns=renamed), target / "bents.csv")
    _csv(tables.units, target / "units.csv")
    _csv(_quantities(large_job(n_spans)), target / "quantities.csv")
    return target


def _csv(table: pd.DataFrame, file: Path) -> None:
    table.to_csv(file, index=False, float_format="%.9g", lineterminator="\n")


def _alignment_table(line: Alignment) -> pd.DataFrame:
    """Return ``alignment.csv`` in metres."""
    rows = [
        (line.key, e.kind, e.length_m, _finite(e.radius_in_m), _finite(e.radius_out_m), e.turn)
        for e in line.elements
    ]
    columns = ["alignment", "element", "length", "radius_in", "radius_out", "turn"]
    return pd.DataFrame(rows, columns=columns)


def _finite(radius_m: float) -> float | None:
    return radius_m if np.isfinite(radius_m) else None


def _quantities(job: Job) -> pd.DataFrame:
    """Return ``quantities.csv`` in SI units."""
    units = {"falsework": "m2", "deck_forms": "m2", "rebar": "kg"}
    table = job.planned.rename(columns={"planned_si": "planned"}).drop(columns="planned_from")
    return table.assign(measure_unit=table["activity"].map(lambda key: units.get(key, "m3")))


def _project_toml(tables: LargeTables) -> str:
    """Return ``project.toml`` of the large job."""
    line = tables.alignment
    blocks = [
        '[project]\nname = "A very long viaduct"\n'
        f'epsg = {EPSG}\nunits = "us"\ntimezone = "{ZONE}"\nstart = {START}\n',
        '[calendar]\nworkdays = ["Mon", "Tue", "Wed", "Thu", "Fri"]\n',
    ]
    for activity in ACTIVITIES:
        after = ", ".join(f'"{key}"' for key in activity.after)
        blocks.append(
            f'[[activity]]\nkey = "{activity.key}"\nname = "{activity.name}"\n'
            f'grain = "{activity.grain}"\nmeasure = "{activity.measure}"\n'
            f"planned_cycle = {activity.planned_cycle_days:g}\nafter = [{after}]\n"
            f"calendar_days = {str(activity.calendar_days).lower()}\n"
            f"weather = {str(activity.weather).lower()}\n"
        )
    for key, own in tables.units.groupby("heading", sort=False):
        units = ", ".join(f'"{unit}"' for unit in own["unit"])
        blocks.append(f'[[heading]]\nkey = "{key}"\nunits = [{units}]\n')
    blocks.append(
        f'[[alignment]]\nkey = "{line.key}"\nstart_station = {line.start_station_m}\n'
        f"easting = {line.easting_m}\nnorthing = {line.northing_m}\n"
        f"azimuth_deg = {line.azimuth_deg}\n"
    )
    for key in EDGES_M:
        blocks.append(f'[[structure]]\nkey = "{key}"\nname = "{key}"\nalignment = "main"\n')
    return "\n".join(blocks)
