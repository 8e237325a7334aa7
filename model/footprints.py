"""Spans and units in plan: alignment, bents and deck edges become frames of polygons.

Bents and hinges are rows of one table, each with its station, the skew of its line and the
offsets of the two deck edges. A unit runs from one row to another; the bents between cut it
into spans. Deck edges follow the curve of the alignment, their offsets varying evenly from
bent to bent. Neighbours share the two corners of their common bent exactly.

A curved edge is drawn with as many vertices as its length and curvature need to stay within
2 cm of the true curve: a span on a tangent has four corners and nothing more to send to a
browser, one of 50 m on a radius of 500 m has fourteen or sixteen.

Planning figures: areas and lengths are in plan, without cross slope, grade or grid scale.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import shapely
from numpy.typing import NDArray

from model.alignment import Alignment
from model.problems import Problem

Floats = NDArray[np.float64]
Rows = NDArray[np.intp]

CHORD_ERROR_M = 0.015
"""Middle ordinate that edges are drawn for; widening adds a little, 2 cm is never passed."""

CANTILEVER_SHARE = 0.3
"""A piece at a hinge shorter than this part of its neighbour is the neighbour's cantilever:
the hinge of a box girder lies near a bent and the short side is built with the span it is
held by (common practice, no source)."""

OVERLAP_TOLERANCE_M2 = 0.25
"""Smaller overlaps pass: footprints digitised to 2 cm overlap this much along a bent."""

MAX_SKEW_DEG = 75.0

SPAN_COLUMNS = (
    "unit",
    "span",
    "structure",
    "heading",
    "from_bent",
    "to_bent",
    "from_station_m",
    "to_station_m",
    "length_m",
    "area_m2",
)


class _BentLines(NamedTuple):
    """Where the bent lines meet the deck edges; one row per bent, two columns: left, right."""

    station_m: Floats
    offset_m: Floats
    x_m: Floats
    y_m: Floats


def span_frame(
    alignments: Mapping[str, Alignment],
    structures: Mapping[str, str],
    bents: pd.DataFrame,
    units: pd.DataFrame,
    crs: object,
    metres_per_crs_unit: float,
) -> gpd.GeoDataFrame:
    """Build the footprint of every span.

    Parameters
    ----------
    alignments
        By key.
    structures
        Key of the alignment each structure follows.
    bents
        ``structure``, ``bent``, ``station_m``, ``kind`` (``"abutment"``, ``"bent"`` or
        ``"hinge"``), ``skew_deg``, ``left_m``, ``right_m``. Skew is what the bent line is
        turned clockwise, seen from above, from square to the line. Offsets are signed,
        positive left, so ``left_m`` exceeds ``right_m``.
    units
        ``unit``, ``structure``, ``from_bent``, ``to_bent``, ``heading``; the order of rows
        is kept. ``from_bent`` comes first along the stations.
    crs
        Projected coordinate system of the result.
    metres_per_crs_unit
        Metres in its unit; coordinates are in that unit, all other columns in metres.

    Returns
    -------
    geopandas.GeoDataFrame
        One row per span as ``Job.spans`` describes. ``length_m`` is along the alignment,
        ``area_m2`` the area of the drawn polygon, each in plan.

    Raises
    ------
    ValueError
        When a bent is given twice or not at all, its structure isn't given, a unit doesn't
        run along rising stations, or ``metres_per_crs_unit`` is not what the coordinate
        system says.

    Notes
    -----
    Rows of a unit are the pieces between its interior bents. A hinge that lies at a unit's
    end inside a span leaves a short cantilever (see ``CANTILEVER_SHARE``), which belongs to
    the span beside it. All spans of an alignment are computed at once.

    Examples
    --------
    >>> from model.alignment import Element
    >>> line = Alignment("main", 0.0, 0.0, 0.0, 90.0, (Element("tangent", 100.0),))
    >>> bents = pd.DataFrame({"structure": "E", "bent": ["1", "2", "3"], "kind": "bent",
    ...     "station_m": [0.0, 40.0, 85.0], "skew_deg": 0.0, "left_m": 6.0, "right_m": -6.0})
    >>> units = pd.DataFrame({"unit": ["E1"], "structure": "E", "from_bent": "1",
    ...     "to_bent": "3", "heading": "east"})
    >>> spans = span_frame({"main": line}, {"E": "main"}, bents, units, "EPSG:26910", 1.0)
    >>> spans["area_m2"].round(6).tolist()
    [480.0, 540.0]
    """
    _check_unit_of(crs, metres_per_crs_unit)
    bents = bents.sort_values(["structure", "station_m"], kind="stable", ignore_index=True)
    unknown = set(bents["structure"]) - set(structures)
    if unknown:
        raise ValueError(f"bents of structures that are not given: {', '.join(sorted(unknown))}")
    unit_row, first, last = _span_bounds(bents, units)
    lines = _bent_lines(alignments, structures, bents)
    alignment_of = bents["structure"].map(structures).to_numpy()[first]
    polygons = np.empty(len(first), dtype=object)
    for key in pd.unique(alignment_of):
        here = alignment_of == key
        polygons[here] = _polygons(
            alignments[key], lines, first[here], last[here], metres_per_crs_unit
        )
    station_m = bents["station_m"].to_numpy(dtype=np.float64)
    names = bents["bent"].to_numpy()
    frame = units.iloc[unit_row][["unit", "structure", "heading"]].reset_index(drop=True)
    frame["span"] = (frame.groupby("unit", sort=False).cumcount() + 1).astype(str)
    frame["from_bent"], frame["to_bent"] = names[first], names[last]
    frame["from_station_m"], frame["to_station_m"] = station_m[first], station_m[last]
    frame["length_m"] = station_m[last] - station_m[first]
    frame["area_m2"] = shapely.area(polygons) * metres_per_crs_unit**2
    return gpd.GeoDataFrame(frame[list(SPAN_COLUMNS)], geometry=polygons, crs=crs)


def unit_frame(spans: gpd.GeoDataFrame, units: pd.DataFrame) -> gpd.GeoDataFrame:
    """Join the spans of each unit to the unit's footprint.

    Parameters
    ----------
    spans
        As ``span_frame`` returns.
    units
        ``unit``, ``structure``, ``from_bent``, ``to_bent``, ``heading``; every unit has
        spans.

    Returns
    -------
    geopandas.GeoDataFrame
        One row per unit as ``Job.units`` describes, in the order of ``units``. Lengths and
        areas are the sums of the spans'.
    """
    order = pd.Index(units["unit"])
    unit_row = order.get_indexer(spans["unit"])
    by_unit = spans.groupby(unit_row)
    summed = by_unit.agg(
        from_station_m=("from_station_m", "min"),
        to_station_m=("to_station_m", "max"),
        length_m=("length_m", "sum"),
        area_m2=("area_m2", "sum"),
    ).reindex(range(len(units)))
    frame = units[["unit", "structure", "heading", "from_bent", "to_bent"]].reset_index(drop=True)
    geometry = _joined(spans.geometry.to_numpy(), unit_row, len(units))
    return gpd.GeoDataFrame(frame.join(summed), geometry=geometry, crs=spans.crs)


def bent_problems(
    alignments: Mapping[str, Alignment],
    structures: Mapping[str, str],
    bents: pd.DataFrame,
    *,
    file: str = "bents.csv",
    rows: Mapping[tuple[str, str], int] | None = None,
    metres_per_unit: float = 1.0,
) -> list[Problem]:
    """Return bents from which no footprint can be drawn on their line.

    Parameters
    ----------
    alignments, structures, bents
        As for ``span_frame``.
    file, rows
        Where they were read: the row of each (structure, bent).
    metres_per_unit
        Metres in the file's unit of length, so that messages show what was typed.

    Notes
    -----
    Errors are a station off the line, deck edges in the wrong order, an edge at or past the
    centre of curvature and a skew over ``MAX_SKEW_DEG``.
    """
    problems = []
    for key, table in bents.groupby(bents["structure"].map(structures), sort=False):
        for field, bad, message, fix in _bent_faults(alignments[key], table, metres_per_unit):
            for structure, bent in table.loc[bad, ["structure", "bent"]].itertuples(index=False):
                row = (rows or {}).get((structure, bent))
                text = f"Bent {bent} of structure {structure} {message}"
                problems.append(Problem(file, text, fix, row, field))
    return problems


def overlap_problems(
    spans: gpd.GeoDataFrame,
    *,
    metres_per_crs_unit: float = 1.0,
    file: str = "bents.csv",
    rows: Mapping[tuple[str, str], int] | None = None,
) -> list[Problem]:
    """Return the footprints that fold over themselves or lie over one another.

    Neighbours of one structure and any two structures are tested alike, from the plan alone:
    heights are not known, so a structure that passes over another is reported too.

    Parameters
    ----------
    spans
        ``unit``, ``span`` and ``geometry``; ``structure`` and ``from_bent`` if there are
        ``rows``.
    metres_per_crs_unit
        Metres in the unit of the coordinates.
    file, rows
        Where they were read: the row of each (structure, bent).

    Returns
    -------
    list of Problem
        One for every folded span, and one for every two units whose overlap exceeds
        ``OVERLAP_TOLERANCE_M2``, with the size of it.
    """
    rows = rows or {}
    problems = []
    for span in spans[~shapely.is_valid(spans.geometry.to_numpy())].itertuples():
        message = f"The outline of unit {span.unit}, span {span.span} crosses itself."
        fix = "Check stations, skews and offsets of its two bents: their lines meet on the deck."
        problems.append(Problem(file, message, fix, _row_of(span, rows), "skew_deg"))
    for (one, other), pairs in overlaps(spans, metres_per_crs_unit).groupby(["unit", "with_unit"]):
        area = pairs["area_m2"].sum()
        where = ", ".join(f"{p.span} on {p.with_span}" for p in pairs.itertuples())
        within = f"Spans of unit {one}" if one == other else f"Units {one} and {other}"
        message = f"{within} lie over one another on {area:.1f} m² (spans {where})."
        fix = "Let each begin where the other ends, and keep decks side by side apart."
        row = _row_of(spans.iloc[pairs["row"].iloc[0]], rows)
        problems.append(Problem(file, message, fix, row, "station"))
    return problems


def overlaps(spans: gpd.GeoDataFrame, metres_per_crs_unit: float = 1.0) -> pd.DataFrame:
    """Return every two spans that lie over one another by more than the tolerance.

    Parameters
    ----------
    spans
        ``unit``, ``span`` and ``geometry``; spans that are no valid polygon are left out.
    metres_per_crs_unit
        Metres in the unit of the coordinates.

    Returns
    -------
    pandas.DataFrame
        ``unit``, ``span``, ``with_unit``, ``with_span``, ``area_m2`` and ``row`` (of the
        first in ``spans``), each two spans once.
    """
    polygons = spans.geometry.to_numpy()
    sound = np.flatnonzero(shapely.is_valid(polygons))
    tree = shapely.STRtree(polygons[sound])
    one, other = sound[tree.query(polygons[sound], predicate="intersects")]
    one, other = one[one < other], other[one < other]
    shared = shapely.intersection(polygons[one], polygons[other])
    area_m2 = shapely.area(shared) * metres_per_crs_unit**2
    over = area_m2 > OVERLAP_TOLERANCE_M2
    first, second = spans.iloc[one[over]], spans.iloc[other[over]]
    return pd.DataFrame(
        {
            "unit": first["unit"].to_numpy(),
            "span": first["span"].to_numpy(),
            "with_unit": second["unit"].to_numpy(),
            "with_span": second["span"].to_numpy(),
            "area_m2": area_m2[over],
            "row": one[over],
        }
    )


def _check_unit_of(crs: object, metres_per_crs_unit: float) -> None:
    expected = pyproj.CRS.from_user_input(crs).axis_info[0].unit_conversion_factor
    # US survey and international feet differ by 2 parts in a million: 4 m in a big easting.
    if not np.isclose(expected, metres_per_crs_unit, rtol=1e-9, atol=0.0):
        raise ValueError(
            f"the unit of {crs} is {expected!r} m, not {metres_per_crs_unit!r} m; "
            "give metres_per_crs_unit as the coordinate system has it"
        )


def _span_bounds(bents: pd.DataFrame, units: pd.DataFrame) -> tuple[Rows, Rows, Rows]:
    """Return for each span the row of its unit, and of its first and last bent.

    ``bents`` is sorted by structure and station.
    """
    begin, end = (_rows_of(bents, units, column) for column in ("from_bent", "to_bent"))
    if np.any(end <= begin):
        wrong = ", ".join(units["unit"].to_numpy()[end <= begin])
        raise ValueError(f"from_bent must come before to_bent along the stations in unit {wrong}")
    count = end - begin + 1
    unit_row = np.repeat(np.arange(len(units)), count)
    row = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count) + begin[unit_row]
    at_end = (row == begin[unit_row]) | (row == end[unit_row])
    hinge = bents["kind"].to_numpy() == "hinge"
    kept = at_end | ~hinge[row]
    unit_row, row, at_end = unit_row[kept], row[kept], at_end[kept]
    kept = ~_holds_a_cantilever(bents["station_m"].to_numpy()[row], hinge[row], at_end)
    unit_row, row = unit_row[kept], row[kept]
    same_unit = unit_row[1:] == unit_row[:-1]
    return unit_row[1:][same_unit], row[:-1][same_unit], row[1:][same_unit]


def _rows_of(bents: pd.DataFrame, units: pd.DataFrame, column: str) -> Rows:
    index = pd.MultiIndex.from_frame(bents[["structure", "bent"]])
    if not index.is_unique:
        twice = ", ".join(f"{s} {b}" for s, b in index[index.duplicated()].unique())
        raise ValueError(f"bents given twice: {twice}")
    rows: Rows = index.get_indexer(pd.MultiIndex.from_frame(units[["structure", column]]))
    if np.any(rows < 0):
        wrong = units.loc[rows < 0, ["unit", "structure", column]].itertuples(index=False)
        text = ", ".join(f"{unit} ({structure} {bent})" for unit, structure, bent in wrong)
        raise ValueError(f"{column} is no bent of the structure in unit {text}")
    return rows


def _holds_a_cantilever(
    station_m: Floats, hinge: NDArray[np.bool_], at_end: NDArray[np.bool_]
) -> NDArray[np.bool_]:
    """Tell the bents that only hold a cantilever towards a hinge at the unit's end."""
    inner = np.flatnonzero(~at_end)
    behind = station_m[inner] - station_m[inner - 1]
    ahead = station_m[inner + 1] - station_m[inner]
    to_hinge = at_end & hinge
    holds = np.zeros(len(station_m), dtype=bool)
    holds[inner] = (to_hinge[inner - 1] & (behind < CANTILEVER_SHARE * ahead)) | (
        to_hinge[inner + 1] & (ahead < CANTILEVER_SHARE * behind)
    )
    return holds


def _bent_lines(
    alignments: Mapping[str, Alignment], structures: Mapping[str, str], bents: pd.DataFrame
) -> _BentLines:
    offset_m = bents[["left_m", "right_m"]].to_numpy(dtype=np.float64)
    station_m, x_m, y_m = (np.empty_like(offset_m) for _ in range(3))
    bent_station_m = bents["station_m"].to_numpy(dtype=np.float64)[:, None]
    skew_rad = np.radians(bents["skew_deg"].to_numpy(dtype=np.float64))[:, None]
    alignment_of = bents["structure"].map(structures).to_numpy()
    for key in pd.unique(alignment_of):
        here, line = alignment_of == key, alignments[key]
        station_m[here] = edge_stations(line, bent_station_m[here], skew_rad[here], offset_m[here])
        x_m[here], y_m[here] = line.position(station_m[here], offset_m[here])
    return _BentLines(station_m, offset_m, x_m, y_m)


def edge_stations(
    alignment: Alignment, station_m: Floats, skew_rad: Floats, offset_m: Floats
) -> Floats:
    """Return the stations at which straight bent lines reach given offsets.

    Parameters
    ----------
    alignment
        The line.
    station_m, skew_rad
        Where the bent line crosses it [m], and its turn clockwise from square [rad].
    offset_m
        Offset to reach, positive left; any shape that fits [m].

    Returns
    -------
    station_m
        Stations of those points [m]; on a tangent station + offset × tan(skew).

    Notes
    -----
    Newton's method on the distance of the offset point from the bent line. It needs offsets
    short of the centre of curvature and a skew up to ``MAX_SKEW_DEG``.
    """
    x, y = alignment.position(station_m)
    bent_rad = alignment.heading_rad(station_m) + np.pi / 2.0 - skew_rad
    cos, sin = np.cos(bent_rad), np.sin(bent_rad)
    edge_m: Floats = station_m + offset_m * np.tan(skew_rad)
    for _ in range(20):
        edge_x, edge_y = alignment.position(edge_m, offset_m)
        miss_m = (edge_x - x) * sin - (edge_y - y) * cos
        bend = 1.0 - alignment.curvature_per_m(edge_m) * offset_m
        step_m = miss_m / (bend * np.sin(bent_rad - alignment.heading_rad(edge_m)))
        edge_m = edge_m - step_m
        if np.all(np.abs(step_m) < 1e-7):
            break
    return edge_m


def _polygons(
    alignment: Alignment, lines: _BentLines, first: Rows, last: Rows, metres_per_crs_unit: float
) -> NDArray[np.object_]:
    """Draw spans counter-clockwise: along the right edge, back along the left."""
    chords = _chords_needed(alignment, lines, first, last)
    per_ring = 2 * (chords + 1)
    span = np.repeat(np.arange(len(first)), per_ring)
    vertex = np.arange(len(span)) - np.repeat(np.cumsum(per_ring) - per_ring, per_ring)
    chord = chords[span]
    side = np.where(vertex > chord, 0, 1)
    share = np.where(side == 1, vertex, 2 * chord + 1 - vertex) / chord
    begin, end = (first[span], side), (last[span], side)
    station_m, offset_m = (
        (1.0 - share) * values[begin] + share * values[end]
        for values in (lines.station_m, lines.offset_m)
    )
    xy = np.stack(alignment.position(station_m, offset_m), axis=1)
    corners = np.stack([lines.x_m, lines.y_m], axis=-1)
    # Corners come from the bents' table, so that neighbours share them to the last bit.
    for at, bound in ((share == 0.0, begin), (share == 1.0, end)):
        xy[at] = corners[bound[0][at], bound[1][at]]
    rings = shapely.linearrings(xy / metres_per_crs_unit, indices=span)
    return np.asarray(shapely.polygons(rings), dtype=object)


def _chords_needed(alignment: Alignment, lines: _BentLines, first: Rows, last: Rows) -> Rows:
    """Return how many chords keep each span's edges close to their curves.

    A chord of length c leaves a curve of radius R by c²/(8R). Along an edge at offset o the
    chord is (1 − o/R) of the one along the line, and so is the radius.
    """
    begin_m, end_m = lines.station_m[first], lines.station_m[last]
    length_m = np.abs(end_m - begin_m).max(axis=1)
    touched_m = np.concatenate([begin_m, end_m], axis=1)
    bend = alignment.sharpest_per_m(touched_m.min(axis=1), touched_m.max(axis=1))
    offsets_m = np.concatenate([lines.offset_m[first], lines.offset_m[last]], axis=1)
    outer = 1.0 + bend * np.abs(offsets_m).max(axis=1)
    ordinate_m = length_m**2 * bend * outer / 8.0
    chords: Rows = np.maximum(np.ceil(np.sqrt(ordinate_m / CHORD_ERROR_M)), 1).astype(np.intp)
    return chords


def _joined(polygons: NDArray[np.object_], group: Rows, groups: int) -> NDArray[np.object_]:
    """Return the union of the polygons of each group."""
    order = np.argsort(group, kind="stable")
    bounds = np.searchsorted(group[order], np.arange(groups + 1))
    union = np.empty(groups, dtype=object)
    for index in range(groups):
        union[index] = shapely.union_all(polygons[order[bounds[index] : bounds[index + 1]]])
    return union


def _bent_faults(
    line: Alignment, table: pd.DataFrame, metres_per_unit: float
) -> list[tuple[str, NDArray[np.bool_], str, str]]:
    station_m = table["station_m"].to_numpy(dtype=np.float64)
    left_m, right_m = (table[c].to_numpy(dtype=np.float64) for c in ("left_m", "right_m"))
    bend = line.curvature_per_m(station_m)
    slack_m = 1e-6
    begin, end = (s / metres_per_unit for s in (line.start_station_m, line.end_station_m))
    after_start = station_m >= line.start_station_m - slack_m
    before_end = station_m <= line.end_station_m + slack_m
    return [
        (
            "station",
            ~(after_start & before_end),
            f"lies off alignment {line.key}, which runs from station {begin:g} to {end:g}.",
            "Correct the station, or lengthen the alignment.",
        ),
        (
            "left_offset",
            ~(left_m > right_m),
            "has its left deck edge on or to the right of its right one.",
            "Check both offsets and their signs.",
        ),
        (
            "left_offset",
            (bend * left_m >= 1.0) | (bend * right_m >= 1.0),
            "has a deck edge at or past the centre of the curve.",
            "Check the offsets and the radius of the alignment there.",
        ),
        (
            "skew_deg",
            ~(np.abs(table["skew_deg"].to_numpy(dtype=np.float64)) <= MAX_SKEW_DEG),
            f"has a skew over {MAX_SKEW_DEG:g} degrees.",
            "Give the skew from square to the line, 0 for a bent square to it.",
        ),
    ]


def _row_of(span: object, rows: Mapping[tuple[str, str], int]) -> int | None:
    if not rows:
        return None
    return rows.get((span.structure, span.from_bent))  # type: ignore[attr-defined]
