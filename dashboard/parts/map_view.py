"""The map and what is drawn over it, and the arrays it is fed with.

One figure is sent once. After that a change of activity or day, a hover and a selection are
the browser's work (``assets/view.js`` and its neighbours); the server is asked for a unit's
history and for entries, never for the map again.

Stores
------
``palette``
    ``palette.table()``.
``geometry-info``
    ``geometry_info(...)``: where the footprints are and what they are called.
``changes``
    ``changes_store(...)``: every change of a span's status, for the slider.
``numbers``
    ``numbers_store(...)``: the numbers on top, by activity and day.
``lag``
    ``lag_store(...)``: spans to outline, by activity, for one day.
``view``
    Written by the browser: ``{activity, day, heading, lag}``.
``selection``
    Written by the browser: ``{unit, span, open, opened}``; ``opened`` rises each time a unit's
    history is asked for.
``address``
    Written by the browser: the query (``?activity=…&as-of=…&unit=…``) that names what one
    sees, the same as in the address bar.
"""

from __future__ import annotations

import base64
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import plotly.graph_objects as go
from dash import ClientsideFunction, Dash, Input, Output, dcc, html
from numpy.typing import ArrayLike, DTypeLike

from dashboard.parts import palette
from dashboard.parts.attributes import aria
from model.activities import Activity
from model.units import UnitSystem, shown_length_unit

UNSEEN: dict[str, Any] = {"aria-hidden": "true"}
"""Attributes of a canvas, whose words a screen reader finds elsewhere."""

SPACE = "pourmap"
"""Name under which the browser's functions are kept."""


def stores(filled: Mapping[str, Any]) -> list[dcc.Store]:
    """Return every store the map and strip need.

    Parameters
    ----------
    filled
        What is in them from the start, by name; the others are empty.
    """
    names = ("geometry-info", "changes", "numbers", "lag", "view", "selection", "address")
    return [
        dcc.Store(id="palette", data=palette.table()),
        *(dcc.Store(id=name, data=filled.get(name)) for name in names),
    ]


def map_view(figure: go.Figure) -> html.Div:
    """Return the map with its canvas, scale bar, north arrow and buttons."""
    graph = dcc.Graph(
        id="map",
        figure=figure,
        responsive=True,
        config={"displayModeBar": False, "scrollZoom": True, "doubleClick": False},
        className="map-graph",
    )
    words: dict[str, Any] = {
        "aria-label": "Map of the viaduct. Left and right walk from span to span, up and down "
        "to the structure beside it, Enter opens a unit's history, plus and minus zoom, "
        "0 shows all.",
    }
    return html.Div(
        [
            graph,
            html.Canvas(className="map-paint", **UNSEEN),
            html.Div(className="hover-card", hidden=True),
            _scale_and_north(),
            zoom_buttons("map", "map"),
            html.P(id="map-note", className="map-note", role="status"),
        ],
        id="map-view",
        className="map-view",
        tabIndex=0,
        role="application",
        **words,
    )


def selection_words() -> html.P:
    """Return the line that tells a screen reader what is selected."""
    polite: dict[str, Any] = {"aria-live": "polite"}
    return html.P(id="selection-words", className="selection-words", **polite)


def _scale_and_north() -> html.Div:
    return html.Div(
        [
            html.Div("N", id="map-north", className="map-north", title="North"),
            html.Div(id="map-scale", className="map-scale"),
        ],
        className="map-measures",
    )


def zoom_buttons(prefix: str, what: str) -> html.Div:
    """Return zoom in, zoom out and show-all for the map or the strip."""
    named = (
        ("zoom-in", "+", "Zoom in on the"),
        ("zoom-out", "−", "Zoom out of the"),
        ("fit", "All", "Show all of the"),
    )
    buttons = []
    for name, sign, words in named:
        label: dict[str, Any] = {"aria-label": f"{words} {what}"}
        buttons.append(
            html.Button(
                sign, id=f"{prefix}-{name}", type="button", className="zoom-button", **label
            )
        )
    return html.Div(buttons, className="zoom-buttons")


def activity_choice(activities: Sequence[Activity], chosen: str) -> html.Div:
    """Return the row of buttons that picks the activity shown."""
    choice = dcc.RadioItems(
        id="activity",
        options=[{"label": activity.name, "value": activity.key} for activity in activities],
        value=chosen,
        className="choice-row",
    )
    return html.Div(choice, role="group", className="choice-group", **aria(label="Activity"))


def heading_choice(headings: Sequence[str], chosen: str = "") -> html.Div:
    """Return the row of buttons that zooms to one heading, or to all."""
    options = [{"label": "All headings", "value": ""}]
    options += [{"label": heading, "value": heading} for heading in headings]
    choice = dcc.RadioItems(id="heading", options=options, value=chosen, className="choice-row")
    return html.Div(choice, role="group", className="choice-group", **aria(label="Heading"))


def lag_choice(shown: bool) -> dcc.Checklist:
    """Return the switch for the outlines of lagging spans."""
    return dcc.Checklist(
        id="outlines",
        options=[{"label": "Outline what lags", "value": "lag"}],
        value=["lag"] if shown else [],
        className="switch-row",
    )


def day_slider(n_days: int, day: int) -> html.Div:
    """Return the *as of* slider, one step a day, with the day written beside it."""
    follows: dict[str, Any] = {"data-day-label": "yes"}
    return html.Div(
        [
            html.Label(
                ["As of ", html.Strong(className="day-label", **follows)],
                htmlFor="day",
                className="day-words",
            ),
            dcc.Input(
                id="day", type="range", min=0, max=n_days - 1, step=1, value=day, className="day"
            ),
        ],
        className="day-slider",
    )


def geometry_info(
    url: str, key: str, system: UnitSystem, structure_names: Mapping[str, str]
) -> dict[str, Any]:
    """Return the ``geometry-info`` store."""
    return {
        "url": url,
        "hash": key,
        "station_unit": shown_length_unit(system),
        "structure_names": dict(structure_names),
    }


def changes_store(
    key: str,
    days: ArrayLike,
    activities: Sequence[Activity],
    n_spans: int,
    changes: Mapping[str, ArrayLike],
) -> dict[str, Any]:
    """Pack every change of a status for the slider.

    Parameters
    ----------
    key
        Hash of the geometry document the span numbers belong to.
    days
        Dates of the slider, datetime64, one a step, rising.
    activities
        In working order; their places are the activity numbers.
    n_spans
        Number of spans.
    changes
        Arrays ``day`` (index in ``days``), ``span``, ``activity``, ``status`` (code), one
        entry a change, rising by day; of one day the later entry wins.
    """
    dates = np.asarray(days, dtype="datetime64[D]")
    return {
        "hash": key,
        "dates": dates.astype(str).tolist(),
        "labels": [f"{date:%a} {date.day} {date:%b %Y}" for date in dates.astype(object)],
        "activities": [{"key": a.key, "name": a.name} for a in activities],
        "n_spans": n_spans,
        "day": _packed(changes["day"], "<u2"),
        "span": _packed(changes["span"], "<u4"),
        "activity": _packed(changes["activity"], "u1"),
        "status": _packed(changes["status"], "u1"),
    }


def _packed(values: ArrayLike, dtype: DTypeLike) -> str:
    return base64.b64encode(np.asarray(values).astype(dtype).tobytes()).decode("ascii")


def numbers_store(key: str, series: Mapping[str, Mapping[str, Sequence[str]]]) -> dict[str, Any]:
    """Pack the numbers on top, each a text per day, so that only its changes travel.

    Parameters
    ----------
    key
        Hash of the geometry document.
    series
        By the name in an element's ``data-number``, then by activity key (``"*"`` where the
        number belongs to no one activity): one text a day of the slider.

    Examples
    --------
    >>> numbers_store("k", {"units": {"*": ["0", "0", "1"]}})["series"]["units"]["*"]
    {'at': [0, 2], 'text': ['0', '1']}
    """
    packed = {
        name: {activity: _changes_only(texts) for activity, texts in by_activity.items()}
        for name, by_activity in series.items()
    }
    return {"hash": key, "series": packed}


def _changes_only(texts: Sequence[str]) -> dict[str, list[Any]]:
    at = [day for day, text in enumerate(texts) if day == 0 or text != texts[day - 1]]
    return {"at": at, "text": [texts[day] for day in at]}


def number_by_day(name: str, activity: str | None = None) -> html.Span:
    """Return a number that follows the slider (and the activity, unless one is given)."""
    extra: dict[str, Any] = {"data-number": name} | (
        {"data-activity": activity} if activity else {}
    )
    return html.Span("–", className="number", **extra)


def lag_store(key: str, day: int, spans: Mapping[str, Sequence[int]]) -> dict[str, Any]:
    """Return the ``lag`` store: span numbers that lag, by activity, as of one day."""
    return {"hash": key, "day": day, "spans": {name: list(rows) for name, rows in spans.items()}}


def register(app: Dash) -> None:
    """Join the map's stores and controls in the browser; no call here reaches the server."""
    join: Any = app.clientside_callback
    fed_by = ("palette", "geometry-info", "changes", "numbers", "lag")
    join(
        ClientsideFunction(SPACE, "takeStores"),
        Output("map-note", "children"),
        *(Input(name, "data") for name in fed_by),
    )
    join(
        ClientsideFunction(SPACE, "showView"),
        Output("view", "data"),
        *(Input(name, "value") for name in ("activity", "day", "heading", "outlines")),
    )
    join(
        ClientsideFunction(SPACE, "writeAddress"),
        Output("address", "data"),
        Input("view", "data"),
        Input("selection", "data"),
    )
