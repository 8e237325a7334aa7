"""How right old projections were, by how far ahead they looked."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from dash import html
from dash.development.base_component import Component

from dashboard.parts import frame
from model.backtest import RIVALS, Backtest

HEADS = ("Units ahead", "Projections", "Inside 50% band", "Inside 80% band", "Off by, on average")


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
        f"{row['coverage_50']:.0%}",
        f"{row['coverage_80']:.0%}",
        *("–" if error is None else f"{error:.1f}" for error in errors),
    ]
    return html.Tr(
        [
            html.Th(f"{row['units_ahead']}", scope="row"),
            *(html.Td(cell, className="figure") for cell in cells),
        ]
    )
