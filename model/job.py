"""The job as planned: everything about it that is not in the log."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from zoneinfo import ZoneInfo

import geopandas as gpd
import pandas as pd

from model.activities import Activity, Heading
from model.hold_reasons import HOLD_REASONS
from model.pour_habits import JobPours
from model.units import UnitSystem
from model.workdays import WorkCalendar


def empty_baseline() -> pd.DataFrame:
    """Return a baseline without rows, with its columns and types."""
    return pd.DataFrame(
        {
            "unit": pd.Series(dtype="str"),
            "activity": pd.Series(dtype="str"),
            "planned_finish": pd.Series(dtype="datetime64[us]"),
        }
    )


@dataclass(frozen=True)
class Job:
    """One viaduct job as its project folder describes it.

    Parameters
    ----------
    name
        Shown on screens.
    units_system
        ``"us"`` or ``"si"``: what screens and ``--json`` show.
    timezone
        Zone in which ``Event.at`` is local.
    calendar
        Working days; ``calendar.start`` is the first working day.
    activities
        In working order.
    headings
        In the order of ``project.toml``.
    units
        One row per unit, index 0…U−1, in the order of ``units.csv``. Columns ``unit``,
        ``structure``, ``heading``, ``from_bent``, ``to_bent``, ``from_station_m``,
        ``to_station_m``, ``length_m``, ``area_m2``, ``geometry`` (project CRS).
    spans
        One row per span, index 0…S−1, grouped by unit in the order of ``units`` and rising
        along each unit. The same columns as ``units`` and ``span`` (``"1"``, ``"2"``, …
        within the unit).
    planned
        One row per planned quantity: ``unit``, ``span`` (blank = whole unit), ``activity``,
        ``planned_si`` (SI unit of the activity's measure), ``planned_from`` (``"schedule"``
        or ``"section"``).
    baseline
        ``unit``, ``activity``, ``planned_finish`` (datetime64, midnight); may be empty.
    structure_names
        Words shown for each structure's key.
    hold_reasons
        What shift entry offers when work is put on hold.
    pours
        What pours usually go by.
    """

    name: str
    units_system: UnitSystem
    timezone: ZoneInfo
    calendar: WorkCalendar
    activities: tuple[Activity, ...]
    headings: tuple[Heading, ...]
    units: gpd.GeoDataFrame
    spans: gpd.GeoDataFrame
    planned: pd.DataFrame
    baseline: pd.DataFrame = field(default_factory=empty_baseline)
    structure_names: Mapping[str, str] = field(default_factory=dict)
    hold_reasons: tuple[str, ...] = HOLD_REASONS
    pours: JobPours = field(default_factory=JobPours)

    @cached_property
    def activity_by_key(self) -> dict[str, Activity]:
        """Activities by their key."""
        return {activity.key: activity for activity in self.activities}

    @cached_property
    def heading_of_unit(self) -> dict[str, str]:
        """Heading key of each unit."""
        return {unit: heading.key for heading in self.headings for unit in heading.units}

    @cached_property
    def spans_of_unit(self) -> dict[str, tuple[str, ...]]:
        """Span keys of each unit, rising along it."""
        grouped = self.spans.groupby("unit", sort=False)["span"]
        return {str(unit): tuple(spans) for unit, spans in grouped}
