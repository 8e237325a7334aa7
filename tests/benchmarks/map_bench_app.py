"""The app that ``bench_map`` times: the real map and strip, and the ordinary figure beside them."""

from __future__ import annotations

import json
from dataclasses import dataclass
from types import SimpleNamespace
from typing import Any

import numpy as np
import plotly.graph_objects as go
from dash import Dash, Input, Output, Patch, dcc, html
from flask import Response

from dashboard.figures.base_map import base_map
from dashboard.parts import map_view, palette, strip_view
from model.activities import Activity
from model.exchange.geojson import footprints_document
from tests.benchmarks.long_viaduct import long_spans, random_changes

ACTIVITIES = [
    Activity("falsework", "Falsework"),
    Activity("bottom_slab_stems", "Bottom slab and stems"),
    Activity("deck_forms", "Deck forms"),
    Activity("rebar", "Rebar"),
    Activity("deck_pour", "Deck pour"),
    Activity("curing", "Curing"),
]
N_DAYS = 400
N_CHANGES = 100_000


@dataclass(frozen=True)
class BenchApp:
    """An app with the real screen at ``/`` and the ordinary figure at ``/?rival``."""

    app: Dash
    geometry_url: str
    geometry: bytes
    z: tuple[np.ndarray, np.ndarray]
    """Two states that differ in every span."""


def bench_app(n_spans: int) -> BenchApp:
    """Build the app for an invented viaduct of ``n_spans`` spans."""
    spans = long_spans(n_spans)
    document = footprints_document(SimpleNamespace(spans=spans, units_system="us"))
    url = f"/geometry/{document.hash}.geojson"
    plain = base_map(url, n_spans, tuple(spans.to_crs(4326).total_bounds.tolist()))
    draw = np.random.default_rng(2)
    first = draw.integers(0, 4, n_spans)
    z = (first, (first + draw.integers(1, 4, n_spans)) % 4)
    app = Dash(
        __name__,
        assets_folder="../../assets",
        assets_path_ignore=["^entry$"],  # modules of a page of its own
        suppress_callback_exceptions=True,
    )
    app.index_string = app.index_string.replace(
        "{%css%}", f"<style>{palette.css_variables()}</style>{{%css%}}"
    )
    cached = {"Cache-Control": "public, max-age=31536000, immutable"}
    app.server.add_url_rule(url, "geometry", lambda: Response(document.content, headers=cached))
    whole = _whole_figures(plain, json.loads(document.content), z)
    screens = {"": _ours(n_spans, url, document.hash, plain), "?rival": _rivals(whole[0])}
    app.layout = html.Div([dcc.Location(id="url"), html.Div(id="page")])
    app.callback(Output("page", "children"), Input("url", "search"))(
        lambda search: screens[search or ""]
    )
    _register_rivals(app, whole, z)
    map_view.register(app)
    return BenchApp(app, url, document.content, z)


def _ours(n_spans: int, url: str, key: str, plain: go.Figure) -> html.Div:
    changes = random_changes(n_spans, len(ACTIVITIES), N_DAYS, N_CHANGES)
    days = np.datetime64("2026-03-02") + np.arange(N_DAYS)
    filled = {
        "geometry-info": map_view.geometry_info(url, key, "us", {}),
        "changes": map_view.changes_store(key, days, ACTIVITIES, n_spans, changes),
    }
    return html.Div(
        [
            *map_view.stores(filled),
            map_view.activity_choice(ACTIVITIES, "falsework"),
            map_view.day_slider(N_DAYS, N_DAYS - 1),
            map_view.heading_choice(["east_1", "west_2"]),
            map_view.lag_choice(False),
            map_view.map_view(plain),
            map_view.selection_words(),
            strip_view.strip_view(),
        ]
    )


def _whole_figures(
    plain: go.Figure, geojson: dict[str, Any], z: tuple[np.ndarray, np.ndarray]
) -> list[go.Figure]:
    figures = []
    for state in z:
        figure = go.Figure(plain)
        figure.data[0].update(
            geojson=geojson,
            z=state,
            zmin=-0.5,
            zmax=3.5,
            colorscale=palette.colour_steps(),
            marker={"opacity": 1, "line": {"width": 1}},
        )
        figures.append(figure)
    return figures


def _rivals(figure: go.Figure) -> html.Div:
    return html.Div(
        [
            html.Button("whole", id="whole"),
            html.Button("patch", id="patch"),
            dcc.Graph(id="rival", figure=figure, style={"height": 380}),
        ]
    )


def _register_rivals(app: Dash, whole: list[go.Figure], z: tuple[np.ndarray, np.ndarray]) -> None:
    @app.callback(Output("rival", "figure"), Input("whole", "n_clicks"), prevent_initial_call=True)
    def send_whole(n: int) -> go.Figure:
        return whole[n % 2]

    @app.callback(
        Output("rival", "figure", allow_duplicate=True),
        Input("patch", "n_clicks"),
        prevent_initial_call=True,
    )
    def send_patch(n: int) -> Patch:
        answer = Patch()
        answer["data"][0]["z"] = z[n % 2].astype(np.uint8)
        return answer
