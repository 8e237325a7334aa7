"""An invented viaduct across an invented tidal flat, and the generator of its log.

Every place, person and firm in it is made up. The files of ``folder`` are written by
``demo_project.layout`` and shipped ready-made; the log is written by whoever opens the demo,
from ``demo_project.generator.demo_events``.
"""

from __future__ import annotations

import shutil
from pathlib import Path

FOLDER: Path = Path(__file__).parent / "folder"
"""The project folder of the demo, without its log."""


STARTER: Path = Path(__file__).parent / "starter"
"""A small project folder to change into one's own."""


def copy_demo(target: Path) -> Path:
    """Copy the demo's project folder to ``target``, without a log.

    Parameters
    ----------
    target
        Folder to write to; made when it is not there. Files of the same name are replaced.

    Returns
    -------
    Path
        ``target``.
    """
    return _copy(FOLDER, target)


def copy_starter(target: Path) -> Path:
    """Copy the starter project to ``target``, which is made when it is not there.

    Returns
    -------
    Path
        ``target``.
    """
    return _copy(STARTER, target)


def _copy(folder: Path, target: Path) -> Path:
    target.mkdir(parents=True, exist_ok=True)
    for file in sorted(folder.iterdir()):
        if file.is_file():
            shutil.copyfile(file, target / file.name)
    return target
