"""A project folder and its log in one file, and back.

A log that is being written to cannot be copied like other files: half of what was confirmed
may still be in the write-ahead file beside it. So databases are copied by SQLite's own online
backup, while others go on writing, and each copy is checked before it counts. The backup is a
plain zip file; the log in it opens with any SQLite tool.

References
----------
SQLite, "Using the SQLite Online Backup API", https://www.sqlite.org/backup.html
"""

from __future__ import annotations

import shutil
import sqlite3
import tempfile
import uuid
import zipfile
import zlib
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from model.problems import StoreError
from model.store.disk import flush, in_the_making

MARK = "project.toml"
"""Every project folder has this file, and so has every backup."""

SESSIONS = "account_sessions"
PRIVATE = 0o600
"""The accounts are in it."""

DAMAGED = (
    zipfile.BadZipFile,
    zlib.error,
    EOFError,
    NotImplementedError,  # packed in a way that is not known here
    RuntimeError,  # locked with a password
)
"""What reading a zip file that is none, or is spoiled, can raise."""


@dataclass(frozen=True, slots=True)
class BackedUp:
    """What a backup holds.

    Parameters
    ----------
    files
        How many, databases among them.
    events
        How many the log holds.
    """

    files: int
    events: int


def back_up(folder: Path, target: Path, databases: Sequence[str]) -> BackedUp:
    """Write a project folder and its databases into one file, readable by its owner alone.

    Parameters
    ----------
    folder
        A project folder; people may go on writing to its log.
    target
        The zip file to make, outside the folder.
    databases
        Names of the SQLite files in the folder, the log first; one that is missing is left out.

    Raises
    ------
    StoreError
        When there is a file already, a database is damaged, or the disk is full. Nothing is
        left of the backup then.
    """
    _refuse_target(folder, target)
    with (
        _disk_errors(target),
        in_the_making(target, replace=False, mode=PRIVATE) as part,
        tempfile.TemporaryDirectory() as at,
    ):
        # The log before the rest: what it names is then sure to be among the files.
        copies = [_copied(folder / name, Path(at) / name) for name in databases
                  if (folder / name).is_file()]  # fmt: skip
        files = copies + _plain_files(folder, databases)
        with zipfile.ZipFile(part, "w", zipfile.ZIP_DEFLATED, strict_timestamps=False) as archive:
            for path in files:
                base = Path(at) if path in copies else folder
                archive.write(path, path.relative_to(base).as_posix())
        return BackedUp(len(files), _events_in(Path(at) / databases[0]))


def restore(source: Path, folder: Path, databases: Sequence[str]) -> BackedUp:
    """Make a project folder out of a backup.

    Parameters
    ----------
    source
        A file that ``back_up`` wrote.
    folder
        Where to put it: not there yet, or empty.
    databases
        Names of the SQLite files, the log first.

    Raises
    ------
    StoreError
        When the folder is not empty, the file is no backup, or is damaged. The folder is then
        as it was.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise StoreError(f"{folder} is there already and not empty. Give a new folder.")
    if not folder.absolute().parent.is_dir():
        raise StoreError(f"The folder of {folder} does not exist. Make it first.")
    part = folder.absolute().with_name(f"{folder.name}.{uuid.uuid4().hex[:8]}.part")
    with _disk_errors(folder):
        part.mkdir()
        try:
            names = _unpack(source, part)
            for path in (part / name for name in databases if name in names):
                _check(path, f"{source.name}: {path.name}")
            answer = BackedUp(len(names), _events_in(part / databases[0]))
            if folder.exists():
                folder.rmdir()
            part.replace(folder)
        finally:
            shutil.rmtree(part, ignore_errors=True)
    return answer


def _refuse_target(folder: Path, target: Path) -> None:
    if not (folder / MARK).is_file():
        raise StoreError(f"{folder} is no project folder: it has no {MARK}.")
    if target.exists():
        raise StoreError(f"{target} is there already. Give another name; backups are not replaced.")
    if target.resolve().is_relative_to(folder.resolve()):
        raise StoreError(
            f"{target} lies in the folder it would keep safe. Put the backup somewhere else, "
            "best on another disk."
        )
    if not target.absolute().parent.is_dir():
        raise StoreError(f"The folder of {target} does not exist. Make it first.")


def _plain_files(folder: Path, databases: Sequence[str]) -> list[Path]:
    """Return the files of a folder but its databases and what SQLite keeps beside them."""
    beside = tuple(f"{name}{mark}" for name in databases for mark in "-.")
    return [
        path
        for path in sorted(folder.rglob("*"))
        if path.is_file()
        and not (path.parent == folder and (path.name in databases or path.name.startswith(beside)))
    ]


def _copied(source: Path, copy: Path) -> Path:
    """Copy a database that may be in use, and see that the copy is sound."""
    with (
        _database_errors(source.name),
        closing(sqlite3.connect(f"{source.absolute().as_uri()}?mode=rw", uri=True)) as live,
        closing(sqlite3.connect(copy, isolation_level=None)) as made,
    ):
        live.backup(made)
        _forget_sessions(made)
        made.execute("PRAGMA journal_mode = DELETE")  # one file, without a write-ahead one
    _check(copy, source.name)
    shutil.copymode(source, copy)  # accounts stay private when they come back
    return copy


def _forget_sessions(made: sqlite3.Connection) -> None:
    """Keep no browser signed in: one that was signed out since would be let in again."""
    tables = {name for (name,) in made.execute("SELECT name FROM sqlite_master")}
    if SESSIONS in tables:
        made.execute(f"DELETE FROM {SESSIONS}")


def _check(path: Path, name: str) -> None:
    with _database_errors(name), closing(sqlite3.connect(path)) as connection:
        found = [row[0] for row in connection.execute("PRAGMA integrity_check")]
    if found != ["ok"]:
        raise StoreError(f"{name} is damaged ({found[0]}). Keep it, and use the last good backup.")


def _events_in(path: Path) -> int:
    if not path.is_file():
        return 0
    with _database_errors(path.name), closing(sqlite3.connect(path)) as connection:
        return int(connection.execute("SELECT count(*) FROM events").fetchone()[0])


def _unpack(source: Path, into: Path) -> set[str]:
    """Unpack a backup; return the names in it."""
    try:
        with zipfile.ZipFile(source) as archive:
            inside = [info for info in archive.infolist() if not info.is_dir()]
            names = {info.filename for info in inside}
            if MARK not in names or not all(map(_stays_inside, names)):
                raise StoreError(f"{source} is a zip file, but no backup of a project.")
            for info in inside:
                path = into / info.filename
                path.parent.mkdir(parents=True, exist_ok=True)
                path.touch(mode=PRIVATE)  # before there is anything in it
                archive.extract(info, into)
                path.chmod((info.external_attr >> 16) & 0o777 or 0o644)
                flush(path)
    except DAMAGED as error:
        raise StoreError(
            f"{source} is no backup, or it is damaged ({error}). Use another one."
        ) from error
    return names


def _stays_inside(name: str) -> bool:
    path = PurePosixPath(name)
    return not path.is_absolute() and ".." not in path.parts


@contextmanager
def _database_errors(name: str) -> Iterator[None]:
    try:
        yield
    except sqlite3.Error as error:
        raise StoreError(
            f"{name} cannot be copied or read ({error}). Keep it, and use the last good backup."
        ) from error


@contextmanager
def _disk_errors(path: Path) -> Iterator[None]:
    try:
        yield
    except FileExistsError as error:
        raise StoreError(f"{path} is there already. Give another name.") from error
    except OSError as error:
        raise StoreError(
            f"{error.filename or path} cannot be read or written ({error.strerror or error}). See "
            "that there is room and that this user may, then try again."
        ) from error
