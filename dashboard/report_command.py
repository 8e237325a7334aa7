"""``viaduct report``: the owner's week as a PDF."""

from __future__ import annotations

import datetime as dt
import os
import tempfile
from pathlib import Path

import click

from dashboard.command_words import (
    AS_JSON,
    DATABASE,
    FOLDER,
    KNOWN_ON,
    LocalDay,
    print_json,
    says_what_is_wrong,
)
from model.problems import InputError, Problem, ViaductError
from model.project import Project
from model.week_answer import WeekAnswer
from model.week_words import moment_words


@click.command()
@FOLDER
@click.option(
    "--week-ending", type=LocalDay(), help="Last day of the week; the last full one without it."
)
@click.option(
    "-o",
    "--output",
    "target",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE.pdf",
    help="Where to write it; may be left out with --json.",
)
@KNOWN_ON
@DATABASE
@click.option("--force", is_flag=True, help="Write over a file that is there.")
@AS_JSON
@says_what_is_wrong
def report(
    folder: Path,
    week_ending: dt.date | None,
    target: Path | None,
    known_on: dt.datetime | None,
    database: str | None,
    force: bool,
    as_json: bool,
) -> None:
    """Write the owner's week: what is placed, when it is finished, how far that moved and why.

    The week is told as known at its own end, unless --known-on says otherwise: so the report
    of a past week can be made again exactly.
    """
    if target is None and not as_json:
        raise click.UsageError("give -o FILE.pdf to write the report, or --json to print it")
    if target is not None:
        _refuse(target, force=force)
    with Project.open(folder, database) as project:
        answer = project.week(week_ending, known_on)
    if target is not None:
        # Setting pages takes a while to load, and --json alone needs none of it.
        from dashboard.report.week_pdf import week_pdf

        _write_whole(target, week_pdf(answer))
    if as_json:
        print_json(answer.as_dict())
    else:
        click.echo(f"wrote {target}: week of {answer.days_words}")
    _say_what_came_later(answer)


def _refuse(target: Path, *, force: bool) -> None:
    problem = None
    if target.suffix.lower() != ".pdf":
        problem = Problem(target.name, f"{target.suffix!r} is no format written here.", "Use .pdf.")
    elif not target.parent.is_dir():
        problem = Problem(target.name, f"There is no folder {target.parent}.", "Make it first.")
    elif target.exists() and not force:
        problem = Problem(
            target.name, "The file is there already.", "Use --force to write over it."
        )
    if problem is not None:
        raise InputError([problem])


def _write_whole(target: Path, content: bytes) -> None:
    """Write a file so that it is there whole or not at all, and the former one until then."""
    try:
        handle, name = tempfile.mkstemp(
            dir=target.parent, prefix=f".{target.stem}-", suffix=".part"
        )
    except OSError as error:
        raise ViaductError(f"{target} cannot be written: {error.strerror}.") from error
    part = Path(name)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        part.chmod(0o666 & ~_umask())
        part.replace(target)
    except OSError as error:
        raise ViaductError(f"{target} cannot be written: {error.strerror}.") from error
    finally:
        part.unlink(missing_ok=True)


def _umask() -> int:
    """Return what new files are denied; it can only be read by setting it."""
    mask = os.umask(0)
    os.umask(mask)
    return mask


def _say_what_came_later(answer: WeekAnswer) -> None:
    """Say on standard error how much of it became known only later."""
    if answer.told_since:
        few = "entry" if answer.told_since == 1 else "entries"
        known = moment_words(answer.moments.known_on)
        click.echo(
            f"note: {answer.told_since} {few} about this week or before became known after "
            f"{known}; --known-on with a later day counts them.",
            err=True,
        )
