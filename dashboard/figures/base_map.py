"""The map before any status: footprints and background on a style that needs no network.

The figure is sent once. Footprints come from an address of their own (``GeometryDocument``),
named by their content so that a browser keeps them for ever; from then on statuses are drawn
over the map in the browser (``assets/map_view.js``) and no answer holds this figure again.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import plotly.graph_objects as go
import shapely

from dashboard.parts.palette import GROUND
from model.units import UnitSystem, from_si, shown_length_unit

DECIMALS_OF_DEGREE = 7
"""About a centimetre."""

EMPTY_COLLECTION: dict[str, Any] = {"type": "FeatureCollection", "features": []}


@dataclass(frozen=True, slots=True)
class GeometryDocument:
    """The footprints of every span as the browser fetches them, once.

    Parameters
    ----------
    key
        Hash of the content; every later array names it, so a mismatch is seen.
    body
        A GeoJSON FeatureCollection. Feature *i* has the id *i* and is entry *i* of every
        later array.
    n_spans
        Number of features.
    bounds_deg
        West, south, east, north in degrees.
    """

    key: str
    body: bytes
    n_spans: int
    bounds_deg: tuple[float, float, float, float]

    @property
    def path(self) -> str:
        """Last part of the address at which the document is served."""
        return f"{self.key}.geojson"


def geometry_document(spans: gpd.GeoDataFrame, system: UnitSystem) -> GeometryDocument:
    """Write the footprints for the browser.

    Parameters
    ----------
    spans
        The job's spans, in order, with the columns of ``Job.spans`` and a known CRS.
    system
        Units in which stations are shown.

    Returns
    -------
    GeometryDocument
        Coordinates in WGS 84, rounded to about a centimetre; stations in the shown unit.

    Notes
    -----
    Properties of a feature: ``unit``, ``span``, ``structure``, ``heading``, and ``from`` and
    ``to``, the stations of its ends rounded to a hundredth of the shown unit.
    """
    degrees = spans.to_crs(4326)
    outlines = shapely.transform(
        degrees.geometry.to_numpy(), lambda xy: np.round(xy, DECIMALS_OF_DEGREE)
    )
    stations = _shown_stations(spans, system)
    rows = zip(
        spans["unit"], spans["span"], spans["structure"], spans["heading"], *stations, strict=True
    )
    names = ("unit", "span", "structure", "heading", "from", "to")
    features = [
        {
            "type": "Feature",
            "id": i,
            "properties": dict(zip(names, row, strict=True)),
            "geometry": shapely.geometry.mapping(outline),
        }
        for i, (outline, row) in enumerate(zip(outlines, rows, strict=True))
    ]
    body = json.dumps(
        {"type": "FeatureCollection", "features": features}, separators=(",", ":")
    ).encode()
    west, south, east, north = (float(edge) for edge in degrees.total_bounds)
    key = hashlib.sha256(body).hexdigest()[:16]
    return GeometryDocument(key, body, len(features), (west, south, east, north))


def _shown_stations(spans: gpd.GeoDataFrame, system: UnitSystem) -> tuple[list[float], ...]:
    unit = shown_length_unit(system)
    columns = ("from_station_m", "to_station_m")
    return tuple(
        np.round(from_si(spans[column].to_numpy(dtype=float), unit), 2).tolist()
        for column in columns
    )


def map_style(context_url: str | None = None) -> dict[str, Any]:
    """Return the map's style: plain ground, and water and lines if there is a background.

    Parameters
    ----------
    context_url
        Address of a GeoJSON whose polygons with ``kind`` = ``"water"`` are water, other
        polygons built-up ground, and lines roads or shores; None for plain ground.

    Notes
    -----
    A style with no source at all is dropped on the way to the map and no later change is
    drawn, so an empty source stands in.
    """
    return {
        "version": 8,
        "sources": {"background": {"type": "geojson", "data": context_url or EMPTY_COLLECTION}},
        "layers": [
            {"id": "ground", "type": "background", "paint": {"background-color": GROUND.land}},
            _areas("water", ["==", ["get", "kind"], "water"], GROUND.water),
            _areas("built", ["!=", ["get", "kind"], "water"], GROUND.built),
            {
                "id": "lines",
                "type": "line",
                "source": "background",
                "paint": {"line-color": GROUND.shore, "line-width": 1.5},
            },
        ],
    }


def _areas(name: str, test: list[Any], colour: str) -> dict[str, Any]:
    return {
        "id": name,
        "type": "fill",
        "source": "background",
        "filter": ["all", ["==", ["geometry-type"], "Polygon"], test],
        "paint": {"fill-color": colour},
    }


def base_map(
    geometry_url: str,
    document: GeometryDocument,
    context_url: str | None = None,
    zoom: float | None = None,
) -> go.Figure:
    """Draw the viaduct's footprints in one quiet colour; statuses come on top in the browser.

    Parameters
    ----------
    geometry_url
        Address at which ``document`` is served.
    document
        The footprints.
    context_url
        Address of the background, if the project has one.
    zoom
        Zoom to open at; None fits a middling screen and the browser then fits its own.
    """
    west, south, east, north = document.bounds_deg
    footprints = go.Choroplethmap(
        geojson=geometry_url,
        featureidkey="id",
        locations=np.arange(document.n_spans, dtype=np.uint32),
        z=np.zeros(document.n_spans, dtype=np.uint8),
        colorscale=[[0, GROUND.quiet_ink], [1, GROUND.quiet_ink]],
        showscale=False,
        hoverinfo="skip",
        marker={"opacity": 0.55, "line": {"width": 0}},
    )
    figure = go.Figure(footprints)
    figure.update_layout(
        margin={"l": 0, "r": 0, "t": 0, "b": 0},
        paper_bgcolor=GROUND.land,
        showlegend=False,
        uirevision="the map keeps the view a person chose",
        map={
            "style": map_style(context_url),
            "center": {"lon": (west + east) / 2, "lat": (south + north) / 2},
            "zoom": _fitting_zoom(document.bounds_deg) if zoom is None else zoom,
        },
    )
    return figure


def _fitting_zoom(bounds_deg: tuple[float, float, float, float], width_px: float = 900.0) -> float:
    """Zoom at which the bounds fill ``width_px``; a world is 512 · 2^zoom pixels wide."""
    west, south, east, north = bounds_deg
    share = max(east - west, (north - south) / np.cos(np.radians((south + north) / 2)), 1e-4) / 360
    return float(np.log2(width_px / 512 / share))
