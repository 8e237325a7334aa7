"""What the time–station chart says in words: its legend, and what stands by each box."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd

from dashboard.figures.chart_frame import as_text, day_words
from dashboard.parts.palette import look_of
from dashboard.parts.stations import station_words
from model.units import share_words
from model.workdays import days_words

IDLE_WORTH_DRAWING = 3
"""Working days; a crew that stands still for less is only between two units."""


def legend_entries(focus: str) -> list[tuple[str, str]]:
    """Return a style class and words for each thing the chart shows, in reading order."""
    if not focus:
        return [
            ("likely", "Projected finish in the crew's tone, as likely as not"),
            ("lag", "Lags"),
        ]
    return [
        ("complete", "Worked, complete"),
        ("under-way", "Under way"),
        ("on-hold", "On hold"),
        ("band", "10 to 90\u00a0% of projections"),
        ("likely", "Projected finish, as likely as not"),
        ("plan", "Planned finish"),
        ("lag", "Lags"),
        ("idle", f"Crew idle {IDLE_WORTH_DRAWING} working days or more"),
        ("overtakes", "Began before the work it follows"),
        ("others", "Other crews"),
    ]


def cell_words(row: Mapping[Any, Any], names: Mapping[str, str], length_unit: str) -> str:
    """Say everything about one unit and activity.

    Parameters
    ----------
    row
        Of ``model.time_station``.
    names
        Names of activities by key.
    length_unit
        ``"ft"`` or ``"m"``.
    """
    lines = [f"<b>{as_text(row['unit'])}</b> · {as_text(names[row['activity']])}"]
    stations = [station_words(row[f"{end}_station"], length_unit) for end in ("from", "to")]
    lines.append(f"{stations[0]} to {stations[1]}")
    words = look_of(row["status"]).words
    if row["status"] not in ("complete", "not_started"):
        words += f", {share_words(row['percent'] / 100)}"
    lines.append(words)
    if not pd.isna(row["started"]):
        lines.append(f"Started {day_words(row['started'])}")
    if not pd.isna(row["finished"]):
        lines.append(f"Finished {day_words(row['finished'])}")
    if not pd.isna(row["p50"]):
        lines.append(f"Likely finish {day_words(row['p50'])}")
        lines.append(f"80\u00a0% sure by {day_words(row['p80'])}")
    if not pd.isna(row["baseline"]):
        lines.append(f"Planned finish {day_words(row['baseline'])}")
    if not pd.isna(row["idle_days"]):
        lines.append(f"Crew idle before it: {days_words(row['idle_days'])}")
    return "<br>".join(lines)
