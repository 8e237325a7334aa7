"""``viaduct backup`` and ``viaduct restore``: a project in one file, and back."""

from __future__ import annotations

from pathlib import Path

import click

from dashboard.command_words import FOLDER, says_what_is_wrong
from model.project import back_up_folder, restore_folder


@click.command()
@FOLDER
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@says_what_is_wrong
def backup(folder: Path, file: Path) -> None:
    """Write a project folder, its log and its accounts into one zip file.

    The dashboard may go on running. A file that is there is never replaced. Keep the backup
    where only you can read it: passwords are in it, though not in plain text. A log in
    PostgreSQL is not in it; back that up with the database server's own tools.
    """
    kept = back_up_folder(folder, file)
    click.echo(f"wrote {file}: {kept.files} files, {kept.events} events in the log")


@click.command()
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.argument("folder", type=click.Path(path_type=Path))
@says_what_is_wrong
def restore(file: Path, folder: Path) -> None:
    """Make a new project folder out of a backup."""
    kept = restore_folder(file, folder)
    click.echo(f"{folder} is back: {kept.files} files, {kept.events} events in the log")
