"""GeoPackage: footprints of spans and units with their coordinate system, and background.

Layers are ``spans`` and ``units``. Lengths and areas in their columns are SI whatever the
coordinate system counts, so each column carries its unit in its name.
"""

from __future__ import annotations

import contextlib
import uuid
from collections.abc import Mapping, Sequence
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pyproj
import shapely
from pyogrio.errors import DataLayerError, DataSourceError
from pyproj.exceptions import ProjError

from model.exchange.findings import Findings, listed, nearest
from model.job import Job
from model.problems import InputError

LAYERS: tuple[str, ...] = ("spans", "units")
UNIT_TEXTS = ("structure", "heading", "from_bent", "to_bent")
SPAN_COLUMNS = (
    "unit", "span", "structure", "heading", "from_bent", "to_bent",
    "from_station_m", "to_station_m", "length_m", "area_m2", "geometry",
)  # fmt: skip
UNIT_COLUMNS = tuple(column for column in SPAN_COLUMNS if column != "span")

WGS84 = "EPSG:4326"


def write_footprints(
    path: Path,
    job: Job,
    *,
    span_columns: Mapping[str, Sequence[object]] | None = None,
    unit_columns: Mapping[str, Sequence[object]] | None = None,
) -> None:
    """Write spans and units to a GeoPackage, replacing what was there.

    Parameters
    ----------
    path
        The file, ``.gpkg``. It appears whole or not at all.
    job
        The job as planned.
    span_columns, unit_columns
        Further columns, one value a row of ``job.spans`` and ``job.units``, such as statuses.
    """
    frames = {
        "spans": job.spans.assign(**dict(span_columns or {})),
        "units": job.units.assign(**dict(unit_columns or {})),
    }
    unfinished = path.with_name(f".{path.stem}-{uuid.uuid4().hex}.gpkg")
    try:
        for layer, frame in frames.items():
            frame.to_file(unfinished, layer=layer, driver="GPKG", engine="pyogrio")
        unfinished.replace(path)
    finally:
        with contextlib.suppress(FileNotFoundError):
            unfinished.unlink()


def statuses_by_activity(standing: pd.DataFrame) -> dict[str, list[str]]:
    """Turn one row a (place, activity) into one column of statuses an activity.

    Parameters
    ----------
    standing
        ``activity`` and ``status``; the places of every activity in the same order.

    Returns
    -------
    dict
        Column ``status_<activity>`` for each activity, one status a place.
    """
    by_activity = standing.groupby("activity", sort=False)["status"]
    return {f"status_{activity}": statuses.tolist() for activity, statuses in by_activity}


def read_footprints(
    path: Path,
    crs: pyproj.CRS,
    metres_per_unit: float,
    findings: Findings,
    units: pd.DataFrame | None = None,
) -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame] | None:
    """Read ready-made footprints.

    Parameters
    ----------
    path
        The existing file with layers ``spans`` and ``units``.
    crs
        The project's coordinate system; footprints in another are brought into it.
    metres_per_unit
        Metres in its unit.
    findings
        Where everything wrong is noted.
    units
        ``unit``, ``structure``, ``heading``, ``from_bent``, ``to_bent`` of ``units.csv``;
        where it is None the layer ``units`` must have ``unit``, ``structure`` and
        ``heading``.

    Returns
    -------
    (spans, units) or None
        As ``Job`` has them; None where something is wrong.

    Notes
    -----
    The layer ``spans`` needs ``unit`` and ``span``. Where stations are not given
    (``from_station_m`` and ``to_station_m``), spans are laid end to end along each structure
    in the order of the units, each as long as the long side of the rectangle around it; a
    warning says so.
    """
    before = findings.error_count()
    needed = {"spans": ("unit", "span"), "units": ("unit",)}
    if units is None:
        needed["units"] = ("unit", "structure", "heading")
    layers = {name: _layer(path, name, needed[name], crs, findings) for name in LAYERS}
    spans, given = layers["spans"], layers["units"]
    if spans is None or given is None:
        return None
    _check_keys(spans, ("unit", "span"), "spans", findings)
    _check_keys(given, ("unit",), "units", findings)
    described = _texts(given, UNIT_TEXTS) if units is None else units
    _check_same_units(spans, given, described, findings)
    if findings.error_count() > before:
        return None
    described = described.reset_index(drop=True)
    spans = _in_order(spans, described)
    spans = _with_stations(spans, metres_per_unit, findings)
    given = given.set_index("unit").loc[described["unit"]].reset_index()
    return spans, _unit_frame(given, described, spans, metres_per_unit)


def read_context(path: Path) -> dict[str, gpd.GeoDataFrame]:
    """Read the background layers in longitude and latitude (WGS 84).

    Parameters
    ----------
    path
        ``context.gpkg``.

    Returns
    -------
    dict
        Layers by name, in the order of the file; empty ones are left out.

    Raises
    ------
    InputError
        With everything that is wrong with it.
    """
    findings = Findings(path.name)
    layers = context_layers(path, findings)
    if findings.error_count():
        raise InputError(findings.problems)
    return layers


def context_layers(path: Path, findings: Findings) -> dict[str, gpd.GeoDataFrame]:
    """Read the background layers that can be used, and note what is wrong with the others."""
    layers = {}
    for name in _layer_names(path, findings):
        frame = _read(path, name, findings)
        if frame is None:
            continue
        frame = frame[~(frame.geometry.isna() | frame.geometry.is_empty)]
        if frame.crs is None:
            message = f"Layer {name} has no coordinate system."
            findings.error(message, "Save it with one.", field=name)
        elif len(frame):
            moved = _moved(frame, WGS84)
            if moved is None:
                message = f"Layer {name} cannot be brought to longitude and latitude."
                findings.error(message, "Check its coordinate system.", field=name)
            else:
                layers[name] = moved
    return layers


def _layer_names(path: Path, findings: Findings) -> list[str]:
    try:
        listing = pyogrio.list_layers(path)
    except (DataSourceError, OSError) as broken:
        findings.error(f"It is no GeoPackage ({broken}).", "Save it again as GeoPackage.")
        return []
    return [str(name) for name, kind in listing if kind is not None]


def _read(path: Path, layer: str, findings: Findings) -> gpd.GeoDataFrame | None:
    try:
        frame = gpd.read_file(path, layer=layer, engine="pyogrio", fid_as_index=True)
    except (DataSourceError, DataLayerError, OSError) as broken:
        findings.error(f"Layer {layer} cannot be read ({broken}).", "Save it again.", field=layer)
        return None
    return frame if isinstance(frame, gpd.GeoDataFrame) else None


def _layer(
    path: Path, name: str, needed: Sequence[str], crs: pyproj.CRS, findings: Findings
) -> gpd.GeoDataFrame | None:
    names = _layer_names(path, findings)
    if name not in names:
        if names or not findings.error_count():
            message = f"Layer {name} is missing; the file has {listed(names) or 'no layer'}."
            findings.error(message, nearest(name, names) or f"Add a layer {name}.", field=name)
        return None
    frame = _read(path, name, findings)
    if frame is None:
        message = f"Layer {name} has no geometry."
        findings.error(message, "Save it with its polygons.", field=name)
        return None
    missing = [column for column in needed if column not in frame.columns]
    for column in missing:
        message = f"Layer {name} has no column {column!r}."
        fix = nearest(column, [str(c) for c in frame.columns]) or "Add it."
        findings.error(message, fix, field=f"{name}.{column}")
    frame = _in_project_crs(frame, name, crs, findings)
    if missing or frame is None:
        return None
    return _polygons(frame, name, findings)


def _in_project_crs(
    frame: gpd.GeoDataFrame, name: str, crs: pyproj.CRS, findings: Findings
) -> gpd.GeoDataFrame | None:
    if frame.crs is None:
        message = f"Layer {name} has no coordinate system."
        findings.error(message, f"Save it in {crs.name}.", field=name)
        return None
    if frame.crs == crs or (frame.crs.to_epsg() or 0) == crs.to_epsg():
        return frame.set_crs(crs, allow_override=True)
    message = f"Layer {name} is in {frame.crs.name}, the project in {crs.name}; it was converted."
    fix = f"Save it in EPSG {crs.to_epsg()}, or correct epsg in project.toml."
    findings.warning(message, fix, field=name)
    moved = _moved(frame, crs)
    if moved is None:
        message = f"Layer {name} lies outside the area of {crs.name}."
        findings.error(message, "Check its coordinate system.", field=name)
        return None
    return moved


def _moved(frame: gpd.GeoDataFrame, crs: object) -> gpd.GeoDataFrame | None:
    """Return a layer in another coordinate system; None where it cannot be brought there."""
    try:
        moved = frame.to_crs(crs)
    except ProjError:
        return None
    return moved if np.isfinite(moved.total_bounds).all() else None


def _polygons(frame: gpd.GeoDataFrame, name: str, findings: Findings) -> gpd.GeoDataFrame | None:
    """Return the layer with each footprint one sound polygon, or note those that are none."""
    before = findings.error_count()
    geometry = frame.geometry.to_numpy().copy()
    single = (shapely.get_type_id(geometry) == 6) & (shapely.get_num_geometries(geometry) == 1)
    geometry[single] = shapely.get_geometry(geometry[single], 0)
    kinds = shapely.get_type_id(geometry)
    for place in np.flatnonzero((kinds != 3) | shapely.is_empty(geometry)):
        found = "nothing" if geometry[place] is None else geometry[place].geom_type
        message = f"Feature {frame.index[place]} of layer {name} is {found}; expected one polygon."
        fix = "Draw each span or unit as one polygon."
        findings.error(message, fix, row=int(frame.index[place]), field=f"{name}.geometry")
    for place in np.flatnonzero((kinds == 3) & ~shapely.is_valid(geometry)):
        reason = shapely.is_valid_reason(geometry[place])
        message = f"Feature {frame.index[place]} of layer {name} crosses itself ({reason})."
        findings.error(
            message,
            "Redraw it so that its edges don't cross.",
            row=int(frame.index[place]),
            field=f"{name}.geometry",
        )
    if findings.error_count() > before:
        return None
    return frame.set_geometry(gpd.GeoSeries(geometry, index=frame.index, crs=frame.crs))


def _key_text(value: str | float | None) -> str:
    """Return a key as text: a GIS may keep span 1 as the number 1 or 1.0."""
    if pd.isna(value):
        return ""
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return str(value).strip()


def _check_keys(
    frame: gpd.GeoDataFrame, columns: Sequence[str], layer: str, findings: Findings
) -> None:
    """Make the key columns text in place, and note blanks and repeats."""
    for column in columns:
        frame[column] = [_key_text(value) for value in frame[column]]
        for fid in frame.index[frame[column] == ""]:
            message = f"Feature {fid} of layer {layer} has no {column}."
            findings.error(message, "Fill it in.", row=int(fid), field=f"{layer}.{column}")
    repeated = frame.duplicated(list(columns)) & (frame[list(columns)] != "").all(axis=1)
    for fid, values in frame.loc[repeated, list(columns)].iterrows():
        named = ", ".join(f"{c} {v!r}" for c, v in values.items())
        message = f"Feature {fid} of layer {layer} repeats {named}."
        fix = "Give each its own name, and each span of a unit its own number."
        findings.error(message, fix, row=int(fid), field=f"{layer}.{columns[-1]}")


def _texts(frame: gpd.GeoDataFrame, columns: Sequence[str]) -> pd.DataFrame:
    texts = {
        c: [_key_text(v) for v in frame[c]] if c in frame.columns else [""] * len(frame)
        for c in ("unit", *columns)
    }
    return pd.DataFrame({name: pd.Series(column, dtype="str") for name, column in texts.items()})


def _check_same_units(
    spans: gpd.GeoDataFrame, given: gpd.GeoDataFrame, described: pd.DataFrame, findings: Findings
) -> None:
    expected = set(described["unit"])
    for layer, frame in (("spans", spans), ("units", given)):
        found = set(frame["unit"])
        for unit in described["unit"]:
            if unit and unit not in found:
                message = f"Layer {layer} has nothing of unit {unit!r}."
                fix = "Draw it, or take the unit out of units.csv."
                findings.error(message, fix, field=f"{layer}.unit")
        extra = frame[~frame["unit"].isin(expected) & (frame["unit"] != "")]
        for fid, unit in extra["unit"].items():
            message = f"Feature {fid} of layer {layer} is of unit {unit!r}, which is not known."
            fix = nearest(unit, expected) or f"Units are {listed(sorted(expected))}."
            findings.error(message, fix, row=int(fid), field=f"{layer}.unit")


def _in_order(spans: gpd.GeoDataFrame, described: pd.DataFrame) -> gpd.GeoDataFrame:
    """Put spans in the order of their units, and along each unit."""
    unit_row = pd.Index(described["unit"]).get_indexer(spans["unit"])
    number = pd.to_numeric(spans["span"], errors="coerce").fillna(np.inf).to_numpy()
    along = number
    if "from_station_m" in spans.columns and spans["from_station_m"].notna().all():
        along = spans["from_station_m"].to_numpy(dtype=np.float64)
    order = np.lexsort((spans["span"].to_numpy(dtype=str), along, unit_row))
    spans = spans.iloc[order].reset_index(drop=True)
    for column in ("structure", "heading"):
        spans[column] = described[column].to_numpy()[unit_row[order]]
    for column in ("from_bent", "to_bent"):
        known = spans[column] if column in spans.columns else [""] * len(spans)
        spans[column] = pd.Series([_key_text(value) for value in known], dtype="str")
    return spans


def _with_stations(spans: gpd.GeoDataFrame, metres: float, findings: Findings) -> gpd.GeoDataFrame:
    stations = ("from_station_m", "to_station_m")
    spans["area_m2"] = spans.geometry.area * metres**2
    given = all(c in spans.columns and pd.api.types.is_numeric_dtype(spans[c]) for c in stations)
    if given and (spans[stations[1]] > spans[stations[0]]).all():
        spans["length_m"] = spans["to_station_m"] - spans["from_station_m"]
        return gpd.GeoDataFrame(spans[list(SPAN_COLUMNS)], crs=spans.crs)
    message = "Stations are not given; spans are laid end to end in the order of the units."
    fix = "Add from_station_m and to_station_m (metres, rising) to layer spans."
    findings.warning(message, fix, field="spans.from_station_m")
    boxes = shapely.get_coordinates(shapely.oriented_envelope(spans.geometry.to_numpy()))
    corners = boxes.reshape(-1, 5, 2)
    sides = np.linalg.norm(np.diff(corners[:, :3], axis=1), axis=2)
    spans["length_m"] = sides.max(axis=1) * metres
    spans["to_station_m"] = spans.groupby("structure", sort=False)["length_m"].cumsum()
    spans["from_station_m"] = spans["to_station_m"] - spans["length_m"]
    return gpd.GeoDataFrame(spans[list(SPAN_COLUMNS)], crs=spans.crs)


def _unit_frame(
    given: gpd.GeoDataFrame, described: pd.DataFrame, spans: gpd.GeoDataFrame, metres: float
) -> gpd.GeoDataFrame:
    summed = spans.groupby("unit", sort=False).agg(
        from_station_m=("from_station_m", "min"),
        to_station_m=("to_station_m", "max"),
        length_m=("length_m", "sum"),
    )
    frame = described.join(summed, on="unit")
    frame["area_m2"] = given.geometry.area.to_numpy() * metres**2
    return gpd.GeoDataFrame(frame, geometry=given.geometry.to_numpy(), crs=spans.crs)[
        list(UNIT_COLUMNS)
    ]
