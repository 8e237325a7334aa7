"""The map before any status: footprints and background on a style that needs no network.

The figure is sent once. Footprints come from an address of their own, named by their content so
that a browser keeps them for ever; from then on statuses are drawn over the map in the browser
(``assets/map_view.js``) and no answer holds this figure again.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import plotly.graph_objects as go

from dashboard.parts.palette import GROUND

Bounds = tuple[float, float, float, float]
"""West, south, east, north in degrees."""

EMPTY_COLLECTION: dict[str, Any] = {"type": "FeatureCollection", "features": []}


def map_style(context_url: str | None = None) -> dict[str, Any]:
    """Return the map's style: plain ground, and water and lines if there is a background.

    Parameters
    ----------
    context_url
        Address of a GeoJSON whose polygons of a layer called ``water`` are water, other
        polygons ground of another kind, and lines roads or shores; None for plain ground.

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
            _areas("built", ["!=", ["get", "layer"], "water"], GROUND.built),
            _areas("water", ["==", ["get", "layer"], "water"], GROUND.water),
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
    n_spans: int,
    bounds_deg: Bounds,
    context_url: str | None = None,
    zoom: float | None = None,
) -> go.Figure:
    """Draw the viaduct's footprints in one quiet colour; statuses come on top in the browser.

    Parameters
    ----------
    geometry_url
        Address of the footprints, a GeoJSON whose feature *i* has the id *i*.
    n_spans, bounds_deg
        How many there are, and where.
    context_url
        Address of the background, if the project has one.
    zoom
        Zoom to open at; None fits a middling screen and the browser then fits its own.
    """
    west, south, east, north = bounds_deg
    footprints = go.Choroplethmap(
        geojson=geometry_url,
        featureidkey="id",
        locations=np.arange(n_spans, dtype=np.uint16 if n_spans <= 2**16 else np.uint32),
        z=np.zeros(n_spans, dtype=np.uint8),
        colorscale=[[0, GROUND.quiet_ink], [1, GROUND.quiet_ink]],
        showscale=False,
        hoverinfo="skip",
        marker={"opacity": 0.55, "line": {"width": 0}},
    )
    figure = go.Figure(footprints)
    figure.update_layout(
        template="none",
        margin={"l": 0, "r": 0, "t": 0, "b": 0},
        paper_bgcolor=GROUND.land,
        showlegend=False,
        uirevision="the map keeps the view a person chose",
        map={
            "style": map_style(context_url),
            "center": {"lon": (west + east) / 2, "lat": (south + north) / 2},
            "zoom": _fitting_zoom(bounds_deg) if zoom is None else zoom,
        },
    )
    return figure


def _fitting_zoom(bounds_deg: Bounds, width_px: float = 900.0) -> float:
    """Zoom at which the bounds fill ``width_px``; a world is 512 · 2^zoom pixels wide."""
    west, south, east, north = bounds_deg
    share = max(east - west, (north - south) / np.cos(np.radians((south + north) / 2)), 1e-4) / 360
    return float(np.log2(width_px / 512 / share))
