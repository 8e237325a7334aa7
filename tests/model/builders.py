"""Small jobs and events in one line, so that a test shows only what matters to it."""

from __future__ import annotations

import dataclasses
import datetime as dt
import itertools
from collections.abc import Sequence
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from model.activities import Activity, Heading
from model.events import EVENT_COLUMNS, Event, Kind
from model.job import Job
from model.units import UnitSystem
from model.workdays import WorkCalendar

START = dt.date(2026, 3, 2)
"""A Monday."""

NOW = dt.datetime(2027, 1, 4, 12, 0)
"""Later than anything a test records, unless the test says otherwise."""

SPAN_LENGTH_M = 40.0
DECK_WIDTH_M = 12.0

ACTIVITIES = (
    Activity("falsework", "Falsework", measure="falsework"),
    Activity("bottom_slab_stems", "Bottom slab and stems", measure="concrete",
             after=("falsework",)),
    Activity("deck_forms", "Deck forms", grain="span", measure="formwork",
             after=("bottom_slab_stems",)),
    Activity("rebar", "Rebar", grain="span", measure="steel", after=("deck_forms",)),
    Activity("deck_pour", "Deck pour", measure="concrete", after=("rebar",)),
    Activity("curing", "Curing", planned_cycle_days=7, after=("deck_pour",), calendar_days=True,
             weather=False),
)  # fmt: skip
"""The usual six; deck forms and rebar go span by span."""

_counter = itertools.count(1)


def only(*keys: str, **changes: Any) -> tuple[Activity, ...]:
    """Some of the usual activities, waiting for nothing that is left out."""
    kept = [activity for activity in ACTIVITIES if activity.key in keys]
    return tuple(
        dataclasses.replace(a, **{"after": tuple(k for k in a.after if k in keys), **changes})
        for a in kept
    )


def a_calendar(
    start: dt.date = START,
    workdays: tuple[str, ...] = ("Mon", "Tue", "Wed", "Thu", "Fri"),
    holidays: tuple[dt.date, ...] = (),
    days_off: tuple[dt.date, ...] = (),
    lost_days_per_month: tuple[float, ...] | None = None,
) -> WorkCalendar:
    """A five-day week from a Monday on."""
    return WorkCalendar(start, workdays, holidays, days_off, lost_days_per_month)


def a_job(
    units: int = 3,
    spans: int | Sequence[int] = 3,
    activities: tuple[Activity, ...] = ACTIVITIES,
    headings: int = 1,
    calendar: WorkCalendar | None = None,
    planned: Sequence[tuple[str, str, str, float]] = (),
    planned_from: str = "schedule",
    units_system: UnitSystem = "si",
    falsework_sets: int | None = None,
) -> Job:
    """A straight structure ``E`` of rectangular spans; units ``E01``, ``E02``, …

    ``spans`` is a number for all units or one for each; ``planned`` has rows of unit, span
    (blank for the whole unit), activity and SI quantity.
    """
    counts = [spans] * units if isinstance(spans, int) else list(spans)
    names = [f"E{number:02d}" for number in range(1, len(counts) + 1)]
    runs = [tuple(str(key) for key in run) for run in np.array_split(names, headings)]
    heading_of = {unit: f"h{number}" for number, run in enumerate(runs, 1) for unit in run}
    return Job(
        name="Test viaduct",
        units_system=units_system,
        timezone=ZoneInfo("America/Los_Angeles"),
        calendar=calendar or a_calendar(),
        activities=activities,
        headings=tuple(Heading(f"h{number}", run, falsework_sets)
                       for number, run in enumerate(runs, 1)),
        units=_unit_frame(names, counts, heading_of),
        spans=_span_frame(names, counts, heading_of),
        planned=pd.DataFrame(
            {
                "unit": pd.Series([row[0] for row in planned], dtype="str"),
                "span": pd.Series([row[1] for row in planned], dtype="str"),
                "activity": pd.Series([row[2] for row in planned], dtype="str"),
                "planned_si": pd.Series([row[3] for row in planned], dtype="float64"),
                "planned_from": pd.Series([planned_from] * len(planned), dtype="str"),
            }
        ),
    )  # fmt: skip


def an_event(
    kind: Kind = "start",
    at: str | dt.datetime = "2026-03-02 08:00",
    unit: str = "E01",
    activity: str = "falsework",
    span: str = "",
    **more: Any,
) -> Event:
    """One event; a quantity may be given as text or a number, ids count up."""
    if isinstance(at, str):
        at = dt.datetime.fromisoformat(at)
    if more.get("quantity") is not None:
        more["quantity"] = Decimal(str(more["quantity"]))
        more.setdefault("measure_unit", "m2")
    if isinstance(more.get("recorded_at"), str):
        more["recorded_at"] = dt.datetime.fromisoformat(more["recorded_at"]).replace(tzinfo=dt.UTC)
    more.setdefault("event_id", f"event-{next(_counter):06d}")
    more.setdefault("by", "R. Alder")
    if kind == "hold":
        more.setdefault("reason", "no forms")
    return Event(at=at, unit=unit, activity=activity, kind=kind, span=span, **more)


def done(
    activity: str,
    unit: str = "E01",
    start: str = "2026-03-02 07:00",
    finish: str = "2026-03-04 15:00",
    span: str = "",
) -> list[Event]:
    """The start and the finish of an activity."""
    return [
        an_event("start", start, unit, activity, span),
        an_event("finish", finish, unit, activity, span),
    ]  # fmt: skip


def a_frame(*events: Event) -> pd.DataFrame:
    """Events as a store returns them; each is recorded a second after the last."""
    first = dt.datetime(2026, 3, 2, tzinfo=dt.UTC)
    rows = []
    for seq, event in enumerate(events, 1):
        recorded = event.recorded_at or first + dt.timedelta(seconds=seq)
        quantity = float("nan") if event.quantity is None else float(event.quantity)
        rows.append({**{name: getattr(event, name) for name in EVENT_COLUMNS},
                     "seq": seq, "recorded_at": recorded, "quantity": quantity})  # fmt: skip
    text = dict.fromkeys(EVENT_COLUMNS, "str")
    types = {**text, "seq": "int64", "recorded_at": "datetime64[us, UTC]",
             "at": "datetime64[us]", "quantity": "float64"}  # fmt: skip
    return pd.DataFrame(rows, columns=list(EVENT_COLUMNS)).astype(types)


def _unit_frame(
    names: list[str], counts: list[int], heading_of: dict[str, str]
) -> gpd.GeoDataFrame:
    ends = np.cumsum([0, *counts])
    return _frame(names, None, heading_of, ends[:-1], ends[1:])


def _span_frame(
    names: list[str], counts: list[int], heading_of: dict[str, str]
) -> gpd.GeoDataFrame:
    units = list(np.repeat(names, counts))
    labels = [str(number) for count in counts for number in range(1, count + 1)]
    first = np.arange(sum(counts))
    return _frame([str(unit) for unit in units], labels, heading_of, first, first + 1)


def _frame(
    units: list[str],
    labels: list[str] | None,
    heading_of: dict[str, str],
    first_bent: np.ndarray,
    last_bent: np.ndarray,
) -> gpd.GeoDataFrame:
    from_m, to_m = first_bent * SPAN_LENGTH_M, last_bent * SPAN_LENGTH_M
    columns: dict[str, Any] = {"unit": units}
    if labels is not None:
        columns["span"] = labels
    columns |= {
        "structure": "E",
        "heading": [heading_of[unit] for unit in units],
        "from_bent": [str(bent + 1) for bent in first_bent],
        "to_bent": [str(bent + 1) for bent in last_bent],
        "from_station_m": from_m,
        "to_station_m": to_m,
        "length_m": to_m - from_m,
        "area_m2": (to_m - from_m) * DECK_WIDTH_M,
        "geometry": shapely.box(from_m + 550_000.0, 4_180_000.0, to_m + 550_000.0,
                                4_180_000.0 + DECK_WIDTH_M),
    }  # fmt: skip
    return gpd.GeoDataFrame(columns, crs="EPSG:26910")
