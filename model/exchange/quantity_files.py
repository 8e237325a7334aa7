"""``quantities.csv`` and ``baseline.csv``: what the schedule plans, and by when."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np
import pandas as pd

from model.activities import Activity
from model.exchange.csv_file import CsvFile, read_csv
from model.exchange.findings import Findings, listed, nearest
from model.job import empty_baseline
from model.section_plan import empty_plan
from model.units import accepted_units, to_si

QUANTITIES_FILE = "quantities.csv"
BASELINE_FILE = "baseline.csv"
QUANTITY_COLUMNS = ("unit", "span", "activity", "planned", "measure_unit")
BASELINE_COLUMNS = ("unit", "activity", "planned_finish")


def read_quantities(
    path: Path,
    units: Sequence[str] | None,
    spans_of_unit: Mapping[str, Sequence[str]] | None,
    activities: Sequence[Activity],
    findings: Findings,
) -> pd.DataFrame:
    """Read the scheduled quantities.

    Parameters
    ----------
    path
        The existing file.
    units
        Units there are; None where they are not known.
    spans_of_unit
        Their spans; None where no footprint could be drawn.
    activities
        Their grain and measure.
    findings
        Where everything wrong is noted.

    Returns
    -------
    DataFrame
        Rows of ``Job.planned`` with ``planned_from`` ``"schedule"``; none where the file
        cannot be read.
    """
    table = read_csv(path, findings, needed=QUANTITY_COLUMNS)
    if table is None or not len(table):
        return empty_plan()
    by_key = {activity.key: activity for activity in activities}
    columns = {
        "unit": _units(table, units),
        "span": table.texts("span"),
        "activity": table.known("activity", list(by_key), "Activity", "project.toml"),
    }
    planned = table.numbers("planned", least=0.0)
    _check_spans(table, columns, spans_of_unit, by_key)
    table.unique(("unit", "span", "activity"), "Give each planned quantity once.")
    factors = _factors(table, columns["activity"], by_key)
    frame = pd.DataFrame({name: pd.Series(c, dtype="str") for name, c in columns.items()})
    return frame.assign(planned_si=planned * factors, planned_from="schedule")


def _units(table: CsvFile, units: Sequence[str] | None) -> list[str]:
    if units is None:
        return table.texts("unit", blank=False)
    return table.known("unit", dict.fromkeys(units), "Unit", "units.csv")


def _check_spans(
    table: CsvFile,
    columns: Mapping[str, Sequence[str]],
    spans_of_unit: Mapping[str, Sequence[str]] | None,
    by_key: Mapping[str, Activity],
) -> None:
    whole = {
        (unit, key)
        for unit, span, key in zip(*columns.values(), strict=True)
        if not span and unit and key
    }
    for row, unit, span, key in zip(table.rows, *columns.values(), strict=True):
        if not span or key not in by_key:
            continue
        spans = (spans_of_unit or {}).get(unit)
        if by_key[key].grain == "unit":
            message = f"{key} is finished by the unit, yet a span is given."
            fix = "Leave span blank and give the whole unit's quantity."
        elif spans is not None and span not in spans:
            message = f"Unit {unit} has no span {span!r}; its spans are {listed(spans)}."
            fix = "Correct the span, or leave it blank for the whole unit."
        elif (unit, key) in whole:
            message = f"{key} of unit {unit} is also planned for the whole unit."
            fix = "Give either the whole unit (span blank) or its spans."
        else:
            continue
        table.findings.error(message, fix, row=row, field="span")


def _factors(
    table: CsvFile, activities: Sequence[str], by_key: Mapping[str, Activity]
) -> np.ndarray:
    """Return the SI amount of one of each row's unit; not-a-number where it isn't accepted."""
    factors = np.full(len(table), np.nan)
    given = table.texts("measure_unit", blank=False)
    for place, (row, key, unit) in enumerate(zip(table.rows, activities, given, strict=True)):
        if not unit or key not in by_key:
            continue
        measure = by_key[key].measure
        accepted = accepted_units(measure)
        if unit in accepted:
            factors[place] = to_si(1.0, unit)
            continue
        if measure == "none":
            message = f"{key} measures nothing (measure = none), yet a quantity is planned."
            fix = "Set its measure in project.toml, or take the row out."
        else:
            message = f"{unit!r} is no unit of {measure}, which {key} measures."
            fix = nearest(unit, accepted) or f"Use one of {', '.join(accepted)}."
        table.findings.error(message, fix, row=row, field="measure_unit")
    return factors


def read_baseline(
    path: Path,
    units: Sequence[str] | None,
    activities: Sequence[Activity],
    findings: Findings,
) -> pd.DataFrame:
    """Read the baseline: when each unit was planned to finish each activity.

    Parameters
    ----------
    path
        The existing file.
    units
        Units there are; None where they are not known.
    activities
        The activities there are.
    findings
        Where everything wrong is noted.

    Returns
    -------
    DataFrame
        As ``Job.baseline``; without rows where the file cannot be read.
    """
    table = read_csv(path, findings, needed=BASELINE_COLUMNS)
    if table is None or not len(table):
        return empty_baseline()
    keys = [activity.key for activity in activities]
    frame = pd.DataFrame(
        {
            "unit": pd.Series(_units(table, units), dtype="str"),
            "activity": pd.Series(
                table.known("activity", keys, "Activity", "project.toml"), dtype="str"
            ),
            "planned_finish": table.dates("planned_finish").astype("datetime64[us]"),
        }
    )
    table.unique(("unit", "activity"), "Give each planned finish once.")
    return frame
