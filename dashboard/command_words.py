"""What all commands share: their options, how they print, how they say what is wrong."""

from __future__ import annotations

import datetime as dt
import functools
import json
import math
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

from dashboard.parts.days import read_day
from dashboard.parts.line_back import FEWEST_UNITS, FEWEST_WEEKS, MOST
from model.clock import end_of_day
from model.cycle import RECENT_UNITS
from model.problems import InputError, Problem, ViaductError

BAD_INPUT = 2
Command = TypeVar("Command", bound=Callable[..., Any])


def says_what_is_wrong(command: Command) -> Command:
    """Print this project's own errors once, plainly, and exit 2."""

    @functools.wraps(command)
    def wrapped(*args: Any, **kwargs: Any) -> Any:
        try:
            return command(*args, **kwargs)
        except InputError as error:
            for problem in error.problems:
                click.echo(f"{problem.severity}: {problem}", err=True)
        except ViaductError as error:
            click.echo(f"error: {error}", err=True)
        sys.exit(BAD_INPUT)

    return wrapped  # type: ignore[return-value]


class LocalMoment(click.ParamType[dt.datetime]):
    """A day (its last moment is meant) or a local date and time."""

    name = "date"

    def convert(self, value: Any, param: Any, ctx: Any) -> dt.datetime:
        """Read ``2026-11-24`` or ``2026-11-24T15:30``."""
        if isinstance(value, dt.datetime):
            return value
        try:
            if len(value) == len("2026-11-24"):
                return end_of_day(dt.date.fromisoformat(value))
            moment = dt.datetime.fromisoformat(value)
        except ValueError:
            self.fail(f"{value!r} is no date; write 2026-11-24 or 2026-11-24T15:30", param, ctx)
        if moment.tzinfo is not None:
            self.fail(f"{value!r} has a time zone; give the local time of the site", param, ctx)
        return moment


class LocalDay(click.ParamType[dt.date]):
    """A day on site."""

    name = "date"

    def convert(self, value: Any, param: Any, ctx: Any) -> dt.date:
        """Read ``2026-11-24``."""
        if isinstance(value, dt.date):
            return value
        day = read_day(value)
        if day is None:
            self.fail(f"{value!r} is no day; write it like 2026-11-24", param, ctx)
        return day


FOLDER = click.argument("folder", type=click.Path(exists=True, file_okay=False, path_type=Path))
DATABASE = click.option("--database", metavar="URL", help="PostgreSQL URL of the log.")
AS_JSON = click.option("--json", "as_json", is_flag=True, help="One JSON object, nothing else.")
AS_OF = click.option("--as-of", type=LocalMoment(), help="What was true at the end of this day.")
KNOWN_ON = click.option("--known-on", type=LocalMoment(), help="Only what the log knew by then.")


def looks_back(command: Command) -> Command:
    """Let a command say how far back crew's days are drawn from."""

    @click.option(
        "--recent",
        default=RECENT_UNITS,
        show_default=True,
        type=click.IntRange(FEWEST_UNITS, MOST),
        help="Draw crew's days from the last so many units.",
    )
    @click.option(
        "--recent-weeks",
        type=click.FloatRange(FEWEST_WEEKS, MOST),
        callback=_a_number,
        help="Draw them from the last so many weeks instead.",
    )
    @functools.wraps(command)
    def wrapped(*args: Any, **kwargs: Any) -> Any:
        if kwargs["recent_weeks"] is not None and _given("recent"):
            raise click.UsageError("give --recent or --recent-weeks, not both")
        return command(*args, **kwargs)

    return wrapped  # type: ignore[return-value]


def _a_number(_: click.Context, __: click.Parameter, value: float | None) -> float | None:
    """Refuse ``nan``, which lies within any range."""
    if value is not None and math.isnan(value):
        raise click.BadParameter("nan is no number.")
    return value


def _given(option: str) -> bool:
    """Tell whether an option of the command that runs was written, not left to its default."""
    source = click.get_current_context().get_parameter_source(option)
    return source is not click.core.ParameterSource.DEFAULT


def print_json(answer: dict[str, Any]) -> None:
    """Print one JSON object on standard output."""
    click.echo(json.dumps(answer, ensure_ascii=False, allow_nan=False))


def print_problems(problems: tuple[Problem, ...]) -> None:
    """Print problems on standard error, one a line."""
    for problem in problems:
        click.echo(f"{problem.severity}: {problem}", err=True)
