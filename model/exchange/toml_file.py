"""TOML files: tables of keys, each key checked for its type and place.

What a file may hold is said as tables of ``Key``; reading goes through every key, notes all
that is wrong with the line it stands on, and puts a stand-in value where one is unusable.
"""

from __future__ import annotations

import datetime as dt
import math
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from model.exchange.findings import Findings, nearest

KeyKind = Literal[
    "text", "number", "whole", "flag", "date", "time", "texts", "numbers", "dates", "station"
]
Table = dict[str, Any]

NEEDED = object()
"""Default of a key that must be given."""

_WRITTEN: dict[KeyKind, str] = {
    "text": 'a text in quotes, as "main"',
    "number": "a number",
    "whole": "a whole number",
    "flag": "true or false",
    "date": "a date without quotes, as 2026-03-02",
    "time": 'a time of day in quotes, as "06:30"',
    "texts": 'a list of texts, as ["E01", "E02"]',
    "numbers": "a list of numbers, as [4, 4, 3]",
    "dates": "a list of dates without quotes, as [2026-07-03]",
    "station": 'a station, as 1240.0 or "12+40.00"',
}
_STAND_IN: dict[KeyKind, object] = {
    "text": "",
    "number": math.nan,
    "whole": 0,
    "flag": False,
    "date": dt.date(2000, 1, 1),
    "time": None,
    "texts": [],
    "numbers": [],
    "dates": [],
    "station": math.nan,
}
_HEADER = re.compile(r"\s*(\[{1,2})\s*([\w.\-\"']+)\s*\]{1,2}")
_KEY = re.compile(r"\s*([\w\-]+)\s*=")
_TIME = re.compile(r"([01]\d|2[0-3]):[0-5]\d")


@dataclass(frozen=True, slots=True)
class Key:
    """What one key of a table may hold.

    Parameters
    ----------
    kind
        Type of its value.
    means
        What it says, for documentation and messages.
    default
        Its value where it is left out; ``NEEDED`` where it must not be.
    choices
        The texts allowed; blank where any will do.
    least, above, most
        The smallest number allowed, the number it must exceed, and the largest allowed.
    """

    kind: KeyKind
    means: str = ""
    default: object = NEEDED
    choices: tuple[str, ...] = ()
    least: float = -math.inf
    above: float = -math.inf
    most: float = math.inf


@dataclass(frozen=True)
class TomlFile:
    """A file's tables, and the line each key stands on.

    Parameters
    ----------
    findings
        Where its problems are noted.
    values
        The tables as read.
    lines
        Line of each (table, number of the table among those of its name, key); key blank for
        the table's own header. Keys above the first table have a blank table.
    """

    findings: Findings
    values: Table
    lines: dict[tuple[str, int, str], int]

    def row(self, table: str, number: int = 0, key: str = "") -> int | None:
        """Return the line of a key, or of its table where the key is left out."""
        line = self.lines.get((table, number, key))
        return line if line is not None else self.lines.get((table, number, ""))

    def only_tables(self, known: Mapping[str, object]) -> None:
        """Note tables and keys at the top that are not read."""
        for name, value in self.values.items():
            if name in known:
                continue
            fix = nearest(name, known) or f"Tables read are {', '.join(known)}."
            called = "table" if isinstance(value, dict | list) else "key"
            row = self.row(name) or self.row("", 0, name)
            self.findings.warning(f"The {called} is passed over.", fix, row=row, field=name)

    def table(self, name: str, keys: Mapping[str, Key], *, needed: bool = False) -> Table:
        """Return the one table of a name, every key checked."""
        value = self.values.get(name)
        if value is None and needed:
            self.findings.error(f"[{name}] is missing.", f"Add a table [{name}].", field=name)
        if value is not None and not isinstance(value, dict):
            self._misformed(name, f"one table [{name}]")
            value = None
        if value is None and needed:
            return {key: _stand_in(rule) for key, rule in keys.items()}
        return self._checked(name, 0, value or {}, keys)

    def tables(self, name: str, keys: Mapping[str, Key]) -> list[Table]:
        """Return the tables of a name in order, every key of each checked."""
        value = self.values.get(name, [])
        if not isinstance(value, list) or not all(isinstance(table, dict) for table in value):
            self._misformed(name, f"tables [[{name}]] with two brackets")
            return []
        return [self._checked(name, n, table, keys) for n, table in enumerate(value)]

    def table_with_parts(
        self, name: str, keys: Mapping[str, Key]
    ) -> tuple[Table, dict[str, Table]]:
        """Return the one table of a name, and the tables inside it by their names.

        Parameters
        ----------
        name
            Of the table; those inside are written ``[name.part]``.
        keys
            What the table and each table inside it may hold.
        """
        value = self.values.get(name, {})
        if not isinstance(value, dict):
            return self.table(name, keys), {}
        parts = {key: part for key, part in value.items() if isinstance(part, dict)}
        own = {key: part for key, part in value.items() if key not in parts}
        return self._checked(name, 0, own, keys), {
            key: self._checked(f"{name}.{key}", 0, part, keys) for key, part in parts.items()
        }

    def unique_keys(self, name: str, tables: list[Table], key: str = "key") -> None:
        """Note tables that carry the key of an earlier one."""
        seen: set[str] = set()
        for number, table in enumerate(tables):
            if table[key] and table[key] in seen:
                message = f"[[{name}]] {table[key]!r} is given twice."
                self.error(message, "Give each its own key.", name, number, key)
            seen.add(table[key])

    def error(self, message: str, fix: str, table: str, number: int = 0, key: str = "") -> None:
        """Note something wrong with a key."""
        field = f"{table}.{key}" if table and key else table or key
        self.findings.error(message, fix, row=self.row(table, number, key), field=field)

    def warning(self, message: str, fix: str, table: str, number: int = 0, key: str = "") -> None:
        """Note something odd about a key."""
        field = f"{table}.{key}" if table and key else table or key
        self.findings.warning(message, fix, row=self.row(table, number, key), field=field)

    def _misformed(self, name: str, expected: str) -> None:
        self.error(f"{name} is not what is expected here.", f"Write {expected}.", name)

    def _checked(self, name: str, number: int, table: Table, keys: Mapping[str, Key]) -> Table:
        for key in table:
            if key not in keys:
                fix = nearest(key, keys) or f"Keys read are {', '.join(keys)}."
                self.warning("The key is passed over.", fix, name, number, key)
        return {key: self._value(name, number, table, key, rule) for key, rule in keys.items()}

    def _value(self, name: str, number: int, table: Table, key: str, rule: Key) -> object:
        if key not in table:
            if rule.default is not NEEDED:
                return rule.default
            near = nearest(key, [k for k in table if k != key]).replace("Did you mean", "Is it")
            fix = near or f"Add {key}: {_WRITTEN[rule.kind]}."
            self.error(f"{key} is missing.", fix, name, number, key)
            return _stand_in(rule)
        value = table[key]
        fault = _fault(value, rule)
        if fault:
            self.error(f"Found {_shown(value)}; {fault[0]}.", fault[1], name, number, key)
            return _stand_in(rule)
        return value


def read_toml(path: Path, findings: Findings) -> TomlFile | None:
    """Read a TOML file; None where it is missing, no text, or no TOML (which is noted)."""
    try:
        text = path.read_bytes().decode("utf-8-sig")
        values = tomllib.loads(text.replace("\r\n", "\n"))
    except UnicodeDecodeError:
        findings.error("It is not UTF-8 text.", "Save it again in UTF-8.")
    except tomllib.TOMLDecodeError as broken:
        message, row = _where(str(broken), text)
        findings.error(f"{message}.", "Correct the line; texts need quotation marks.", row=row)
    except OSError as refused:
        findings.error(f"It cannot be read ({refused.strerror}).", "Check the file.")
    else:
        return TomlFile(findings, values, _lines(text))
    return None


def _where(message: str, text: str) -> tuple[str, int]:
    """Take the line out of a parser's message."""
    place = re.search(r" \(at line (\d+), column (\d+)\)$", message)
    if place is None:
        ends = max(len(text.splitlines()), 1)
        return message.replace(" (at end of document)", " at the end of the file"), ends
    return f"{message[: place.start()]} in column {place[2]}", int(place[1])


def _lines(text: str) -> dict[tuple[str, int, str], int]:
    lines: dict[tuple[str, int, str], int] = {}
    counts: dict[str, int] = {}
    table, number = "", 0
    for row, line in enumerate(text.splitlines(), start=1):
        if header := _HEADER.match(line):
            table = header[2]
            number = counts.get(table, 0) if header[1] == "[[" else 0
            counts[table] = number + 1
            lines.setdefault((table, number, ""), row)
        elif key := _KEY.match(line):
            lines.setdefault((table, number, key[1]), row)
    return lines


def _stand_in(rule: Key) -> object:
    if rule.default is not NEEDED:
        return rule.default
    return rule.choices[0] if rule.choices and rule.kind == "text" else _STAND_IN[rule.kind]


def _shown(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dt.date | dt.time):
        return str(value)
    shown = repr(value).replace("'", '"')
    return shown if len(shown) <= 60 else f"{shown[:57]}…"


def _fault(value: object, rule: Key) -> tuple[str, str] | None:
    """Return what was expected and the fix where a value doesn't fit."""
    if not _is_kind(value, rule.kind):
        return f"expected {_WRITTEN[rule.kind]}", f"Write {_WRITTEN[rule.kind]}."
    items = value if isinstance(value, list) else [value]
    for item in items:
        if isinstance(item, str) and rule.kind in ("text", "texts"):
            if rule.choices and item not in rule.choices:
                options = ", ".join(f'"{choice}"' for choice in rule.choices)
                return f"expected {options}", nearest(
                    item, rule.choices
                ) or f"Use one of {options}."
            if not item.strip():
                return "a blank text says nothing", "Write a text, or leave the key out."
        if isinstance(item, int | float) and not isinstance(item, bool):
            fault = _range_fault(item, rule)
            if fault:
                return fault, "Correct the number."
    return None


def _range_fault(number: float, rule: Key) -> str | None:
    if number < rule.least:
        return f"expected {rule.least:g} or more"
    if number <= rule.above:
        return f"expected more than {rule.above:g}"
    if number > rule.most:
        return f"expected {rule.most:g} or less"
    return None


def _is_kind(value: object, kind: KeyKind) -> bool:
    if kind in ("texts", "numbers", "dates"):
        single: KeyKind = {"texts": "text", "numbers": "number", "dates": "date"}[kind]  # type: ignore[assignment]
        return isinstance(value, list) and all(_is_kind(item, single) for item in value)
    if kind == "flag":
        return isinstance(value, bool)
    if kind == "text":
        return isinstance(value, str)
    if kind == "time":
        return isinstance(value, str) and _TIME.fullmatch(value) is not None
    if kind == "date":
        return isinstance(value, dt.date) and not isinstance(value, dt.datetime)
    if kind == "station" and isinstance(value, str):
        return True
    if isinstance(value, bool) or not isinstance(value, int | float):
        return False
    # A whole number may be too large to be asked whether it is finite.
    return isinstance(value, int) or (kind != "whole" and math.isfinite(value))
