"""Events as rows of plain text and back: what is typed is kept exactly as typed.

Every store keeps the same row, readable with any database tool: times as ISO 8601 text
(``at`` local, ``recorded_at`` UTC ending in ``Z``), quantities as the digits typed.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from decimal import Decimal
from functools import lru_cache
from sys import intern
from typing import Any, TypeAlias, cast

import numpy as np
import pandas as pd

from model.events import EVENT_COLUMNS, Event, Kind

Row: TypeAlias = tuple[Any, ...]
"""Values in the order of ``EVENT_COLUMNS``: ``seq`` is a whole number, the rest is text."""

TEXT = pd.StringDtype(na_value=np.nan)
"""The usual ``str`` of a frame."""

EVENT_ID = EVENT_COLUMNS.index("event_id")
SEQ = EVENT_COLUMNS.index("seq")
RECORDED_AT = EVENT_COLUMNS.index("recorded_at")
UNIT = EVENT_COLUMNS.index("unit")
VOIDS = EVENT_COLUMNS.index("voids")

_moment = dt.datetime.fromisoformat


@lru_cache(maxsize=8)  # a group of events is stamped with one moment
def utc_text(moment: dt.datetime) -> str:
    """Write an aware moment as UTC text that sorts by time.

    Examples
    --------
    >>> utc_text(dt.datetime(2026, 3, 2, 15, 4, tzinfo=dt.UTC))
    '2026-03-02T15:04:00.000000Z'
    """
    return moment.astimezone(dt.UTC).isoformat(timespec="microseconds")[: -len("+00:00")] + "Z"


def utc_moment(text: str) -> dt.datetime:
    """Read UTC text back as an aware moment."""
    return dt.datetime.fromisoformat(text)


def to_row(event: Event, seq: int, recorded_at: str) -> Row:
    """Write an event as a row."""
    return (
        event.event_id,
        seq,
        recorded_at,
        event.at.isoformat(timespec="microseconds"),
        event.by,
        event.unit,
        event.span,
        event.activity,
        event.kind,
        "" if event.quantity is None else str(event.quantity),
        event.measure_unit,
        event.reason,
        event.note,
        event.voids,
    )


def stamped(event: Event, seq: int, recorded_at: dt.datetime) -> Event:
    """Return an event with what the store adds; this is a hot path, and ``replace`` is slow."""
    return Event(
        event.at, event.by, event.unit, event.activity, event.kind, event.span, event.quantity,
        event.measure_unit, event.reason, event.note, event.voids, event.event_id, recorded_at, seq,
    )  # fmt: skip


def to_event(row: Row) -> Event:
    """Read a row back as an event."""
    # In the order of ``EVENT_COLUMNS``; plainly, for whole units are read inside a write.
    (event_id, seq, recorded_at, at, by, unit, span, activity, kind, quantity,
     measure_unit, reason, note, voids) = row  # fmt: skip
    return Event(
        _moment(at), intern(by), intern(unit), intern(activity), cast(Kind, intern(kind)),
        intern(span), Decimal(quantity) if quantity else None, intern(measure_unit), reason,
        note, voids, event_id, _moment(recorded_at), seq,
    )  # fmt: skip


def to_frame(rows: Sequence[Row]) -> pd.DataFrame:
    """Lay rows out as an event frame.

    Parameters
    ----------
    rows
        Rising by ``seq``.

    Returns
    -------
    DataFrame
        Columns ``EVENT_COLUMNS``; quantities as floats, NaN where blank.
    """
    columns = zip(*rows, strict=True) if rows else ((),) * len(EVENT_COLUMNS)
    arrays = {
        name: _array(name, values) for name, values in zip(EVENT_COLUMNS, columns, strict=True)
    }
    return pd.DataFrame(arrays, copy=False)


def _array(name: str, values: Sequence[Any]) -> Any:
    """Lay one column out; as an array, for a frame made of series costs ten times as much."""
    if name == "recorded_at":
        moments = np.array([text[:-1] for text in values], dtype="datetime64[us]")
        return pd.DatetimeIndex(moments).tz_localize("UTC").array
    if name == "at":
        return np.array(values, dtype="datetime64[us]")
    if name == "quantity":
        return np.array([float(text) if text else np.nan for text in values], dtype=np.float64)
    if name == "seq":
        return np.array(values, dtype=np.int64)
    return pd.array(values, dtype=TEXT)
