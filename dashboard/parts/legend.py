"""The legend: what each colour, hatch and mark means, and what an outline means."""

from __future__ import annotations

from urllib.parse import quote

from dash import html

from dashboard.parts.map_view import UNSEEN
from dashboard.parts.palette import GROUND, LOOKS, Hatch, StatusLook

_HATCH_LINES: dict[Hatch, str] = {
    "none": "",
    "rising": "M-2 12 12-2M8 22 32-2M20 24 34 10",
    "crossed": "M-2 12 12-2M8 22 32-2M20 24 34 10M-2 8 14 24M2-2 24 20M18-2 34 14",
    "dots": "M4 4h2v2h-2zM14 4h2v2h-2zM24 4h2v2h-2zM9 14h2v2h-2zM19 14h2v2h-2zM29 14h2v2h-2z",
}


def swatch(look: StatusLook) -> html.Img:
    """Return a small picture of a status: fill, hatch and mark as on the map."""
    lines = _HATCH_LINES[look.hatch]
    paint = f'fill="{look.ink}"' if look.hatch == "dots" else f'stroke="{look.ink}" fill="none"'
    picture = (
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 32 22">'
        f'<rect width="32" height="22" fill="{look.fill}"/>'
        f'<path d="{lines}" {paint} stroke-width="1.6" opacity="0.8"/>'
        f'<circle cx="16" cy="11" r="9" fill="{look.fill}"/>'
        f'<path d="{look.mark}" transform="translate(9.5 4.5) scale(.81)" fill="{look.ink}" '
        'fill-rule="evenodd"/></svg>'
    )
    return html.Img(
        src="data:image/svg+xml," + quote(picture), alt="", className="swatch", height=22, width=32
    )


def status_words(look: StatusLook) -> html.Span:
    """Return a status as picture and words, for tables and histories."""
    return html.Span([swatch(look), look.words], className=f"status status-{look.status}")


def legend() -> html.Ul:
    """Return the legend of map and strip."""
    lag = html.Span(className="swatch-lag", **UNSEEN)
    chosen = html.Span(className="swatch-chosen", **UNSEEN)
    return html.Ul(
        [
            *(html.Li(status_words(look)) for look in LOOKS),
            html.Li(html.Span([lag, "Lags (outline)"], className="status")),
            html.Li(html.Span([chosen, "Selected unit"], className="status")),
        ],
        className="legend",
        style={"backgroundColor": GROUND.paper},
    )
