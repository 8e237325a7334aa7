"""Days as they stand in an address or a form."""

from __future__ import annotations

import datetime as dt
import re

EARLIEST, LATEST = dt.date(1990, 1, 1), dt.date(2199, 12, 31)
"""A day outside is a slip of the hand."""


def read_day(text: str | None) -> dt.date | None:
    """Read a day, None when it is none.

    Examples
    --------
    >>> read_day("2026-07-31"), read_day("yesterday")
    (datetime.date(2026, 7, 31), None)
    """
    if not re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", text or ""):
        return None
    try:
        day = dt.date.fromisoformat(text or "")
    except ValueError:
        return None
    return day if EARLIEST <= day <= LATEST else None
