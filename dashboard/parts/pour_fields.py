"""What may be asked of a pour: the fields of its form, in an address and read back."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import parse_qs, urlencode

from dashboard.parts.days import read_day
from model.pour_answer import PourAnswer
from model.pour_asked import PourAsked, asked_in
from model.pour_words import rounded
from model.problems import InputError, Problem
from model.units import UnitSystem

POUR_PATH = "/pour"
START = "start"
ABOVE_NOTHING = ("volume", "rate", "load", "round_trip")
READINGS = ("concrete_temp", "air_temp", "humidity", "wind")
FIELDS = (START, "volume", "allowance", "rate", "load", "round_trip", *READINGS)
"""By the names that ``model.pour_asked`` gives them; so they stand in an address too."""

ASKED_AS = {
    "round_trip": "round_trip_minutes",
    "allowance": "allowance_percent",
    "humidity": "humidity_percent",
}
"""Where ``asked_in`` names the unit as well."""

LONGEST_NUMBER = 12
MOST_PERCENT = 100.0
NUMBER = re.compile(r"[+-]?([0-9]+[.]?[0-9]*|[.][0-9]+)")
MOMENT = re.compile(r"([0-9-]{10})(?:T([0-9]{2}:[0-9]{2}))?")

Texts = Mapping[str, str]


@dataclass(frozen=True)
class PourAddress:
    """What an address says of a pour.

    Parameters
    ----------
    unit, activity, span
        Which pour; blank where it does not say.
    texts
        What is asked of it, by field, as it was typed.
    """

    unit: str = ""
    activity: str = ""
    span: str = ""
    texts: Texts = field(default_factory=dict)


@dataclass(frozen=True)
class Typed:
    """What was typed, read.

    Parameters
    ----------
    asked
        What is asked for; what is wrong, or not complete, is left out of it.
    wrong
        What is wrong with a field, in words.
    missing
        Readings that are still missing where others are given.
    """

    asked: PourAsked
    wrong: Texts
    missing: tuple[str, ...]


def read_pour_address(search: str) -> PourAddress:
    """Read the part of an address after the question mark.

    Examples
    --------
    >>> read_pour_address("?unit=E07&activity=deck_pour&rate=60&colour=red")
    PourAddress(unit='E07', activity='deck_pour', span='', texts={'rate': '60'})
    """
    words = {key: values[-1] for key, values in parse_qs(search.removeprefix("?")).items()}
    unit, activity, span = (words.get(key, "") for key in ("unit", "activity", "span"))
    return PourAddress(unit, activity, span, {key: words[key] for key in FIELDS if key in words})


def pour_query(address: PourAddress) -> str:
    """Return the query that names a pour and what is asked of it.

    Examples
    --------
    >>> pour_query(PourAddress("W 07", "deck_pour", texts={"wind": "8"}))
    '?unit=W+07&activity=deck_pour&wind=8'
    """
    which = {"unit": address.unit, "activity": address.activity, "span": address.span}
    said = {key: text for key, text in which.items() if text}
    return f"?{urlencode({**said, **address.texts})}"


def unit_at_pour(unit: str, activity: str = "") -> str:
    """Return the address of a pour; without an activity, of the unit's next one.

    Examples
    --------
    >>> unit_at_pour("W07")
    '/pour?unit=W07'
    """
    return POUR_PATH + pour_query(PourAddress(unit, activity))


def usual_texts(answer: PourAnswer) -> dict[str, str]:
    """Write what a pour goes by where nobody asks otherwise, as it stands in the fields.

    Parameters
    ----------
    answer
        Of the pour with nothing asked.
    """
    told = answer.as_dict()

    def plain(name: str) -> str:
        return "" if told[name] is None else rounded(told[name]).replace(",", "")

    return {
        START: told["start"],
        "volume": plain("volume"),
        "rate": plain("rate"),
        "load": plain("load"),
        "round_trip": plain("round_trip_minutes"),
        "allowance": plain("allowance_percent"),
        **dict.fromkeys(READINGS, ""),
    }


def asked_texts(texts: Texts, usual: Texts) -> dict[str, str]:
    """Return what is asked for: neither blank nor the same as is usual.

    Examples
    --------
    >>> asked_texts({"rate": " 70 ", "load": "9", "wind": ""}, {"rate": "62.7", "load": "9"})
    {'rate': '70'}
    """
    trimmed = {key: (texts.get(key) or "").strip() for key in FIELDS}
    return {key: text for key, text in trimmed.items() if text and text != usual.get(key)}


def read_typed(texts: Texts, system: UnitSystem, span: str = "") -> Typed:
    """Read what was typed, in the units of the project.

    Parameters
    ----------
    texts
        By field; blank ones left out.
    system
        Units of the project.
    span
        Of the pour; blank for the whole unit.
    """
    read: dict[str, Any] = {}
    wrong: dict[str, str] = {}
    for key, text in texts.items():
        try:
            read[key] = _moment(text) if key == START else _number(key, text)
        except ValueError as error:
            wrong[key] = str(error)
    try:
        asked = _asked(read, system, span)
    except InputError as error:
        wrong |= wrong_fields(error.problems, read)
        asked = _asked({key: read[key] for key in read.keys() - READINGS}, system, span)
    given = [key for key in READINGS if key in texts]
    missing = tuple(key for key in READINGS if given and key not in texts)
    return Typed(asked, wrong, missing)


def wrong_fields(problems: tuple[Problem, ...], among: Mapping[str, Any]) -> dict[str, str]:
    """Return what some problems say, by the field they are about."""
    return {
        problem.field: f"{problem.message} {problem.fix}"
        for problem in problems
        if problem.field is not None and problem.field in among
    }


def _asked(read: Mapping[str, Any], system: UnitSystem, span: str) -> PourAsked:
    return asked_in(system, span=span, **{ASKED_AS.get(key, key): read[key] for key in read})


def _number(key: str, text: str) -> float:
    if "," in text:
        raise ValueError("Write it without a comma, like 62.5.")
    if not NUMBER.fullmatch(text) or len(text) > LONGEST_NUMBER:
        raise ValueError("That is no number; write it like 62.5.")
    number = float(text)
    if key in ABOVE_NOTHING and number <= 0.0:
        raise ValueError(f"It is {text}; expected a number above 0.")
    if key == "allowance" and not 0.0 <= number <= MOST_PERCENT:
        raise ValueError(f"It is {text}; expected 0 to {MOST_PERCENT:g} per cent.")
    return number


def _moment(text: str) -> dt.date:
    found = MOMENT.fullmatch(text)
    day = read_day(found[1]) if found else None
    if found is None or day is None:
        raise ValueError("That is no day and time; write it like 2026-11-30T05:30.")
    if found[2] is None:
        return day
    try:
        return dt.datetime.combine(day, dt.time.fromisoformat(found[2]))
    except ValueError:
        raise ValueError("That is no time of day; write it like 05:30.") from None
