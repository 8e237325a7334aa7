"""``[pour]`` of ``project.toml``: what pours usually go by, and ``[pour.ACTIVITY]`` where not."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from model.activities import Activity
from model.exchange.findings import listed, nearest
from model.exchange.project_keys import POUR_KEYS
from model.exchange.toml_file import Table, TomlFile
from model.pour_habits import JobPours, PourHabits
from model.units import UnitSystem, shown_unit, to_si

TABLE = "pour"


def read_pours(toml: TomlFile, activities: Sequence[Activity], system: UnitSystem) -> JobPours:
    """Read what pours usually go by.

    Parameters
    ----------
    toml
        The file, with the findings that note what is wrong with it.
    activities
        Of the job: only those that measure concrete are poured.
    system
        Units of the project, in which rates and loads are given.
    """
    usual, parts = toml.table_with_parts(TABLE, POUR_KEYS)
    for key in parts:
        _check_activity(toml, key, activities)
    of_activity = {key: _habits(table, system) for key, table in parts.items()}
    return JobPours(_habits(usual, system), of_activity)


def _check_activity(toml: TomlFile, key: str, activities: Sequence[Activity]) -> None:
    pours = [activity.key for activity in activities if activity.measure == "concrete"]
    if key in pours:
        return
    measure = next((activity.measure for activity in activities if activity.key == key), None)
    message = f"{key!r} is no activity." if measure is None else f"{key} measures {measure}."
    near = nearest(key, pours) if measure is None else ""
    fix = near or f"Activities that are poured are {listed(pours) or 'none'}."
    toml.error(message, fix, f"{TABLE}.{key}")


def _habits(table: Table, system: UnitSystem) -> PourHabits:
    unit = shown_unit("concrete", system)

    def in_si(amount: float | None) -> float | None:
        return None if amount is None else to_si(float(amount), unit)

    percent, start = table["allowance_percent"], table["start"]
    return PourHabits(
        rate_m3_per_h=in_si(table["rate"]),
        load_m3=in_si(table["load"]),
        round_trip_minutes=table["round_trip_minutes"],
        allowance=None if percent is None else percent / 100.0,
        start=None if start is None else dt.time.fromisoformat(start),
    )
