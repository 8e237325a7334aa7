"""The command line: read arguments, ask the project, print.

Exit 0 when all is well, 2 for bad input or usage with a message on standard error. With
``--json`` one object goes to standard output and nothing else does.
"""

from __future__ import annotations

import datetime as dt
import sys
from pathlib import Path

import click

from dashboard.app import Settings, create_app
from dashboard.backup_command import backup, restore
from dashboard.command_words import (
    AS_JSON,
    AS_OF,
    BAD_INPUT,
    DATABASE,
    FOLDER,
    KNOWN_ON,
    LocalDay,
    looks_back,
    print_json,
    print_problems,
    says_what_is_wrong,
)
from dashboard.line_command import backtest, lag, whatif
from dashboard.pour_command import pour
from dashboard.report_command import report
from dashboard.user_command import user
from demo_project import copy_starter
from model.problems import ViaductError
from model.project import Project, check_folder

PROXY = click.option(
    "--proxy",
    metavar="ADDRESS",
    help="Address of the https proxy in front; what it says of the sender is believed.",
)


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="viaduct-pour-map")
def main() -> None:
    """Viaduct Pour Map: where every trade stands on a box-girder viaduct."""


main.add_command(user)
main.add_command(backup)
main.add_command(restore)
main.add_command(lag)
main.add_command(backtest)
main.add_command(whatif)
main.add_command(pour)
main.add_command(report)


@main.command()
@click.option("--folder", type=click.Path(path_type=Path), help="Where the demo lives.")
@click.option("--fresh", is_flag=True, help="Start over: forget what was entered in the demo.")
@click.option("--host", default="127.0.0.1", show_default=True)
@click.option("--port", default=8050, show_default=True, type=click.IntRange(0, 65535))
@click.option("--open/--no-open", "browse", default=True, help="Open a browser window.")
@click.option("--serve/--no-serve", default=True, help="Only write the folder, or serve it too.")
@says_what_is_wrong
def demo(folder: Path | None, fresh: bool, host: str, port: int, browse: bool, serve: bool) -> None:
    """Open the dashboard on an invented viaduct, half built."""
    from dashboard.demo import open_demo

    project = open_demo(folder, fresh=fresh)
    click.echo(f"demo project: {project.folder}")
    if serve:
        _serve(project, host, port, browse, demo=True)


@main.command()
@click.argument("folder", type=click.Path(path_type=Path))
@says_what_is_wrong
def new(folder: Path) -> None:
    """Start a project folder with a small example to change."""
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise ViaductError(f"{folder} is there already and not empty. Give a new folder.")
    copy_starter(folder)
    click.echo(f"{folder} is ready; change its files, then run: viaduct check {folder}")


@main.command()
@FOLDER
@AS_JSON
@says_what_is_wrong
def check(folder: Path, as_json: bool) -> None:
    """Say everything that is wrong with a project folder."""
    answer = check_folder(folder)
    if as_json:
        print_json(answer.as_dict())
    else:
        print_problems(answer.problems)
        if answer.ok:
            click.echo(f"{folder}: well")
    if not answer.ok:
        sys.exit(BAD_INPUT)


@main.command()
@FOLDER
@DATABASE
@click.option("--host", default="127.0.0.1", show_default=True)
@click.option("--port", default=8050, show_default=True, type=click.IntRange(0, 65535))
@PROXY
@click.option("--open/--no-open", "browse", default=False, help="Open a browser window.")
@says_what_is_wrong
def serve(
    folder: Path, database: str | None, host: str, port: int, proxy: str | None, browse: bool
) -> None:
    """Open the dashboard on a project folder.

    Without users it answers on this machine alone. To let others in, add users with
    'viaduct user add' and put an https proxy in front: passwords are not taken over plain http.
    """
    _serve(Project.open(folder, database), host, port, browse, proxy=proxy)


def _serve(
    project: Project,
    host: str,
    port: int,
    browse: bool,
    *,
    demo: bool = False,
    proxy: str | None = None,
) -> None:
    from dashboard.serving import keep_for_good, reached_by_others, serve_until_stopped

    others = reached_by_others(project, host, proxy)
    print_problems(project.warnings)
    project.prepare()
    app = create_app(project, Settings(demo=demo, users_only=others))
    keep_for_good()
    serve_until_stopped(app, host, port, browse, proxy=proxy, in_quiet=project.get_ready_to_march)


@main.command()
@FOLDER
@click.argument("events", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@DATABASE
@AS_JSON
@says_what_is_wrong
def record(folder: Path, events: Path, database: str | None, as_json: bool) -> None:
    """Add the events of a CSV file to the log: all of them, or none."""
    with Project.open(folder, database) as project:
        answer = project.record_csv(events)
    if as_json:
        print_json(answer.as_dict())
        return
    print_problems(answer.warnings)
    click.echo(f"{len(answer.accepted)} recorded, {len(answer.repeated)} already there")


@main.command()
@FOLDER
@DATABASE
@AS_OF
@KNOWN_ON
@click.option("--activity", help="Only this activity.")
@AS_JSON
@says_what_is_wrong
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
        print_json(answer.as_dict())
    else:
        click.echo(str(answer))


@main.command()
@FOLDER
@DATABASE
@AS_OF
@KNOWN_ON
@click.option("--paths", default=10_000, show_default=True, type=click.IntRange(100, 1_000_000))
@click.option("--seed", default=1, show_default=True, type=click.IntRange(0))
@looks_back
@AS_JSON
@says_what_is_wrong
def forecast(
    folder: Path,
    database: str | None,
    as_of: dt.datetime | None,
    known_on: dt.datetime | None,
    paths: int,
    seed: int,
    recent: int,
    recent_weeks: float | None,
    as_json: bool,
) -> None:
    """Project the finish from the recent cycle, with its band."""
    with Project.open(folder, database) as project:
        answer = project.forecast(
            as_of=as_of, known_on=known_on, paths=paths, seed=seed, recent=recent,
            recent_weeks=recent_weeks,
        )  # fmt: skip
    if as_json:
        print_json(answer.as_dict())
    else:
        click.echo(str(answer))


@main.command()
@FOLDER
@DATABASE
@click.option("--date", "day", type=LocalDay(), help="The day the shift began; now's without it.")
@KNOWN_ON
@AS_JSON
@says_what_is_wrong
def daybook(
    folder: Path,
    database: str | None,
    day: dt.date | None,
    known_on: dt.datetime | None,
    as_json: bool,
) -> None:
    """Print who recorded what of a shift, when it happened and when it became known."""
    with Project.open(folder, database) as project:
        answer = project.day_book(day, known_on)
    if as_json:
        print_json(answer.as_dict())
    else:
        click.echo(str(answer))


@main.command()
@FOLDER
@click.argument("target", type=click.Path(dir_okay=False, path_type=Path))
@DATABASE
@click.option("--force", is_flag=True, help="Write over a file that is there.")
@says_what_is_wrong
def export(folder: Path, target: Path, database: str | None, force: bool) -> None:
    """Write footprints with their statuses (.gpkg, .geojson) or the log (.csv)."""
    with Project.open(folder, database) as project:
        project.export(target, replace=force)
    click.echo(f"wrote {target}")
