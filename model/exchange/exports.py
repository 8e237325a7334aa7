"""What leaves the project as a file: footprints with their statuses, or the log."""

from __future__ import annotations

import json
from collections.abc import Iterable
from pathlib import Path
from typing import Protocol

import pandas as pd

from model.events import Event
from model.exchange.geojson import feature_collection
from model.exchange.geopackage import statuses_by_activity, write_footprints
from model.exchange.tables import write_events
from model.job import Job
from model.problems import InputError, Problem

ENDINGS: tuple[str, ...] = (".gpkg", ".geojson", ".csv")

EXPORT_COLUMNS = ("unit", "span", "structure", "heading", "from_station_m", "to_station_m",
                  "length_m", "area_m2")  # fmt: skip


class Standing(Protocol):
    """What is exported of a state: its job, and frames of ``model.fold.State``."""

    @property
    def job(self) -> Job:
        """The job as planned."""

    @property
    def spans(self) -> pd.DataFrame:
        """One row per span and activity, with ``unit``, ``span``, ``activity``, ``status``."""

    @property
    def units(self) -> pd.DataFrame:
        """One row per unit and activity, with ``unit``, ``activity``, ``status``."""


def export_file(
    target: Path, state: Standing, events: Iterable[Event], *, replace: bool = False
) -> None:
    """Write footprints with their statuses (.gpkg, .geojson) or the log (.csv).

    Parameters
    ----------
    target
        The file; its ending says what is written.
    state
        Statuses to write.
    events
        The log.
    replace
        Whether a file that is there may be replaced.

    Raises
    ------
    InputError
        For another ending, a folder that isn't there, or a file that is there when
        ``replace`` is false.
    """
    _check_target(target, replace)
    if target.suffix == ".csv":
        write_events(target, events)
    elif target.suffix == ".gpkg":
        write_footprints(
            target,
            state.job,
            span_columns=statuses_by_activity(state.spans),
            unit_columns=statuses_by_activity(state.units),
        )
    else:
        _write_geojson(target, state)


def _check_target(target: Path, replace: bool) -> None:
    problem = None
    if target.suffix not in ENDINGS:
        message = f"{target.suffix or 'No ending'} is no format that is written."
        problem = Problem(target.name, message, f"Use one of {', '.join(ENDINGS)}.")
    elif not target.parent.is_dir():
        problem = Problem(target.name, f"There is no folder {target.parent}.", "Make it first.")
    elif target.exists() and not replace:
        problem = Problem(target.name, "The file is already there.", "Choose another name.")
    if problem is not None:
        raise InputError([problem])


def _write_geojson(target: Path, state: Standing) -> None:
    spans = state.job.spans
    columns = {name: spans[name].tolist() for name in EXPORT_COLUMNS}
    columns |= statuses_by_activity(state.spans)
    text = json.dumps(feature_collection(spans, columns), ensure_ascii=False)
    target.write_text(text, encoding="utf-8")
