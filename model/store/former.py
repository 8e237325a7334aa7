"""Putting a new text in the place of a file, the former one kept beside.

Nothing a person typed is lost: what a file held goes into ``plan_before/`` under the moment it
was replaced, before the new one takes its name. The new one is seen whole or not at all.
"""

from __future__ import annotations

import datetime as dt
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from model.problems import StoreError
from model.store.disk import in_the_making
from model.store.gate import Gate

FORMER_FOLDER = "plan_before"
GATE = "gate"
WAIT_S = 30.0
"""Longer than anybody takes to write two small files."""

USUAL_MODE = 0o644
MOST_IN_A_SECOND = 1000


@contextmanager
def alone_in(folder: Path) -> Iterator[None]:
    """Let nobody else replace a file of this folder meanwhile, nor another program.

    Raises
    ------
    StoreError
        When the folder does not take the files.
    """
    kept = folder / FORMER_FOLDER
    with _disk_errors(kept):
        kept.mkdir(exist_ok=True)
    gate = Gate(kept / GATE)
    try:
        with gate.passed(time.monotonic() + WAIT_S):
            yield
    finally:
        gate.close()


def replace_kept(path: Path, content: bytes, at: dt.datetime) -> str:
    """Replace a file, or make it, and keep what it held.

    Parameters
    ----------
    path
        The file; ``alone_in`` its folder.
    content
        What it is to hold.
    at
        The moment (aware).

    Returns
    -------
    str
        Where the former content is, seen from the folder; blank where there was none.

    Raises
    ------
    StoreError
        When the disk does not take it. The file is then as it was.
    """
    with _disk_errors(path):
        kept, mode = "", USUAL_MODE
        if path.exists():
            mode = path.stat().st_mode & 0o777
            kept = _keep(path, at.astimezone(dt.UTC), mode)
        with in_the_making(path, replace=True, mode=mode) as part:
            part.write_bytes(content)
    return kept


def _keep(path: Path, at: dt.datetime, mode: int) -> str:
    folder = path.parent / FORMER_FOLDER
    for number in range(1, MOST_IN_A_SECOND):
        again = f"_{number}" if number > 1 else ""
        target = folder / f"{at:%Y-%m-%dT%H%M%SZ}{again}_{path.name}"
        if not target.exists():
            break
    with in_the_making(target, replace=False, mode=mode) as part:
        part.write_bytes(path.read_bytes())
    return f"{FORMER_FOLDER}/{target.name}"


@contextmanager
def _disk_errors(path: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        # The name alone: this is told in the browser, to whom the machine's folders are nothing.
        name = Path(str(error.filename or path)).name
        raise StoreError(
            f"{name} cannot be read or written ({error.strerror or 'for no reason given'}). See "
            "that there is room and that this user may, then try again."
        ) from error
