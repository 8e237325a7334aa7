"""How right old projections were, by how far ahead they looked."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from dash import html
from dash.development.base_component import Component

from dashboard.parts import frame
from model.backtest import RIVALS, Backtest
from model.units import share_words

HEADS = (
    "Units ahead", "Projections", "Inside 50\u00a0% band", "Inside 80\u00a0% band",
    "Off by, on average",
)  # fmt: skip


def horizon_table(found: Backtest) -> Component:
    """Return coverage and errors for each number of units ahead, beside the plain rivals."""
    rivals = [f"Off by: {name}" for name in RIVALS]
    return frame.titled_table(
        "By how far ahead was asked; errors in working days",
        (*HEADS, *rivals),
        [_row(row) for row in found.as_dict()["by_horizon"]],
        name="Past projections by how far ahead was asked",
    )


def _row(row: Mapping[str, Any]) -> Component:
    errors = [row["mean_abs_error_days"], *(row["rivals"][name] for name in RIVALS)]
    cells = [
        f"{row['projections']}",
        share_words(row["coverage_50"]),
        share_words(row["coverage_80"]),
        *("–" if error is None else f"{error:.1f}" for error in errors),
    ]
    return html.Tr(
        [
            html.Th(f"{row['units_ahead']}", scope="row"),
            *(html.Td(cell, className="figure") for cell in cells),
        ]
    )
