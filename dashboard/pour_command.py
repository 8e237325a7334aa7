"""``viaduct pour``: what the next pour of a unit needs."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import click

from dashboard.command_words import (
    AS_JSON,
    AS_OF,
    DATABASE,
    FOLDER,
    KNOWN_ON,
    LocalDay,
    LocalMoment,
    print_json,
    says_what_is_wrong,
)
from model.pour_asked import asked_in
from model.project import Project


class LocalStart(click.ParamType[dt.date]):
    """A local date and time, or a day alone: then the hour is the usual one."""

    name = "date"

    def convert(self, value: Any, param: Any, ctx: Any) -> dt.date:
        """Read ``2026-11-25T06:30`` or ``2026-11-25``."""
        if isinstance(value, str) and len(value) == len("2026-11-25"):
            return LocalDay().convert(value, param, ctx)
        return LocalMoment().convert(value, param, ctx)


@click.command()
@FOLDER
@click.argument("unit")
@click.argument("activity")
@DATABASE
@click.option("--span", default="", help="One span, of an activity that goes by spans.")
@click.option("--start", type=LocalStart(), help="First truck: 2026-11-25T06:30, or the day.")
@click.option("--rate", type=float, help="Concrete placed per hour, in yd³ or m³.")
@click.option("--load", type=float, help="What a truck brings, in yd³ or m³.")
@click.option(
    "--round-trip",
    "round_trip_minutes",
    type=float,
    metavar="MINUTES",
    help="From one loading to the next.",
)
@click.option(
    "--allowance",
    "allowance_percent",
    type=float,
    metavar="PERCENT",
    help="Ordered beyond what is placed.",
)
@click.option("--volume", type=float, help="What to place, instead of what remains of the plan.")
@click.option("--concrete-temp", type=float, help="Of the concrete as placed, in °F or °C.")
@click.option("--air-temp", type=float, help="Of the air in the shade, in °F or °C.")
@click.option("--humidity", "humidity_percent", type=float, metavar="PERCENT", help="Of the air.")
@click.option("--wind", type=float, help="Just above the deck, in mph or km/h.")
@AS_OF
@KNOWN_ON
@AS_JSON
@says_what_is_wrong
def pour(
    folder: Path,
    unit: str,
    activity: str,
    database: str | None,
    as_of: dt.datetime | None,
    known_on: dt.datetime | None,
    as_json: bool,
    **asked: Any,
) -> None:
    """Say what a pour needs: concrete, hours, trucks, finishers, and until when it is wet.

    Amounts are in the project's units. What is not given goes by [pour] of project.toml, by
    recent pours of the log, or by common practice; the answer says which.
    """
    with Project.open(folder, database) as project:
        wanted = asked_in(project.job.units_system, **asked)
        answer = project.pour(unit, activity, as_of=as_of, known_on=known_on, **wanted)
    if as_json:
        print_json(answer.as_dict())
    else:
        click.echo(str(answer))
