"""Footprints and background as GeoJSON in longitude and latitude, small enough to send.

References
----------
.. [1] RFC 7946, The GeoJSON Format: WGS 84, longitude first, outer rings counter-clockwise.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import shapely

from model.documents import Document
from model.exchange.geopackage import WGS84, read_context
from model.job import Job
from model.units import from_si, shown_length_unit

CONTEXT_FILE = "context.gpkg"

DECIMALS = 7
"""About a centimetre: 1e-7 degree of latitude is 11 mm."""


def footprints_document(job: Job) -> Document:
    """Return the span footprints as the browser fetches them, once.

    Parameters
    ----------
    job
        The job as planned.

    Returns
    -------
    Document
        A feature collection; feature *i* has the id *i* and is row *i* of ``job.spans``.
        Properties are ``unit``, ``span``, ``structure``, ``heading``, and ``from`` and
        ``to``, the stations of its ends in the project's units to a hundredth.
    """
    spans, unit = job.spans, shown_length_unit(job.units_system)
    columns = {name: spans[name].tolist() for name in ("unit", "span", "structure", "heading")}
    for name, column in (("from", "from_station_m"), ("to", "to_station_m")):
        columns[name] = np.round(from_si(spans[column].to_numpy(float), unit), 2).tolist()
    return _document(feature_collection(spans, columns))


def context_document(folder: Path) -> Document | None:
    """Return the background layers as one document; None where the folder has none.

    Parameters
    ----------
    folder
        The project folder; ``context.gpkg`` is read.

    Returns
    -------
    Document or None
        A feature collection whose features name their ``layer``, in the order of the file.

    Raises
    ------
    InputError
        With everything that is wrong with the file.
    """
    path = folder / CONTEXT_FILE
    if not path.exists():
        return None
    features = [
        feature
        for name, frame in read_context(path).items()
        for feature in feature_collection(
            frame, {"layer": [name] * len(frame), **_plain_columns(frame)}
        )["features"]
    ]
    return _document({"type": "FeatureCollection", "features": features})


def feature_collection(
    frame: gpd.GeoDataFrame, columns: Mapping[str, Sequence[object]], decimals: int = DECIMALS
) -> dict[str, Any]:
    """Return geometry and columns as a feature collection in WGS 84.

    Parameters
    ----------
    frame
        Geometry in any coordinate system; feature *i* has the id *i*.
    columns
        Properties by name, one value a row.
    decimals
        Digits of a degree kept.

    Examples
    --------
    >>> import geopandas as gpd, shapely
    >>> one = gpd.GeoDataFrame(geometry=[shapely.box(5e5, 4e6, 500040, 4000100)], crs=26910)
    >>> feature_collection(one, {})["features"][0]["geometry"]["coordinates"][0][0]
    [-122.9995554, 36.1447181]
    """
    geometries = shapely.force_2d(frame.to_crs(WGS84).geometry.to_numpy())
    rounded = shapely.transform(geometries, lambda xy: np.round(xy, decimals))
    wound = shapely.orient_polygons(rounded, exterior_cw=False)
    rows = zip(*columns.values(), strict=True) if columns else [()] * len(frame)
    features = [
        {
            "type": "Feature",
            "id": place,
            "properties": dict(zip(columns, row, strict=True)),
            "geometry": json.loads(text),
        }
        for place, (text, row) in enumerate(zip(shapely.to_geojson(wound), rows, strict=True))
    ]
    return {"type": "FeatureCollection", "features": features}


def _document(collection: Mapping[str, Any]) -> Document:
    return Document(json.dumps(collection, separators=(",", ":"), ensure_ascii=False).encode())


def _plain_columns(frame: gpd.GeoDataFrame) -> dict[str, list[object]]:
    """Return what JSON can hold of a background layer's columns; blanks become null."""
    columns = frame.drop(columns=frame.geometry.name)
    return {
        str(name): [_plain(value) for value in columns[name].tolist()] for name in columns.columns
    }


def _plain(value: object) -> object:
    if isinstance(value, float):
        return value if np.isfinite(value) else None
    return value if isinstance(value, str | int) else None


def bounds_deg(frame: gpd.GeoDataFrame) -> tuple[float, float, float, float]:
    """Return west, south, east and north of a frame in degrees (WGS 84)."""
    west, south, east, north = (float(edge) for edge in frame.to_crs(WGS84).total_bounds)
    return west, south, east, north
