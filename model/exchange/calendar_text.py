"""The ``[calendar]`` table of ``project.toml``, read and replaced in its text.

Only what changes is touched: every other key, every comment and every blank line stays as a
person wrote it. The new text is read again and compared before anybody uses it.
"""

from __future__ import annotations

import datetime as dt
import re
import tomllib
from collections.abc import Mapping
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError

from model.exchange.project_keys import CALENDAR_KEYS
from model.exchange.settings import FILE
from model.problems import InputError, Problem

TABLE = "calendar"
BOM = "\ufeff"
_DAY = re.compile(r"\d{4}-\d{2}-\d{2}")

Values = dict[str, Any]


def calendar_of(text: str) -> Values:
    """Return every key of the calendar, as JSON can hold it; what is left out by its default.

    Parameters
    ----------
    text
        Of a sound ``project.toml``.

    Raises
    ------
    InputError
        When it is no TOML, or its calendar is no table.
    """
    return _as_json(_given(_read(text)))


def with_calendar(text: str, wanted: Mapping[str, Any]) -> str:
    """Return the text of ``project.toml`` with another calendar.

    Parameters
    ----------
    text
        Of ``project.toml``.
    wanted
        Keys of the calendar as ``calendar_of`` returns them. A key that is left out, or None,
        is taken out of the file.

    Raises
    ------
    InputError
        When a day is none, or the text cannot be changed without touching something else.
    """
    before = _read(text)
    values = {key: value for key, value in _as_toml(wanted).items() if value is not None}
    try:
        changed = _replaced(text, values)
        after = tomllib.loads(changed.removeprefix(BOM).replace("\r\n", "\n"))
    except (TOMLKitError, tomllib.TOMLDecodeError, ValueError) as error:
        raise InputError([_by_hand(f"The calendar cannot be put into it ({error}).")]) from error
    others = {key: value for key, value in _given(before).items() if key not in CALENDAR_KEYS}
    if after != {**before, TABLE: {**others, **values}}:
        raise InputError([_by_hand("The calendar cannot be changed without other keys.")])
    return changed


def _replaced(text: str, values: Mapping[str, Any]) -> str:
    mark = BOM if text.startswith(BOM) else ""
    document = tomlkit.parse(text.removeprefix(BOM))
    if TABLE not in document:
        document[TABLE] = tomlkit.table()
    table: Any = document[TABLE]
    for key in CALENDAR_KEYS:
        if key not in values:
            table.pop(key, None)
        elif key not in table or table[key].unwrap() != values[key]:
            table[key] = values[key]
    return mark + tomlkit.dumps(document)


def _read(text: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text.removeprefix(BOM).replace("\r\n", "\n"))
    except tomllib.TOMLDecodeError as error:
        raise InputError([_by_hand(f"It is no TOML ({error}).")]) from error


def _given(document: Mapping[str, Any]) -> dict[str, Any]:
    table = document.get(TABLE, {})
    if not isinstance(table, dict):
        raise InputError([_by_hand("calendar is no table.")])
    return table


def _as_json(given: Mapping[str, Any]) -> Values:
    values = {key: given.get(key, rule.default) for key, rule in CALENDAR_KEYS.items()}
    if not isinstance(values["days_off"], list):
        raise InputError([_by_hand("days_off is no list of days.")])
    values["days_off"] = [str(day) for day in values["days_off"]]
    return values


def _as_toml(wanted: Mapping[str, Any]) -> Values:
    """Return the values as TOML has them: days are no texts there, and a blank says nothing."""
    values = dict(wanted)
    if not values.get("holidays"):
        values.pop("holidays", None)
    days = values.get("days_off")
    if days is not None:
        values["days_off"] = [_day(text) for text in days]
    return values


def _day(text: str) -> dt.date:
    try:
        if not _DAY.fullmatch(text):
            raise ValueError(text)
        return dt.date.fromisoformat(text)
    except ValueError:
        raise InputError(
            [Problem(FILE, f"{text[:60]!r} is no day.", "Write it like 2026-07-03.",
                     field=f"{TABLE}.days_off")]
        ) from None  # fmt: skip


def _by_hand(message: str) -> Problem:
    return Problem(FILE, message, "Change it with an editor on the server.", field=TABLE)
