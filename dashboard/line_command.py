"""``viaduct lag``, ``viaduct backtest`` and ``viaduct whatif``: the scheduler's questions."""

from __future__ import annotations

import datetime as dt
import sys
from pathlib import Path

import click

from dashboard.command_words import (
    AS_JSON,
    AS_OF,
    DATABASE,
    FOLDER,
    KNOWN_ON,
    looks_back,
    print_json,
    says_what_is_wrong,
)
from model.project import Project


@click.command()
@FOLDER
@DATABASE
@AS_OF
@KNOWN_ON
@looks_back
@AS_JSON
@says_what_is_wrong
def lag(
    folder: Path,
    database: str | None,
    as_of: dt.datetime | None,
    known_on: dt.datetime | None,
    recent: int,
    recent_weeks: float | None,
    as_json: bool,
) -> None:
    """Say which units lag, why, and what it costs the finish; the worst first."""
    with Project.open(folder, database) as project:
        answer = project.lag(as_of, known_on, recent, recent_weeks)
    if as_json:
        print_json(answer.as_dict())
    else:
        click.echo(str(answer))


@click.command()
@FOLDER
@DATABASE
@AS_OF
@looks_back
@AS_JSON
@says_what_is_wrong
def backtest(
    folder: Path,
    database: str | None,
    as_of: dt.datetime | None,
    recent: int,
    recent_weeks: float | None,
    as_json: bool,
) -> None:
    """Compare what was projected every past week with what came after."""
    with Project.open(folder, database) as project:
        show = _show_week if sys.stderr.isatty() else None
        answer = project.backtest(show, as_of, recent, recent_weeks)
    if as_json:
        print_json(answer.as_dict())
    else:
        click.echo(str(answer))


def _show_week(done: int, total: int) -> bool:
    """Show how far it is, on one line of standard error."""
    click.echo(f"\r{done} of {total} past weeks", err=True, nl=done == total)
    return True


@click.command()
@FOLDER
@click.argument("change", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@DATABASE
@AS_OF
@looks_back
@AS_JSON
@says_what_is_wrong
def whatif(
    folder: Path,
    change: Path,
    database: str | None,
    as_of: dt.datetime | None,
    recent: int,
    recent_weeks: float | None,
    as_json: bool,
) -> None:
    """Compare the cases of CHANGE, a TOML file, with the line as it is; the log stays as it is."""
    with Project.open(folder, database) as project:
        answer = project.whatif_file(change, as_of, recent, recent_weeks)
    if as_json:
        print_json(answer.as_dict())
    else:
        click.echo(str(answer))
