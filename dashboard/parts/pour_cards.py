"""What a pour needs, as cards to be read at arm's length."""

from __future__ import annotations

from collections.abc import Iterator

from dash import html
from dash.development.base_component import Component

from dashboard.parts.cards import number_card
from dashboard.parts.drying_look import level_words
from model.drying import rate_words
from model.pour_answer import PourAnswer
from model.pour_words import LOAD_FROM, RATE_FROM, day_words, hours_words, rounded, until_words
from model.units import share_words

NOT_KNOWN = "–"
DOT = " · "


def pour_cards(answer: PourAnswer) -> Component:
    """Return the cards: concrete, hours, trucks, finishers, drying, cure and the day."""
    return html.Div(list(_cards(answer)), className="number-cards pour-cards")


def _cards(answer: PourAnswer) -> Iterator[Component]:
    yield _concrete(answer)
    yield _hours(answer)
    yield _times(answer)
    yield _loads(answer)
    yield _trucks(answer)
    plan = answer.plan
    if plan.finishing is not None:
        yield _finishing(answer)
    if plan.drying is not None:
        rate = rate_words(plan.drying.rate_kg_per_m2_h, answer.system)
        card = number_card("Drying", level_words(plan.drying.level), rate)
        yield html.Div(card, className=f"drying-{plan.drying.level}")
    if plan.wet_until is not None:
        days = f"{plan.cure_days:g} calendar days of cure"
        yield number_card("Kept wet to the end of", day_words(plan.wet_until), days)
    if plan.lost_day_chance is not None:
        chance = share_words(plan.lost_day_chance)
        yield number_card("Weather takes the day", chance, f"of working days in {plan.start:%B}")


def _concrete(answer: PourAnswer) -> Component:
    concrete, words = answer.plan.concrete, answer.shown.volume_words
    notes = []
    if concrete.volume_m3 is not None:
        percent = answer.as_dict()["allowance_percent"]
        more = f" and {percent:g}\u00a0% more" if percent else ""
        notes.append(f"{words(concrete.volume_m3)} to place{more}")
    if concrete.given_m3 is not None and concrete.remaining_m3 is not None:
        notes.append(f"{words(concrete.remaining_m3)} remain of the plan")
    if concrete.planned_m3 is not None:
        source = f" (from the {concrete.planned_from})" if concrete.planned_from else ""
        notes.append(f"{words(concrete.planned_m3)} planned{source}")
    notes.append(f"{words(concrete.placed_m3)} placed")
    order = NOT_KNOWN if concrete.order_m3 is None else words(concrete.order_m3)
    return number_card("Concrete to order", order, DOT.join(notes))


def _hours(answer: PourAnswer) -> Component:
    plan, words = answer.plan, answer.shown.rate_words
    notes = [f"at {words(plan.rate.m3_per_h)}, {RATE_FROM[plan.rate.source]}"]
    if plan.hours_low is not None and plan.hours_high is not None:
        notes.append(f"{hours_words(plan.hours_low)} to {hours_words(plan.hours_high)} as recent "
                     "pours went")  # fmt: skip
    hours = NOT_KNOWN if plan.hours is None else hours_words(plan.hours)
    return number_card("Time it takes", hours, DOT.join(notes))


def _times(answer: PourAnswer) -> Component:
    plan = answer.plan
    label = f"First truck to last, {day_words(plan.start)}"
    if plan.end is None:
        return number_card(label, f"{plan.start:%H:%M}", "the end is not known")
    notes = ["" if plan.working_day else "not a working day"]
    if plan.end_late is not None:
        notes.insert(0, f"if slow until {until_words(plan.end_late, plan.start)}")
    times = f"{plan.start:%H:%M} to {until_words(plan.end, plan.start)}"
    return number_card(label, times, DOT.join(note for note in notes if note))


def _loads(answer: PourAnswer) -> Component:
    plan, words = answer.plan, answer.shown.volume_words
    label = f"Loads of {words(plan.trucks.load_m3)}"
    notes = [f"one every {rounded(plan.minutes_between_loads)}\u00a0min"]
    if plan.last_load_m3 is not None:
        notes.append(f"the last {words(plan.last_load_m3)}")
    notes.append(f"load: {LOAD_FROM[plan.trucks.source]}")
    loads = NOT_KNOWN if plan.loads is None else f"{plan.loads:,}"
    return number_card(label, loads, DOT.join(notes))


def _trucks(answer: PourAnswer) -> Component:
    plan = answer.plan
    if plan.trucks_needed is None or plan.trucks.round_trip_minutes is None:
        return number_card("Trucks", NOT_KNOWN, "give the round trip of a truck to see how many")
    trip = f"{plan.trucks.round_trip_minutes:g}\u00a0min"
    return number_card("Trucks", f"{plan.trucks_needed:,}", f"with a round trip of {trip}")


def _finishing(answer: PourAnswer) -> Component:
    finishing, shown = answer.plan.finishing, answer.shown
    assert finishing is not None
    notes = [
        f"{shown.length_words(finishing.advance_m_per_h)}/h along the deck",
        f"{shown.area_words(finishing.area_m2)} in all",
        f"a load covers {shown.area_words(finishing.area_m2_per_load)}",
    ]
    value = f"{shown.area_words(finishing.area_m2_per_h)}/h"
    return number_card("To be finished", value, DOT.join(notes))
