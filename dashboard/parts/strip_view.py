"""The straight-line strip: station along, one row an activity, every span a cell."""

from __future__ import annotations

from typing import Any

from dash import html

from dashboard.parts.map_view import UNSEEN, zoom_buttons


def strip_view() -> html.Div:
    """Return the strip; it is fed by the stores of ``map_view`` and needs nothing else."""
    words: dict[str, Any] = {
        "aria-label": "Strip along the stations. Left and right walk from span to span and on "
        "to the next structure, up and down change the activity, Enter opens a unit's history, "
        "plus and minus zoom, 0 shows all.",
    }
    strip = html.Div(
        [
            html.Canvas(className="strip-paint", **UNSEEN),
            html.Div(className="hover-card", hidden=True),
        ],
        id="strip-view",
        className="strip-view",
        tabIndex=0,
        role="application",
        **words,
    )
    head = html.Div(
        [html.H2("Along the stations"), zoom_buttons("strip", "strip")], className="strip-head"
    )
    return html.Div([head, strip], className="strip")
