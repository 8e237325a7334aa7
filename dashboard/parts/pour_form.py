"""The form of a pour: what it goes by, filled in, each field with where its number is from."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from dash import dcc, html
from dash.development.base_component import Component

from dashboard.parts.attributes import aria
from dashboard.parts.pour_fields import FIELDS, LONGEST_NUMBER, READINGS, START, Texts
from model.pour_plan import PourPlan
from model.pour_words import LOAD_FROM, RATE_FROM, Shown
from model.units import PRINTED, WEATHER_PRINTED, shown_temperature_unit

START_FROM = {
    "given": "as given",
    "under_way": "it is being poured, so the rest counts from now",
    "project": "next working day that may be; the hour is the project folder's",
    "usual": "next working day that may be, at the usual hour",
}
FROM_FOLDER = "as the project folder says"
NOT_KNOWN = "nobody says; blank leaves the trucks open"
NO_ALLOWANCE = "nobody says, so nothing more"
TO_COME = "what remains of the plan"
NO_VOLUME = "no plan says how much: give it"

LABELS = {
    START: "First truck",
    "volume": "To place",
    "rate": "Placed per hour",
    "load": "A truck brings",
    "round_trip": "Round trip",
    "allowance": "Ordered on top",
    "concrete_temp": "Concrete",
    "air_temp": "Air",
    "humidity": "Humidity",
    "wind": "Wind",
}


def field_id(key: str) -> str:
    """Return the id of a field.

    Examples
    --------
    >>> field_id("round_trip")
    'pour-round-trip'
    """
    return f"pour-{key.replace('_', '-')}"


def told_id(key: str) -> str:
    """Return the id of the place beside a field that says what is wrong with it."""
    return f"{field_id(key)}-told"


READ_AT = "Concrete as placed, air in the shade, wind about 0.5\u00a0m (20\u00a0in) above the deck."
WEATHER_TOLD = "pour-weather-told"


def pour_form(
    plan: PourPlan,
    shown: Shown,
    usual: Texts,
    texts: Texts,
    wrong: Texts,
    missing: Sequence[str],
) -> Component:
    """Return the form.

    Parameters
    ----------
    plan
        The pour with nothing asked; where its numbers are from stands below each field.
    shown
        Units people read.
    usual
        As ``usual_texts`` writes it.
    texts
        What is asked for, by field.
    wrong
        What is wrong with some.
    missing
        Readings that are still missing.
    """
    units, texts = units_of(shown), {**usual, **texts}
    sources = {key: _usual_words(key, usual[key], told) for key, told in _sources(plan).items()}
    fields = {
        key: _field(key, units[key], sources.get(key, ""), texts.get(key, ""), wrong.get(key, ""))
        for key in FIELDS
    }
    readings = [fields[key] for key in READINGS]
    weather = html.Fieldset(
        [
            html.Legend("Weather at the deck"),
            html.P(READ_AT, className="field-hint"),
            html.Div(readings, className="pour-fields"),
            html.P(missing_words(missing), id=WEATHER_TOLD, role="status"),
        ],
        hidden=plan.surface is None and not any(texts.get(key) for key in READINGS),
    )
    others = [fields[key] for key in FIELDS if key not in READINGS]
    return html.Div(
        [html.Div(others, className="pour-fields"), weather], className="form pour-form"
    )


def units_of(shown: Shown) -> Mapping[str, str]:
    """Return the unit of every field, as people read it."""
    volume = PRINTED[shown.volume_unit]
    degrees = WEATHER_PRINTED[shown_temperature_unit(shown.system)]
    return {
        START: "",
        "volume": volume,
        "rate": f"{volume}/h",
        "load": volume,
        "round_trip": "min",
        "allowance": "%",
        "concrete_temp": degrees,
        "air_temp": degrees,
        "humidity": "%",
        "wind": WEATHER_PRINTED[shown.wind_unit],
    }


def missing_words(missing: Sequence[str]) -> str:
    """Say which readings are still missing; blank where none is."""
    if not missing:
        return ""
    named = ", ".join(LABELS[key].lower() for key in missing)
    return f"How fast the deck dries takes all four. Still missing: {named}."


def _usual_words(key: str, text: str, source: str) -> str:
    return f"Usual: {source}." if key == START or not text else f"Usual: {text}, {source}."


def _sources(plan: PourPlan) -> dict[str, str]:
    concrete, trucks = plan.concrete, plan.trucks
    return {
        START: START_FROM[plan.start_from],
        "volume": NO_VOLUME if concrete.volume_m3 is None else TO_COME,
        "rate": RATE_FROM[plan.rate.source],
        "load": LOAD_FROM[trucks.source],
        "round_trip": NOT_KNOWN if trucks.round_trip_minutes is None else FROM_FOLDER,
        "allowance": FROM_FOLDER if concrete.allowance else NO_ALLOWANCE,
    }


def _field(key: str, unit: str, source: str, text: str, wrong: str) -> Component:
    label: list[Component] = [html.Span(f"{LABELS[key]}, {unit}" if unit else LABELS[key])]
    return html.Div(
        [
            html.Label([*label, _input(key, text)], htmlFor=field_id(key)),
            html.Span(wrong, id=told_id(key), className="field-error", **aria(live="polite")),
            *([html.Span(source, className="field-hint")] if source else []),
        ],
        className=f"form-row pour-field-{key.replace('_', '-')}",
    )


def _input(key: str, text: str) -> Component:
    if key == START:
        kind: Any = "datetime-local"  # the component passes it on
        return dcc.Input(id=field_id(key), type=kind, value=text, debounce=True)
    keys: Any = "decimal"  # likewise: what a phone's keyboard offers
    return dcc.Input(
        id=field_id(key), type="text", inputMode=keys, value=text, debounce=True,
        maxLength=LONGEST_NUMBER, autoComplete="off",
    )  # fmt: skip
