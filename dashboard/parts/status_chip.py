"""A status in a line of text: its mark, its colour and its words together."""

from __future__ import annotations

from urllib.parse import quote

from dash import html
from dash.development.base_component import Component

from dashboard.parts.palette import StatusLook, look_of
from model.events import Status


def mark_image(look: StatusLook, ink: str | None = None) -> str:
    """Return the mark of a status as the address of an SVG image.

    Parameters
    ----------
    look
        From ``palette.LOOKS``.
    ink
        Colour of the mark; by default the ink that goes on the status's own fill.
    """
    return drawn_mark(look.mark, ink or look.ink)


def drawn_mark(outline: str, ink: str) -> str:
    """Return a mark as the address of an SVG image.

    Parameters
    ----------
    outline
        SVG path in a box of 16 by 16, filled by the even-odd rule.
    ink
        Its colour.
    """
    svg = (
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 16 16">'
        f'<path fill-rule="evenodd" fill="{ink}" d="{outline}"/></svg>'
    )
    return f"data:image/svg+xml,{quote(svg)}"


def status_chip(status: Status) -> Component:
    """Return a status as a small chip of mark and words."""
    look = look_of(status)
    return html.Span(
        [html.Img(src=mark_image(look), alt="", className="chip-mark"), look.words],
        className="status-chip",
        style={"backgroundColor": look.fill, "color": look.ink},
    )
