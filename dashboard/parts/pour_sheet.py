"""What a pour needs, whole: to be read at the deck, or printed for the meeting before it."""

from __future__ import annotations

from collections.abc import Sequence

from dash import html
from dash.development.base_component import Component

from dashboard.parts import frame
from dashboard.parts.drying_look import LEVEL_LOOKS
from dashboard.parts.pour_cards import pour_cards
from dashboard.parts.pour_fields import READINGS, Texts
from dashboard.parts.pour_form import LABELS, units_of
from dashboard.parts.status_chip import status_chip
from model.clock import short_date
from model.drying import ACT_KG_PER_M2_H, WATCH_KG_PER_M2_H, Drying, rate_words
from model.pour_answer import PourAnswer
from model.pour_plan import Before, PourPlan
from model.pour_rate import PastPour
from model.pour_words import Shown, day_words, hours_words, moment_words, rounded, until_words
from model.units import PRINTED

LEAVES_OUT = (
    "Reckoned from four readings at the deck, without sun, clear sky or bleed water: about "
    "40\u00a0% either way."
)


def pour_answer(answer: PourAnswer) -> list[Component]:
    """Return what a pour needs at a glance: whether it is ready, the cards, the cautions."""
    return [_head(answer), pour_cards(answer), _cautions(answer.cautions)]


def pour_more(answer: PourAnswer, texts: Texts) -> list[Component]:
    """Return what else there is to know of it.

    Parameters
    ----------
    answer
        From ``Project.pour``.
    texts
        What was asked, by field, as it was typed: the readings are shown with it.
    """
    plan = answer.plan
    sides: list[Component] = [_before(plan)]
    if plan.recent:
        sides.append(_recent(plan.recent, answer.shown))
    if plan.surface is not None:
        sides = [html.Div(sides), _drying(plan.drying, answer.shown, texts)]
    return [html.Div(sides, className="pour-sides")]


def in_short(answer: PourAnswer) -> str:
    """Say in a sentence what changed when something was typed, for who hears the page."""
    plan = answer.plan
    if plan.concrete.order_m3 is None or plan.hours is None or plan.end is None:
        return f"{where_words(plan)}: nothing says how much is to be placed."
    order = answer.shown.volume_words(plan.concrete.order_m3)
    return (
        f"{where_words(plan)}: {order} to order, {hours_words(plan.hours)}, "
        f"until {until_words(plan.end, plan.start)}, {plan.loads} loads."
    )


def where_words(plan: PourPlan) -> str:
    """Return which pour it is."""
    where = f"{plan.unit} span {plan.span}" if plan.span else plan.unit
    return f"{plan.activity.name} of {where}"


def _head(answer: PourAnswer) -> Component:
    plan = answer.plan
    heading = f"on {plan.heading}, " if plan.heading else ""
    return html.Div(
        [
            html.H2(where_words(plan)),
            html.P(f"{heading}as of {moment_words(answer.as_of)}", className="quiet"),
            html.P([status_chip(plan.status), html.Strong(ready_words(plan))], className="ready"),
        ],
        className="pour-head",
    )


def ready_words(plan: PourPlan) -> str:
    """Say in a few words whether the trades before a pour are out of its way."""
    if plan.status == "on_hold":
        return f"On hold: {plan.reason}"
    open_ones = [one.name for one in plan.before if not one.finished]
    if open_ones:
        return f"Not ready: {', '.join(open_ones)} not finished"
    if plan.not_before is not None and plan.start.date() < plan.not_before:
        return f"Not before {day_words(plan.not_before)}"
    done = "every trade before it is finished"
    return f"Ready: {done}" if plan.status == "not_started" else done.capitalize()


def _before(plan: PourPlan) -> Component:
    rows = [_before_row(one) for one in plan.before]
    shown = html.Ul(rows, className="pour-before") if rows else html.P("Nothing comes before it.")
    return html.Section([html.H3("Before the pour"), shown])


def _before_row(one: Before) -> Component:
    notes = []
    if one.since is not None:
        notes.append(f"since {day_words(one.since)}")
    if one.reason:
        notes.append(one.reason)
    if one.spans_left and one.status != "not_started":
        some = "span" if len(one.spans_left) == 1 else "spans"
        notes.append(f"left: {some} {', '.join(one.spans_left)}")
    return html.Li(
        [html.Strong(one.name), status_chip(one.status), html.Span("; ".join(notes))],
    )


def _cautions(cautions: Sequence[str]) -> Component:
    return html.Section(
        [html.H3("Look at this first"), html.Ul([html.Li(one) for one in cautions])],
        className="banner caution pour-cautions",
    )


def _drying(drying: Drying | None, shown: Shown, texts: Texts) -> Component:
    if drying is None:
        words = (
            "Give the four readings at the deck to see how fast it dries and what that asks for."
        )
        return html.Section([html.H3("Drying"), html.P(words, className="quiet")],
                            className="only-screen")  # fmt: skip
    rate = rate_words(drying.rate_kg_per_m2_h, shown.system)
    return html.Section(
        [
            html.H3(f"Drying: {LEVEL_LOOKS[drying.level].words.lower()}, {rate}"),
            html.P(_readings(shown, texts)),
            html.P(limit_words(drying, shown)),
            html.Ul([html.Li(one) for one in drying.precautions]),
            html.P(LEAVES_OUT, className="quiet"),
        ],
        className="pour-drying",
    )


def _readings(shown: Shown, texts: Texts) -> str:
    units = units_of(shown)
    told = [f"{LABELS[key].lower()} {texts[key]}\u00a0{units[key]}"
            for key in READINGS if key in texts]  # fmt: skip
    return f"With {', '.join(told)}."


def limit_words(drying: Drying, shown: Shown) -> str:
    """Say from which wind on the limits are reached, all else equal."""
    said = []
    for level, limit, wind in (
        ("watch", WATCH_KG_PER_M2_H, drying.wind_to_watch_m_per_s),
        ("act", ACT_KG_PER_M2_H, drying.wind_to_act_m_per_s),
    ):
        at = f"{level} ({rate_words(limit, shown.system)})"
        reached = shown.wind(wind)
        if reached is None:
            said.append(f"no wind brings it to {at}")
        elif reached:
            said.append(f"{at} from {shown.wind_words(wind)} of wind")
        else:
            said.append(f"{at} in still air already")
    return f"{'; '.join(said).capitalize()}."


def _recent(pours: Sequence[PastPour], shown: Shown) -> Component:
    unit = PRINTED[shown.volume_unit]
    heads = ("Unit", "Day", f"Placed, {unit}", "Time", f"{unit}/h")
    rows = [
        html.Tr(
            [
                html.Th(f"{one.unit} span {one.span}" if one.span else one.unit, scope="row"),
                html.Td(short_date(one.day)),
                *(html.Td(words, className="figure") for words in _past_words(one, shown)),
            ]
        )
        for one in reversed(pours)
    ]
    caption = "Recent pours that tell their time"
    return frame.titled_table(caption, heads, rows, look="pour-recent")


def _past_words(one: PastPour, shown: Shown) -> tuple[str, ...]:
    placed, rate = shown.volume(one.placed_m3), shown.volume(one.rate_m3_per_h)
    return rounded(placed or 0.0), hours_words(one.hours), rounded(rate or 0.0)
