"""The numbers that matter, one card each."""

from __future__ import annotations

from collections.abc import Sequence

from dash import html
from dash.development.base_component import Component

Words = str | Component | Sequence[str | Component]


def number_card(label: Words, value: Words, note: Words = "") -> Component:
    """Return a card: what it is, the number, and what to know about it.

    Parameters
    ----------
    label, value, note
        Texts or components.
    """
    return html.Div(
        [
            html.Span(label, className="label"),
            html.Span(value, className="value"),
            html.Span(note, className="note"),
        ],
        className="number-card",
    )
