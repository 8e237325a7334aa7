"""The demo: an invented viaduct on its own day, kept between runs."""

from __future__ import annotations

import datetime as dt
import shutil
from pathlib import Path

import platformdirs

from demo_project import copy_demo
from demo_project.generator import LOG_ENDS, demo_events
from model.clock import clock_starting_at
from model.project import Project


def demo_folder() -> Path:
    """Return where the demo lives unless told otherwise: the user's data folder."""
    return Path(platformdirs.user_data_dir("viaduct-pour-map")) / "demo"


def open_demo(folder: Path | None = None, *, fresh: bool = False) -> Project:
    """Open the demo project, writing its folder and log when they are not there yet.

    The demo's clock goes on from the last moment its log knows, whatever the real date, so
    that "today" on its screens is always the day after nine months of work.

    Parameters
    ----------
    folder
        Where it lives; by default the user's data folder.
    fresh
        Write it anew. Only a folder this program wrote is ever removed.
    """
    target = folder or demo_folder()
    marker = target / ".viaduct-demo"
    if fresh and marker.exists():
        shutil.rmtree(target)
    if not marker.exists():
        copy_demo(target)
        _write_log(target)
        marker.write_text("Written by 'viaduct demo'; --fresh removes this folder.\n")
    with Project.open(target) as project:
        last = project.last_recorded_at()
    morning_after = last + dt.timedelta(hours=1)
    return Project.open(target, clock=clock_starting_at(morning_after))


def _write_log(folder: Path) -> None:
    """Record the demo's nine months on the demo's own last evening, whatever the real date."""
    with Project.open(folder) as project:
        evening = LOG_ENDS.replace(tzinfo=project.job.timezone)
    with Project.open(folder, clock=clock_starting_at(evening)) as project:
        project.record(demo_events(project.job), keep_recorded_at=True)
