"""Tables of the report: a head that comes again on every page, rows that stay whole."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from reportlab.platypus import Table, TableStyle

from dashboard.report.paper import BAND, INK, RULE, words

Cell = Any
"""A text or a drawing."""


def table(
    heads: Sequence[Cell],
    rows: Sequence[Sequence[Cell]],
    widths: Sequence[float],
    *,
    right: Sequence[int] = (),
    size: float = 7.0,
) -> Table:
    """Return a table.

    Parameters
    ----------
    heads
        Titles of the columns.
    rows
        Texts, which break into lines where they are long, or drawings.
    widths
        Of the columns, points.
    right
        Columns of numbers.
    size
        Of the letters, points.
    """
    head = [
        words(cell, size - 0.4, bold=True, right=place in right) if isinstance(cell, str) else cell
        for place, cell in enumerate(heads)
    ]
    body = [
        [
            words(cell, size, bold=not place, right=place in right)
            if isinstance(cell, str)
            else cell
            for place, cell in enumerate(row)
        ]
        for row in rows
    ]
    made = Table([head, *body], colWidths=list(widths), repeatRows=1, hAlign="LEFT")
    made.setStyle(
        TableStyle(
            [
                ("VALIGN", (0, 0), (-1, -1), "MIDDLE"),
                ("VALIGN", (0, 0), (-1, 0), "BOTTOM"),
                ("BACKGROUND", (0, 0), (-1, 0), BAND),
                ("LINEBELOW", (0, 0), (-1, 0), 0.6, INK),
                ("LINEBELOW", (0, 1), (-1, -1), 0.3, RULE),
                ("LEFTPADDING", (0, 0), (-1, -1), 2.5),
                ("RIGHTPADDING", (0, 0), (-1, -1), 2.5),
                ("TOPPADDING", (0, 0), (-1, -1), 1.8),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 2.2),
            ]
        )
    )
    return made


def shares_of(width: float, *parts: float) -> list[float]:
    """Divide a width by parts of any size.

    Examples
    --------
    >>> shares_of(100.0, 1, 3)
    [25.0, 75.0]
    """
    return [width * part / sum(parts) for part in parts]
