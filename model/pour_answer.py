"""The answer to "what does the next pour need?", in the project's own units."""

from __future__ import annotations

import datetime as dt
import textwrap
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from model.drying import Drying, rate_words
from model.pour_cautions import cautions
from model.pour_plan import Before, Finishing, PourPlan
from model.pour_rate import PastPour
from model.pour_words import (
    LOAD_FROM,
    RATE_FROM,
    Shown,
    before_words,
    day_words,
    hours_words,
    moment_words,
    rounded,
    until_words,
)
from model.units import UnitSystem, share_words

LINE, INDENT = 88, 11
"""Letters on a line of the terminal, and where the text begins behind its title."""


@dataclass(frozen=True)
class PourAnswer:
    """What a pour needs, ready to be shown.

    Parameters
    ----------
    plan
        The pour, in SI; see ``PourPlan``.
    as_of, known_on
        Local moments: what was true then, and only what the log knew by then.
    system
        Units people read.
    """

    plan: PourPlan
    as_of: dt.datetime
    known_on: dt.datetime
    system: UnitSystem

    @property
    def shown(self) -> Shown:
        """What turns SI into the units people read."""
        return Shown(self.system)

    @cached_property
    def cautions(self) -> tuple[str, ...]:
        """What to look at before it, in plain sentences; never empty."""
        return cautions(self.plan, self.shown)

    def as_dict(self) -> dict[str, Any]:
        """Return what ``viaduct pour --json`` prints."""
        plan = self.plan
        return {
            "unit": plan.unit,
            "span": plan.span or None,
            "heading": plan.heading or None,
            "activity": plan.activity.key,
            "as_of": self.as_of.isoformat(timespec="minutes"),
            "known_on": self.known_on.isoformat(timespec="minutes"),
            "status": plan.status,
            "reason": plan.reason or None,
            "measure_unit": self.shown.volume_unit,
            **self._amounts(),
            **self._times(),
            **self._loads(),
            "finishing": _finishing(plan.finishing, self.shown),
            "drying": _drying(plan.drying, self.shown),
            "wet_until": plan.wet_until.isoformat() if plan.wet_until else None,
            "cure_days": plan.cure_days,
            "ready": plan.ready,
            "before": [_before(one) for one in plan.before],
            "not_before": plan.not_before.isoformat() if plan.not_before else None,
            "ahead": list(plan.ahead),
            "working_day": plan.working_day,
            "lost_day_chance": plan.lost_day_chance,
            "recent": [_recent(one, self.shown) for one in plan.recent],
            "cautions": list(self.cautions),
        }

    def _amounts(self) -> dict[str, Any]:
        concrete, volume = self.plan.concrete, self.shown.volume
        return {
            "planned": volume(concrete.planned_m3),
            "planned_from": concrete.planned_from or None,
            "placed": volume(concrete.placed_m3),
            "remaining": volume(concrete.remaining_m3),
            "volume": volume(concrete.volume_m3),
            "allowance_percent": 100.0 * concrete.allowance,
            "order": volume(concrete.order_m3),
        }

    def _times(self) -> dict[str, Any]:
        plan, band, volume = self.plan, self.plan.rate.band, self.shown.volume
        lately = plan.recent_band
        return {
            "rate": volume(plan.rate.m3_per_h),
            "rate_from": plan.rate.source,
            "rate_low": volume(band.low_m3_per_h) if band else None,
            "rate_high": volume(band.high_m3_per_h) if band else None,
            "recent_low": volume(lately.low_m3_per_h) if lately else None,
            "recent_high": volume(lately.high_m3_per_h) if lately else None,
            "hours": plan.hours,
            "hours_low": plan.hours_low,
            "hours_high": plan.hours_high,
            "start": _minute(plan.start),
            "start_from": plan.start_from,
            "end": _minute(plan.end),
            "end_late": _minute(plan.end_late),
        }

    def _loads(self) -> dict[str, Any]:
        plan, volume = self.plan, self.shown.volume
        return {
            "load": volume(plan.trucks.load_m3),
            "load_from": plan.trucks.source,
            "loads": plan.loads,
            "last_load": volume(plan.last_load_m3),
            "minutes_between_loads": plan.minutes_between_loads,
            "round_trip_minutes": plan.trucks.round_trip_minutes,
            "trucks": plan.trucks_needed,
        }

    def __str__(self) -> str:
        plan = self.plan
        where = f"{plan.unit} span {plan.span}" if plan.span else plan.unit
        heading = f" on {plan.heading}" if plan.heading else ""
        lines = [
            f"{plan.activity.name} of {where}{heading}, as of {moment_words(self.as_of)}",
            *(_wrapped(f"{title:<{INDENT - 1}} {text}") for title, text in self._paragraphs()),
            "",
            *(_wrapped(f"- {caution}", 2) for caution in self.cautions),
        ]
        return "\n".join(lines)

    def _paragraphs(self) -> Iterator[tuple[str, str]]:
        plan = self.plan
        yield "before", "; ".join(map(before_words, plan.before)) or "nothing"
        yield "concrete", self._concrete_words()
        yield "rate", self._rate_words()
        yield "time", self._time_words()
        yield "loads", self._load_words()
        if plan.finishing is not None:
            yield "finishing", self._finishing_words(plan.finishing)
        if plan.drying is not None:
            yield "drying", self._drying_words(plan.drying)
            yield from (("", one) for one in plan.drying.precautions)
        if plan.wet_until is not None:
            days = f"{plan.cure_days:g} calendar days"
            yield "cure", f"wet to the end of {day_words(plan.wet_until)} ({days})"

    def _concrete_words(self) -> str:
        concrete, words = self.plan.concrete, self.shown.volume_words
        said = [f"{words(concrete.placed_m3)} placed"]
        if concrete.planned_m3 is not None and concrete.remaining_m3 is not None:
            source = f" (from the {concrete.planned_from})" if concrete.planned_from else ""
            said.insert(0, f"{words(concrete.planned_m3)} planned{source}")
            said.append(f"{words(concrete.remaining_m3)} to place")
        if concrete.given_m3 is not None:
            said.append(f"{words(concrete.given_m3)} asked for")
        if concrete.order_m3 is not None:
            more = f" with {100 * concrete.allowance:g}\u00a0% more" if concrete.allowance else ""
            said.append(f"order {words(concrete.order_m3)}{more}")
        return ", ".join(said)

    def _rate_words(self) -> str:
        rate, words = self.plan.rate, self.shown.rate_words
        said = f"{words(rate.m3_per_h)}, {RATE_FROM[rate.source]}"
        band = self.plan.recent_band
        if band is None:
            return said
        number = len(self.plan.recent)
        said += f": {number} of them" if rate.band else f"; the last {number} pours went"
        return (
            f"{said} from {words(band.low_m3_per_h)} (slow) to {words(band.high_m3_per_h)} (quick)"
        )

    def _time_words(self) -> str:
        plan = self.plan
        said = f"from {moment_words(plan.start)}"
        if plan.hours is not None and plan.end is not None:
            said += f" to {until_words(plan.end, plan.start)}, {hours_words(plan.hours)}"
        if plan.hours_low is not None and plan.hours_high is not None and plan.end_late is not None:
            said += (
                f" ({hours_words(plan.hours_low)} to {hours_words(plan.hours_high)}; "
                f"if slow until {until_words(plan.end_late, plan.start)})"
            )
        day = "working day" if plan.working_day else "not a working day"
        if plan.lost_day_chance is not None:
            day += f", weather takes {share_words(plan.lost_day_chance)} of them in {plan.start:%B}"
        return f"{said}; {day}"

    def _load_words(self) -> str:
        plan, words = self.plan, self.shown.volume_words
        said = f"one every {rounded(plan.minutes_between_loads)} min"
        load = f"{words(plan.trucks.load_m3)} ({LOAD_FROM[plan.trucks.source]})"
        if plan.loads is None or plan.last_load_m3 is None:
            said = f"{load}, {said}"
        else:
            said = f"{plan.loads} of {load}, the last {words(plan.last_load_m3)}, {said}"
        if plan.trucks_needed is not None and plan.trucks.round_trip_minutes is not None:
            trip = f"{plan.trucks.round_trip_minutes:g} min"
            said += f"; {plan.trucks_needed} trucks with a round trip of {trip}"
        return said

    def _finishing_words(self, finishing: Finishing) -> str:
        shown = self.shown
        return (
            f"{shown.area_words(finishing.area_m2)} at "
            f"{shown.area_words(finishing.area_m2_per_h)}/h, "
            f"{shown.length_words(finishing.advance_m_per_h)}/h along the deck; a load covers "
            f"{shown.area_words(finishing.area_m2_per_load)}"
        )

    def _drying_words(self, drying: Drying) -> str:
        winds = [
            f"{level} from {self.shown.wind_words(wind)}"
            for level, wind in (
                ("watch", drying.wind_to_watch_m_per_s),
                ("act", drying.wind_to_act_m_per_s),
            )
            if self.shown.wind(wind) is not None
        ]
        said = f"{rate_words(drying.rate_kg_per_m2_h, self.system)}: {drying.level}"
        return f"{said}; {' and '.join(winds)} of wind" if winds else said


def _wrapped(text: str, indent: int = INDENT) -> str:
    return textwrap.fill(
        text, LINE, subsequent_indent=" " * indent, break_long_words=False, break_on_hyphens=False
    )


def _minute(moment: dt.datetime | None) -> str | None:
    return None if moment is None else moment.isoformat(timespec="minutes")


def _before(before: Before) -> dict[str, Any]:
    return {
        "activity": before.activity,
        "name": before.name,
        "status": before.status,
        "since": _minute(before.since),
        "reason": before.reason or None,
        "spans_left": list(before.spans_left),
    }


def _recent(pour: PastPour, shown: Shown) -> dict[str, Any]:
    return {
        "unit": pour.unit,
        "span": pour.span or None,
        "heading": pour.heading or None,
        "day": pour.day.isoformat(),
        "placed": shown.volume(pour.placed_m3),
        "hours": pour.hours,
        "placed_in_hours": shown.volume(pour.timed_m3),
        "rate": shown.volume(pour.rate_m3_per_h),
    }


def _finishing(finishing: Finishing | None, shown: Shown) -> dict[str, Any] | None:
    if finishing is None:
        return None
    return {
        "area": shown.area(finishing.area_m2),
        "area_unit": shown.area_unit,
        "area_per_hour": shown.area(finishing.area_m2_per_h),
        "area_per_load": shown.area(finishing.area_m2_per_load),
        "advance_per_hour": shown.length(finishing.advance_m_per_h),
        "length_unit": shown.length_unit,
    }


def _drying(drying: Drying | None, shown: Shown) -> dict[str, Any] | None:
    if drying is None:
        return None
    return {
        "rate": shown.evaporation(drying.rate_kg_per_m2_h),
        "menzel": shown.evaporation(drying.menzel_kg_per_m2_h),
        "rate_unit": shown.evaporation_unit,
        "level": drying.level,
        "wind_to_watch": shown.wind(drying.wind_to_watch_m_per_s),
        "wind_to_act": shown.wind(drying.wind_to_act_m_per_s),
        "wind_unit": shown.wind_unit,
        "precautions": list(drying.precautions),
    }
