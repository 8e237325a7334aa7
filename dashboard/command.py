"""The command line: read arguments, ask the project, print.

Exit 0 when all is well, 2 for bad input or usage with a message on standard error. With
``--json`` one object goes to standard output and nothing else does.
"""

from __future__ import annotations

import datetime as dt
import functools
import json
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

from dashboard.app import Settings, create_app
from demo_project import copy_starter
from model.clock import end_of_day
from model.problems import InputError, Problem, ViaductError
from model.project import Project, check_folder

BAD_INPUT = 2
Command = TypeVar("Command", bound=Callable[..., Any])


def _says_what_is_wrong(command: Command) -> Command:
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


FOLDER = click.argument("folder", type=click.Path(exists=True, file_okay=False, path_type=Path))
DATABASE = click.option("--database", metavar="URL", help="PostgreSQL URL of the log.")
AS_JSON = click.option("--json", "as_json", is_flag=True, help="One JSON object, nothing else.")
AS_OF = click.option("--as-of", type=LocalMoment(), help="What was true at the end of this day.")
KNOWN_ON = click.option("--known-on", type=LocalMoment(), help="Only what the log knew by then.")


def _print_json(answer: dict[str, Any]) -> None:
    click.echo(json.dumps(answer, ensure_ascii=False, allow_nan=False))


def _print_problems(problems: tuple[Problem, ...]) -> None:
    for problem in problems:
        click.echo(f"{problem.severity}: {problem}", err=True)


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="viaduct-pour-map")
def main() -> None:
    """Viaduct Pour Map: where every trade stands on a box-girder viaduct."""


@main.command()
@click.option("--folder", type=click.Path(path_type=Path), help="Where the demo lives.")
@click.option("--fresh", is_flag=True, help="Start over: forget what was entered in the demo.")
@click.option("--host", default="127.0.0.1", show_default=True)
@click.option("--port", default=8050, show_default=True, type=click.IntRange(0, 65535))
@click.option("--open/--no-open", "browse", default=True, help="Open a browser window.")
@click.option("--serve/--no-serve", default=True, help="Only write the folder, or serve it too.")
@_says_what_is_wrong
def demo(folder: Path | None, fresh: bool, host: str, port: int, browse: bool, serve: bool) -> None:
    """Open the dashboard on an invented viaduct, half built."""
    from dashboard.demo import open_demo

    project = open_demo(folder, fresh=fresh)
    click.echo(f"demo project: {project.folder}")
    if serve:
        _serve(project, host, port, browse, Settings(demo=True))


@main.command()
@click.argument("folder", type=click.Path(path_type=Path))
@_says_what_is_wrong
def new(folder: Path) -> None:
    """Start a project folder with a small example to change."""
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise ViaductError(f"{folder} is there already and not empty. Give a new folder.")
    copy_starter(folder)
    click.echo(f"{folder} is ready; change its files, then run: viaduct check {folder}")


@main.command()
@FOLDER
@AS_JSON
@_says_what_is_wrong
def check(folder: Path, as_json: bool) -> None:
    """Say everything that is wrong with a project folder."""
    answer = check_folder(folder)
    if as_json:
        _print_json(answer.as_dict())
    else:
        _print_problems(answer.problems)
        if answer.ok:
            click.echo(f"{folder}: well")
    if not answer.ok:
        sys.exit(BAD_INPUT)


@main.command()
@FOLDER
@DATABASE
@click.option("--host", default="127.0.0.1", show_default=True)
@click.option("--port", default=8050, show_default=True, type=click.IntRange(0, 65535))
@click.option("--open/--no-open", "browse", default=False, help="Open a browser window.")
@_says_what_is_wrong
def serve(folder: Path, database: str | None, host: str, port: int, browse: bool) -> None:
    """Open the dashboard on a project folder."""
    _serve(Project.open(folder, database), host, port, browse, Settings())


def _serve(project: Project, host: str, port: int, browse: bool, settings: Settings) -> None:
    from dashboard.serving import serve_until_stopped

    _print_problems(project.warnings)
    serve_until_stopped(create_app(project, settings), host, port, browse)


@main.command()
@FOLDER
@click.argument("events", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@DATABASE
@AS_JSON
@_says_what_is_wrong
def record(folder: Path, events: Path, database: str | None, as_json: bool) -> None:
    """Add the events of a CSV file to the log: all of them, or none."""
    with Project.open(folder, database) as project:
        answer = project.record_csv(events)
    if as_json:
        _print_json(answer.as_dict())
        return
    _print_problems(answer.warnings)
    click.echo(f"{len(answer.accepted)} recorded, {len(answer.repeated)} already there")


@main.command()
@FOLDER
@DATABASE
@AS_OF
@KNOWN_ON
@click.option("--activity", help="Only this activity.")
@AS_JSON
@_says_what_is_wrong
def status(
    folder: Path,
    database: str | None,
    as_of: dt.datetime | None,
    known_on: dt.datetime | None,
    activity: str | None,
    as_json: bool,
) -> None:
    """Say where every trade stands and what is placed against plan."""
    with Project.open(folder, database) as project:
        answer = project.status(as_of=as_of, known_on=known_on, activity=activity)
    if as_json:
        _print_json(answer.as_dict())
    else:
        click.echo(str(answer))


@main.command()
@FOLDER
@DATABASE
@AS_OF
@KNOWN_ON
@click.option("--paths", default=10_000, show_default=True, type=click.IntRange(100, 1_000_000))
@click.option("--seed", default=1, show_default=True, type=click.IntRange(0))
@click.option("--recent", default=8, show_default=True, type=click.IntRange(2, 1000))
@AS_JSON
@_says_what_is_wrong
def forecast(
    folder: Path,
    database: str | None,
    as_of: dt.datetime | None,
    known_on: dt.datetime | None,
    paths: int,
    seed: int,
    recent: int,
    as_json: bool,
) -> None:
    """Project the finish from the recent cycle, with its band."""
    with Project.open(folder, database) as project:
        answer = project.forecast(
            as_of=as_of, known_on=known_on, paths=paths, seed=seed, recent=recent
        )
    if as_json:
        _print_json(answer.as_dict())
    else:
        click.echo(str(answer))


@main.command()
@FOLDER
@click.argument("target", type=click.Path(dir_okay=False, path_type=Path))
@DATABASE
@click.option("--force", is_flag=True, help="Write over a file that is there.")
@_says_what_is_wrong
def export(folder: Path, target: Path, database: str | None, force: bool) -> None:
    """Write footprints with their statuses (.gpkg, .geojson) or the log (.csv)."""
    with Project.open(folder, database) as project:
        project.export(target, replace=force)
    click.echo(f"wrote {target}")
