"""What to look at before a pour, in plain sentences.

Planning figures only: none of this takes the place of the engineer of record.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from model.drying import Level
from model.pour_plan import PourPlan
from model.pour_rate import FEWEST_POURS
from model.pour_words import Shown, before_words, day_words
from model.units import share_words

LONG_HOURS = 10.0
"""A pour that is not done within so many hours asks for a second crew or light (common practice,
no source)."""

NOTEWORTHY_CHANCE = 0.1
"""A smaller chance of losing the day is not said as a caution (our choice)."""

OFF_PLAN = 0.1
"""A volume given that is so far off what remains may be a slip (our choice)."""

SMALL_LOAD = 0.25
"""A last load of less than this share of a full one is worth a word with the plant (our choice)."""

DRIES_FAST: Mapping[Level, str] = {
    "watch": "A mix that bleeds little may crack before it sets: see to the precautions.",
    "act": "The deck dries fast enough to crack before it sets: see to the precautions.",
}

PLANNING_ONLY = (
    "Planning figures only: the engineer of record, the project's specifications and local "
    "codes decide whether forms and falsework may be loaded, and when and how it is poured, "
    "finished and cured."
)


def cautions(plan: PourPlan, shown: Shown) -> tuple[str, ...]:
    """Say what to look at before a pour, what stops it first.

    Parameters
    ----------
    plan
        The pour.
    shown
        Units people read.
    """
    return (
        *_of_readiness(plan),
        *_of_the_day(plan),
        *_of_volume(plan, shown),
        *_of_rate(plan, shown),
        *_of_weather(plan),
        PLANNING_ONLY,
    )


def _of_readiness(plan: PourPlan) -> Iterator[str]:
    name = plan.activity.name
    if plan.status == "on_hold":
        yield f"{name} is on hold: {plan.reason}."
    open_ones = [before_words(one) for one in plan.before if not one.finished]
    if open_ones:
        yield f"Not finished before it: {'; '.join(open_ones)}."
        if plan.start_from in ("project", "usual"):
            yield "The day taken is no forecast of when it is ready: the line's forecast says that."
    if plan.ahead:
        yield f"Not poured yet, and before it on {plan.heading}: {', '.join(plan.ahead)}."
    if plan.not_before is not None and plan.start.date() < plan.not_before:
        days = plan.activity.lag_days
        yield (
            f"It starts before {day_words(plan.not_before)}, {days} working "
            f"day{'s' if days > 1 else ''} after what comes before it."
        )


def _of_the_day(plan: PourPlan) -> Iterator[str]:
    if plan.start_from == "under_way":
        yield f"It is being poured: the rest counts from {plan.start:%H:%M}."
    if not plan.working_day:
        yield f"{day_words(plan.start)} is no working day of the calendar."
    if plan.lost_day_chance and plan.lost_day_chance >= NOTEWORTHY_CHANCE:
        yield (
            f"Weather is expected to take {share_words(plan.lost_day_chance)} of the working "
            f"days in {plan.start:%B}."
        )


def _of_volume(plan: PourPlan, shown: Shown) -> Iterator[str]:
    concrete = plan.concrete
    if concrete.volume_m3 is None and concrete.planned_m3 is None:
        yield "No quantity is planned for it: give the volume to plan hours, loads and trucks."
    elif concrete.volume_m3 is None:
        yield (
            "All that is planned is placed and it is not finished: give the volume that is still "
            "to come."
        )
    elif concrete.given_m3 is not None and concrete.remaining_m3 is not None:
        off = abs(concrete.given_m3 - concrete.remaining_m3)
        if off > OFF_PLAN * max(concrete.given_m3, concrete.remaining_m3):
            yield (
                f"{shown.volume_words(concrete.given_m3)} are asked for; "
                f"{shown.volume_words(concrete.remaining_m3)} remain of the plan."
            )


def _of_rate(plan: PourPlan, shown: Shown) -> Iterator[str]:
    rate = plan.rate
    if rate.source == "common_practice":
        yield (
            f"Fewer than {FEWEST_POURS} recent pours tell their time, so "
            f"{shown.rate_words(rate.m3_per_h)} is taken: common practice, no source."
        )
    elif plan.recent_band is not None and rate.m3_per_h > plan.recent_band.high_m3_per_h:
        yield (
            f"{shown.rate_words(rate.m3_per_h)} is faster than nine in ten of the last "
            f"{len(plan.recent)} pours ({shown.rate_words(plan.recent_band.high_m3_per_h)})."
        )
    if plan.last_load_m3 is not None and plan.last_load_m3 < SMALL_LOAD * plan.trucks.load_m3:
        yield (
            f"The last truck brings {shown.volume_words(plan.last_load_m3)} only: see what the "
            "plant's smallest load is."
        )
    if plan.trucks.source == "common_practice":
        load = shown.volume_words(plan.trucks.load_m3)
        yield f"Loads of {load} are taken: common practice, no source."
    if plan.hours is not None and plan.hours >= LONG_HOURS and plan.concrete.order_m3 is not None:
        needed = shown.rate_words(plan.concrete.order_m3 / LONG_HOURS)
        yield f"To be done in less than {LONG_HOURS:g} hours it must go faster than {needed}."


def _of_weather(plan: PourPlan) -> Iterator[str]:
    if plan.weather is not None and plan.surface is None:
        yield "How fast it dries is worked out for a finished deck only."
    if plan.drying is not None and plan.drying.level in DRIES_FAST:
        yield DRIES_FAST[plan.drying.level]
