"""Seeing to it that what is written is on the disk, under its own name, or not at all."""

from __future__ import annotations

import os
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

OWNERS = 0o600


@contextmanager
def in_the_making(target: Path, *, replace: bool, mode: int) -> Iterator[Path]:
    """Give a name to write to; the file gets its own name once it is whole and on the disk.

    Parameters
    ----------
    target
        The file to be; nothing is seen of it before it is whole.
    replace
        True may put it in the place of a file that is there.
    mode
        Who may read and write it.

    Raises
    ------
    FileExistsError
        When there is a file of that name and it may not be replaced.
    """
    part = target.absolute().with_name(f"{target.name}.{uuid.uuid4().hex[:8]}.part")
    try:
        part.touch(mode=OWNERS, exist_ok=False)  # nobody else reads along while it is written
        yield part
        part.chmod(mode)
        flush(part)
        if not replace:
            target.touch(exist_ok=False)  # somebody else may have taken the name meanwhile
        part.replace(target)
    finally:
        part.unlink(missing_ok=True)
    flush_folder(target.absolute().parent)


def flush(path: Path) -> None:
    """Wait until a file is on the disk."""
    with path.open("rb+") as file:
        os.fsync(file.fileno())


def flush_folder(folder: Path) -> None:
    """Wait until the names in a folder are on the disk."""
    if os.name == "posix":  # elsewhere a folder cannot be opened, and need not be
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
