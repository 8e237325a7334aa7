"""Quantities of a pour as people read them, in the units of the project."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass

from model.clock import short_date
from model.pour_plan import Before, LoadSource, RateSource
from model.units import (
    PRINTED,
    WEATHER_PRINTED,
    UnitSystem,
    evaporation_from_kg_per_m2_h,
    from_si,
    shown_evaporation_unit,
    shown_length_unit,
    shown_unit,
    shown_wind_unit,
)

WHOLE_FROM = 100.0
"""From here on an amount is written without decimals."""

RATE_FROM: dict[RateSource, str] = {
    "given": "as given",
    "project": "as the project folder says",
    "recent_heading": "the middle of recent pours of this heading",
    "recent": "the middle of recent pours of all headings",
    "common_practice": "common practice, no source",
}
LOAD_FROM: dict[LoadSource, str] = {
    "given": "as given",
    "project": "as the project folder says",
    "common_practice": "common practice, no source",
}
STATUS_WORDS = {
    "not_started": "not started",
    "under_way": "under way",
    "on_hold": "on hold",
    "complete": "complete",
}


@dataclass(frozen=True, slots=True)
class Shown:
    r"""Turns SI into what a project's people read; None stays None.

    Parameters
    ----------
    system
        Units of the project.

    Examples
    --------
    >>> us = Shown("us")
    >>> us.volume_words(229.366457), us.area_words(1207.74), us.length_words(19.8)
    ('300\xa0yd³', '13,000\xa0ft²', '65\xa0ft')
    """

    system: UnitSystem

    @property
    def volume_unit(self) -> str:
        """Unit of concrete."""
        return shown_unit("concrete", self.system)

    @property
    def area_unit(self) -> str:
        """Unit of deck area."""
        return shown_unit("area", self.system)

    @property
    def length_unit(self) -> str:
        """Unit of lengths along the deck."""
        return shown_length_unit(self.system)

    @property
    def wind_unit(self) -> str:
        """Unit of wind."""
        return shown_wind_unit(self.system)

    @property
    def evaporation_unit(self) -> str:
        """Unit of evaporation."""
        return shown_evaporation_unit(self.system)

    def volume(self, volume_m3: float | None) -> float | None:
        """Return concrete, or concrete per hour."""
        return None if volume_m3 is None else from_si(volume_m3, self.volume_unit)

    def area(self, area_m2: float) -> float:
        """Return an area, or an area per hour."""
        return from_si(area_m2, self.area_unit)

    def length(self, length_m: float) -> float:
        """Return a length, or a length per hour."""
        return from_si(length_m, self.length_unit)

    def wind(self, wind_m_per_s: float) -> float | None:
        """Return a wind; None for one that no wind reaches."""
        return from_si(wind_m_per_s, self.wind_unit) if math.isfinite(wind_m_per_s) else None

    def evaporation(self, rate_kg_per_m2_h: float) -> float:
        """Return an evaporation rate."""
        return evaporation_from_kg_per_m2_h(rate_kg_per_m2_h, self.evaporation_unit)

    def volume_words(self, volume_m3: float) -> str:
        """Write an amount of concrete with its unit."""
        return f"{rounded(from_si(volume_m3, self.volume_unit))}\u00a0{PRINTED[self.volume_unit]}"

    def rate_words(self, m3_per_h: float) -> str:
        """Write a rate of placing with its unit."""
        return f"{self.volume_words(m3_per_h)}/h"

    def area_words(self, area_m2: float) -> str:
        """Write an area with its unit."""
        return f"{rounded(self.area(area_m2))}\u00a0{PRINTED[self.area_unit]}"

    def length_words(self, length_m: float) -> str:
        """Write a length with its unit."""
        return f"{rounded(self.length(length_m))}\u00a0{PRINTED[self.length_unit]}"

    def wind_words(self, wind_m_per_s: float) -> str:
        """Write a wind with its unit."""
        wind = from_si(wind_m_per_s, self.wind_unit)
        return f"{wind:.0f}\u00a0{WEATHER_PRINTED[self.wind_unit]}"


def rounded(amount: float) -> str:
    """Write an amount with a decimal where it matters.

    Examples
    --------
    >>> rounded(301.4), rounded(60.0), rounded(61.04), rounded(7.25)
    ('301', '60', '61', '7.2')
    """
    text = f"{amount:,.0f}" if amount >= WHOLE_FROM else f"{amount:.1f}"
    return text.removesuffix(".0")


def hours_words(hours: float) -> str:
    r"""Write hours as a clock counts them.

    Examples
    --------
    >>> hours_words(5.0), hours_words(5.26), hours_words(0.5)
    ('5\xa0h', '5\xa0h\xa016\xa0min', '30\xa0min')
    """
    whole, minutes = divmod(round(hours * 60.0), 60)
    parts = [f"{whole}\u00a0h"] if whole else []
    if minutes or not whole:
        parts.append(f"{minutes}\u00a0min")
    return "\u00a0".join(parts)


def moment_words(moment: dt.datetime) -> str:
    """Write a moment of this or the next season.

    Examples
    --------
    >>> moment_words(dt.datetime(2026, 11, 25, 6, 30))
    'Wed 25 Nov 06:30'
    """
    return f"{day_words(moment)} {moment:%H:%M}"


def until_words(end: dt.datetime, start: dt.datetime) -> str:
    """Write the end of a pour; its day only where it is not that of the start.

    Examples
    --------
    >>> start = dt.datetime(2026, 8, 4, 20, 30)
    >>> until_words(dt.datetime(2026, 8, 4, 23, 45), start)
    '23:45'
    >>> until_words(dt.datetime(2026, 8, 5, 1, 30), start)
    'Wed 5 Aug 01:30'
    """
    return f"{end:%H:%M}" if end.date() == start.date() else moment_words(end)


def day_words(day: dt.date) -> str:
    """Write a day of this or the next season.

    Examples
    --------
    >>> day_words(dt.date(2026, 11, 25))
    'Wed 25 Nov'
    """
    return f"{day:%a} {short_date(day)}"


def before_words(before: Before) -> str:
    """Write where work stands that comes before a pour.

    Examples
    --------
    >>> before_words(Before("rebar", "Rebar", "under_way", dt.datetime(2026, 11, 23, 7), "",
    ...                     ("2", "3")))
    'Rebar under way since Mon 23 Nov, left: spans 2, 3'
    """
    words = f"{before.name} {STATUS_WORDS[before.status]}"
    if before.since is not None:
        words += f" since {day_words(before.since)}"
    if before.reason:
        words += f" ({before.reason})"
    if before.spans_left and before.status != "not_started":
        some = "span" if len(before.spans_left) == 1 else "spans"
        words += f", left: {some} {', '.join(before.spans_left)}"
    return words
