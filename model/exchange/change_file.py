"""CHANGE.toml: what-if cases, read and written.

::

    [[case]]
    name = "Second rebar crew, six-day week"
    workdays = ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat"]
    weather = 1.0            # lost days to come, as a multiple of those expected

    [[crews]]
    case = "Second rebar crew, six-day week"   # may be left out where there is one case
    heading = "W_from_west"  # left out: every heading
    activity = "rebar"
    crews = 2

``[[cycle]]`` (``activity``, ``days``), ``[[sets]]`` (``falsework_sets``, ``turnaround_days``)
and ``[[order]]`` (``heading``, ``units``) name their case and heading alike.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from model.exchange.findings import Findings, listed
from model.exchange.toml_file import Key, Table, TomlFile, read_toml
from model.problems import Problem
from model.whatif import Change
from model.workdays import WEEKDAYS

_CASE = Key("text", "name of the case; may be left out where there is one", "")
_HEADING = Key("text", "key of the heading; left out: every heading", "")
_ACTIVITY = Key("text", "key of the activity")

CHANGE_TABLES: Mapping[str, Mapping[str, Key]] = {
    "case": {
        "name": Key("text", "shown beside the case"),
        "workdays": Key("texts", "days of the week worked from now on", [], WEEKDAYS),
        "weather": Key("number", "lost days to come, as a multiple of those expected", 1.0,
                       least=0.0, most=100.0),
    },
    "cycle": {
        "case": _CASE, "heading": _HEADING, "activity": _ACTIVITY,
        "days": Key("number", "working days a unit", above=0.0, most=366.0),
    },
    "crews": {
        "case": _CASE, "heading": _HEADING, "activity": _ACTIVITY,
        "crews": Key("whole", "crews of this activity", least=1, most=100),
    },
    "sets": {
        "case": _CASE, "heading": _HEADING,
        "falsework_sets": Key("whole", "unit-long falsework sets on hand", None,
                              least=1, most=10_000),
        "turnaround_days": Key("whole", "working days until a set is free again", None,
                               least=0, most=366),
    },
    "order": {
        "case": _CASE, "heading": Key("text", "key of the heading; a new key is a new heading"),
        "units": Key("texts", "units not begun yet, in the order they would be built"),
    },
}  # fmt: skip
"""The tables by name, for reading and for the documentation."""


def read_changes(path: Path) -> tuple[list[Change], list[Problem]]:
    """Read the cases of a file, and say everything that is wrong with it.

    Parameters
    ----------
    path
        A TOML file.
    """
    findings = Findings(path.name)
    file = read_toml(path, findings)
    return ([] if file is None else _changes(file)), findings.problems


def changes_of(values: Mapping[str, Any], name: str) -> tuple[list[Change], list[Problem]]:
    """Take the cases of what is not a file but has its tables, and say what is wrong with it.

    Parameters
    ----------
    values
        Tables by name, as JSON or TOML is read.
    name
        What messages call it.
    """
    findings = Findings(name)
    return _changes(TomlFile(findings, dict(values), {})), findings.problems


def _changes(file: TomlFile) -> list[Change]:
    file.only_tables(CHANGE_TABLES)
    tables = {name: file.tables(name, keys) for name, keys in CHANGE_TABLES.items()}
    if not tables["case"]:
        file.error("There is no case.", "Add a table [[case]] with a name.", "case")
    file.unique_keys("case", tables["case"], "name")
    _name_their_case(file, tables)
    return [_change(case, tables) for case in tables["case"]]


def _name_their_case(file: TomlFile, tables: Mapping[str, list[Table]]) -> None:
    """Give tables without a case the only one there is; note those that name none."""
    cases = [case["name"] for case in tables["case"]]
    for name in CHANGE_TABLES:
        for number, table in enumerate(tables[name] if name != "case" else ()):
            if not table["case"] and len(cases) == 1:
                table["case"] = cases[0]
            elif table["case"] not in cases and cases:
                file.error(f"Found case {table['case']!r}.", f"Use one of {listed(cases)}.",
                           name, number, "case")  # fmt: skip


def _change(case: Table, tables: Mapping[str, list[Table]]) -> Change:
    def of(name: str) -> list[Table]:
        return [table for table in tables[name] if table["case"] == case["name"]]

    def numbers(key: str) -> dict[str, int]:
        return {table["heading"]: table[key] for table in of("sets") if table[key] is not None}

    return Change(
        name=case["name"],
        cycles={(t["heading"], t["activity"]): float(t["days"]) for t in of("cycle")},
        crews={(t["heading"], t["activity"]): t["crews"] for t in of("crews")},
        falsework_sets=numbers("falsework_sets"),
        turnaround_days=numbers("turnaround_days"),
        workdays=tuple(case["workdays"]),
        weather=float(case["weather"]),
        order={t["heading"]: tuple(t["units"]) for t in of("order")},
    )


def write_changes(changes: Sequence[Change]) -> str:
    """Write cases as the text of a file that ``read_changes`` reads back.

    Examples
    --------
    >>> print(write_changes([Change("Two crews", crews={("", "rebar"): 2})]))
    [[case]]
    name = "Two crews"
    <BLANKLINE>
    [[crews]]
    case = "Two crews"
    activity = "rebar"
    crews = 2
    <BLANKLINE>
    """
    return "\n".join(table for change in changes for table in _tables(change))


def _tables(change: Change) -> list[str]:
    weather = None if change.weather == 1.0 else change.weather
    tables = [
        _table("case", {"name": change.name, "workdays": change.workdays, "weather": weather})
    ]

    def add(name: str, heading: str, **values: Any) -> None:
        tables.append(_table(name, {"case": change.name, "heading": heading, **values}))

    for (heading, activity), days in change.cycles.items():
        add("cycle", heading, activity=activity, days=days)
    for (heading, activity), crews in change.crews.items():
        add("crews", heading, activity=activity, crews=crews)
    for heading in dict.fromkeys([*change.falsework_sets, *change.turnaround_days]):
        add("sets", heading, falsework_sets=change.falsework_sets.get(heading),
            turnaround_days=change.turnaround_days.get(heading))  # fmt: skip
    for heading, units in change.order.items():
        add("order", heading, units=units)
    return tables


def _table(name: str, values: Mapping[str, Any]) -> str:
    """Write one table; what is blank is left out."""
    kept = {key: value for key, value in values.items() if value not in (None, "", (), [])}
    # JSON's numbers, lists, and texts escaped to ASCII are TOML's too.
    lines = [f"{key} = {json.dumps(value)}" for key, value in kept.items()]
    return "\n".join([f"[[{name}]]", *lines]) + "\n"
