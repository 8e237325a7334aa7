"""From the folder's files to footprints: by alignment, bents and units, or ready-made."""

from __future__ import annotations

import difflib
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import accumulate
from pathlib import Path
from typing import NamedTuple

import geopandas as gpd
import pandas as pd

from model.alignment import Alignment
from model.exchange.findings import Findings, listed, nearest
from model.exchange.geopackage import read_footprints
from model.exchange.landxml import read_landxml
from model.exchange.line_files import (
    ALIGNMENT_FILE,
    BENTS_FILE,
    SAME_PLACE_M,
    UNITS_FILE,
    BentTable,
    UnitTable,
    read_alignments,
    read_bents,
    read_units,
)
from model.exchange.settings import FILE as PROJECT_FILE
from model.exchange.settings import Settings, Structure
from model.exchange.stationing import full_station, shown_station
from model.footprints import bent_problems, overlap_problems, span_frame, unit_frame

LANDXML_FILE = "alignment.xml"
FOOTPRINTS_FILE = "footprints.gpkg"


@dataclass(frozen=True)
class Geometry:
    """What the folder says about units and where they are.

    Parameters
    ----------
    units
        ``unit``, ``structure``, ``from_bent``, ``to_bent``, ``heading``; known even where no
        footprint can be drawn. None where no file names the units.
    file, rows
        Where the units were read, and the row of each.
    footprints
        Spans and units as ``Job`` has them; None where something is wrong.
    bents
        As ``BentTable.frame``; None for ready-made footprints.
    """

    units: pd.DataFrame | None
    file: str
    rows: Mapping[str, int]
    footprints: tuple[gpd.GeoDataFrame, gpd.GeoDataFrame] | None
    bents: pd.DataFrame | None


def read_geometry(folder: Path, settings: Settings, findings: Findings) -> Geometry:
    """Read alignment, bents and units, or ready-made footprints.

    Parameters
    ----------
    folder
        The project folder.
    settings
        What ``project.toml`` says.
    findings
        Where everything wrong is noted.

    Notes
    -----
    Where ``bents.csv`` is given the footprints are drawn from it, and ``footprints.gpkg`` is
    passed over with a warning.
    """
    if not (folder / BENTS_FILE).exists() and (folder / FOOTPRINTS_FILE).exists():
        return _ready_made(folder, settings, findings)
    if (folder / FOOTPRINTS_FILE).exists():
        findings.of(FOOTPRINTS_FILE).warning(
            f"It is passed over, for {BENTS_FILE} says where the spans are.",
            f"Remove {BENTS_FILE} to use ready-made footprints.",
        )
    return _drawn(folder, settings, findings)


def missing_file(folder: Path, name: str, fix: str, findings: Findings) -> None:
    """Note that a file is missing, with a file of the folder whose name is like it."""
    others = [path.name for path in folder.iterdir() if path.is_file()]
    like = difflib.get_close_matches(name, others, n=1, cutoff=0.7)
    hint = f"Is it {like[0]!r}? Then rename it." if like else fix
    findings.of(name).error("The file is missing.", hint)


def _ready_made(folder: Path, settings: Settings, findings: Findings) -> Geometry:
    before = findings.error_count()
    table = None
    if (folder / UNITS_FILE).exists():
        table = read_units(folder / UNITS_FILE, settings.structures, findings.of(UNITS_FILE))
    given = None
    if settings.crs is not None:
        layers = findings.of(FOOTPRINTS_FILE)
        frame = None if table is None else table.frame
        given = read_footprints(
            folder / FOOTPRINTS_FILE, settings.crs.crs, settings.metres_per_unit, layers, frame
        )
    if given is None:
        units, rows = (None, {}) if table is None else (table.frame, table.rows)
        return Geometry(units, UNITS_FILE, rows, None, None)
    spans, units = given
    findings.add(
        overlap_problems(spans, metres_per_crs_unit=settings.metres_per_unit, file=FOOTPRINTS_FILE)
    )
    sound = given if findings.error_count() == before else None
    if table is None:
        return Geometry(units.drop(columns="geometry"), FOOTPRINTS_FILE, {}, sound, None)
    return Geometry(table.frame, UNITS_FILE, table.rows, sound, None)


def _drawn(folder: Path, settings: Settings, findings: Findings) -> Geometry:
    before = findings.error_count()
    structures = settings.structures
    if not structures and settings.readable:
        fix = "Add a [[structure]] with its key and alignment."
        findings.of(PROJECT_FILE).error("There is no structure.", fix, field="structure")
    alignments = _read_lines(folder, settings, findings)
    on_line = _alignment_of(structures, alignments, findings) if alignments is not None else {}
    bents = units = None
    if (folder / BENTS_FILE).exists():
        found = findings.of(BENTS_FILE)
        bents = read_bents(folder / BENTS_FILE, structures, settings.metres_per_unit, found)
    else:
        fix = f"Add it, or ready-made footprints as {FOOTPRINTS_FILE}."
        missing_file(folder, BENTS_FILE, fix, findings)
    if (folder / UNITS_FILE).exists():
        units = read_units(folder / UNITS_FILE, structures, findings.of(UNITS_FILE))
    else:
        missing_file(folder, UNITS_FILE, "Add it: one row for each unit.", findings)
    if bents is not None and units is not None:
        check_units(units, bents, settings.metres_per_unit, findings.of(UNITS_FILE))
    footprints = None
    if alignments and bents and units and findings.error_count() == before and settings.crs:
        footprints = _footprints(alignments, on_line, bents, units, settings, findings)
    return Geometry(
        units.frame if units is not None else None,
        UNITS_FILE,
        units.rows if units is not None else {},
        footprints,
        bents.frame if bents is not None else None,
    )


def _read_lines(
    folder: Path, settings: Settings, findings: Findings
) -> dict[str, Alignment] | None:
    """Read the alignments; None where their file is missing or gives none, which is noted."""
    tabled, exchanged = folder / ALIGNMENT_FILE, folder / LANDXML_FILE
    if tabled.exists() and exchanged.exists():
        message = f"{ALIGNMENT_FILE} says where the line is, too."
        findings.of(LANDXML_FILE).error(message, "Keep one of the two.")
    if tabled.exists():
        metres, found = settings.metres_per_unit, findings.of(ALIGNMENT_FILE)
        if not settings.lines and settings.readable:
            fix = "Add an [[alignment]] with its start point and direction."
            findings.of(PROJECT_FILE).error("There is no alignment.", fix, field="alignment")
        return read_alignments(tabled, settings.lines, metres, found) or None
    if exchanged.exists():
        return read_landxml(exchanged, settings.metres_per_unit, findings.of(LANDXML_FILE)) or None
    fix = f"Add it, or the alignment as {LANDXML_FILE} (LandXML 1.2)."
    missing_file(folder, ALIGNMENT_FILE, fix, findings)
    return None


def _alignment_of(
    structures: Sequence[Structure], alignments: Mapping[str, Alignment], findings: Findings
) -> dict[str, str]:
    """Return the alignment of each structure; the only one there is where none is named."""
    found = findings.of(PROJECT_FILE)
    chosen = {}
    for structure in structures:
        key = structure.alignment
        if not key and len(alignments) == 1:
            key = next(iter(alignments))
        if key not in alignments:
            message = f"Structure {structure.key!r} follows alignment {key!r}, which is not given."
            fix = nearest(key, alignments) or f"Alignments are {listed(alignments) or 'none'}."
            found.error(message, fix, row=structure.row, field="structure.alignment")
            continue
        chosen[structure.key] = key
    return chosen


def check_units(
    units: UnitTable, bents: BentTable, metres_per_unit: float, findings: Findings
) -> None:
    """Note units that don't run from bent to bent, overlap, leave gaps or hold a hinge.

    Parameters
    ----------
    units, bents
        As read.
    metres_per_unit
        Metres in the files' unit of length.
    findings
        Of ``units.csv``.
    """
    extents = _extents(units, bents, findings)
    _check_hinges(extents, bents, findings)
    for structure in dict.fromkeys(extent.structure for extent in extents):
        own = [extent for extent in extents if extent.structure == structure]
        _check_neighbours(sorted(own, key=lambda e: e.from_m), metres_per_unit, findings)


class _Extent(NamedTuple):
    """From where to where a unit reaches, and its row in ``units.csv``."""

    unit: str
    structure: str
    from_m: float
    to_m: float
    row: int


def _extents(units: UnitTable, bents: BentTable, findings: Findings) -> list[_Extent]:
    """Return the units whose two ends are known and rise; note the others."""
    stations: dict[str, dict[str, float]] = {}
    columns = (bents.frame[name] for name in ("structure", "bent", "station_m"))
    for structure, bent, station in zip(*columns, strict=True):
        stations.setdefault(structure, {}).setdefault(bent, station)
    extents = []
    for unit, structure, from_bent, to_bent, _ in units.frame.itertuples(index=False):
        row, known = units.rows[unit], stations.get(structure, {})
        for field, bent in (("from_bent", from_bent), ("to_bent", to_bent)):
            if bent and structure and bent not in known:
                message = f"Bent {bent!r} is not in structure {structure!r} of {BENTS_FILE}."
                fix = nearest(bent, known) or f"Its bents are {listed(known) or 'none'}."
                findings.error(message, fix, row=row, field=field)
        begins, ends = (known.get(bent, math.nan) for bent in (from_bent, to_bent))
        if begins < ends:
            extents.append(_Extent(unit, structure, begins, ends, row))
        elif begins >= ends:
            message = f"Unit {unit} runs from bent {from_bent} back to bent {to_bent}."
            fix = (
                "Name the bent with the smaller station first; [[heading]] gives the order of work."
            )
            findings.error(message, fix, row=row, field="from_bent")
    return extents


def _check_hinges(extents: Sequence[_Extent], bents: BentTable, findings: Findings) -> None:
    for structure, hinges in bents.frame[bents.frame["kind"] == "hinge"].groupby("structure"):
        names, stations = hinges["bent"].to_numpy(), hinges["station_m"].to_numpy()
        for extent in (extent for extent in extents if extent.structure == structure):
            inside = names[
                (stations > extent.from_m + SAME_PLACE_M) & (stations < extent.to_m - SAME_PLACE_M)
            ]
            if inside.size:
                message = f"Hinge {listed(inside)} lies inside unit {extent.unit}."
                fix = "A hinge cuts the structure: end the unit there and begin the next."
                findings.error(message, fix, row=extent.row, field="to_bent")


def _check_neighbours(along: Sequence[_Extent], metres: float, findings: Findings) -> None:
    """Note where a unit begins before an earlier one ends, or leaves a gap after it."""
    full = full_station(metres)
    for before, unit in zip(accumulate(along, _farther), along[1:], strict=False):
        begins = shown_station(unit.from_m / metres, full)
        ends = shown_station(before.to_m / metres, full)
        if unit.from_m < before.to_m - SAME_PLACE_M:
            message = (
                f"Unit {unit.unit} begins at {begins}, before unit {before.unit} ends ({ends})."
            )
            fix = "Let each unit begin at the bent or hinge where its neighbour ends."
            findings.error(message, fix, row=unit.row, field="from_bent")
        elif unit.from_m > before.to_m + SAME_PLACE_M:
            message = f"No unit covers {ends} to {begins}, between {before.unit} and {unit.unit}."
            fix = "Add the unit between, or leave it if nothing is built there."
            findings.warning(message, fix, row=unit.row, field="from_bent")


def _farther(one: _Extent, other: _Extent) -> _Extent:
    return other if other.to_m > one.to_m else one


def _footprints(
    alignments: Mapping[str, Alignment],
    on_line: Mapping[str, str],
    bents: BentTable,
    units: UnitTable,
    settings: Settings,
    findings: Findings,
) -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame] | None:
    """Draw spans and units; None where they cannot be drawn or lie over one another."""
    before, metres = findings.error_count(), settings.metres_per_unit
    findings.add(
        bent_problems(alignments, on_line, bents.frame, rows=bents.rows, metres_per_unit=metres)
    )
    if findings.error_count() > before or settings.crs is None:
        return None
    spans = span_frame(alignments, on_line, bents.frame, units.frame, settings.crs.crs, metres)
    findings.add(overlap_problems(spans, metres_per_crs_unit=metres, rows=bents.rows))
    if findings.error_count() > before:
        return None
    return spans, unit_frame(spans, units.frame)
