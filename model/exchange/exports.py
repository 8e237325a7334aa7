"""What leaves a project as a file: footprints with their statuses, or the log."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path

from model.events import Event
from model.exchange.geojson import feature_collection
from model.exchange.geopackage import statuses_by_activity, write_footprints
from model.exchange.tables import write_events
from model.fold import State
from model.problems import InputError, Problem

ENDINGS = (".gpkg", ".geojson", ".csv")


def export_file(
    target: Path, state: State, events: Sequence[Event], *, replace: bool = False
) -> None:
    """Write a project to a file, in the format its ending names.

    Parameters
    ----------
    target
        ``.gpkg`` (layers ``spans`` and ``units`` in the project's coordinate system, with a
        status column an activity), ``.geojson`` (spans in WGS 84 with the same) or ``.csv``
        (the log).
    state
        The state to write.
    events
        The log.
    replace
        Write over a file that is there.

    Raises
    ------
    InputError
        For another ending, a folder that is not there, or a file that is there already.
    """
    problem = _target_problem(target, replace=replace)
    if problem is not None:
        raise InputError([problem])
    span_statuses = statuses_by_activity(state.spans)
    if target.suffix == ".gpkg":
        unit_statuses = statuses_by_activity(state.units)
        write_footprints(target, state.job, span_columns=span_statuses, unit_columns=unit_statuses)
    elif target.suffix == ".geojson":
        spans = state.job.spans
        keys = {name: spans[name].tolist() for name in ("unit", "span", "structure", "heading")}
        collection = feature_collection(spans, {**keys, **span_statuses})
        target.write_text(json.dumps(collection, ensure_ascii=False), encoding="utf-8")
    else:
        write_events(target, events)


def _target_problem(target: Path, *, replace: bool) -> Problem | None:
    if target.suffix not in ENDINGS:
        fix = f"Use one of {', '.join(ENDINGS)}."
        return Problem(target.name, f"{target.suffix!r} is no format written here.", fix)
    if not target.parent.is_dir():
        return Problem(target.name, f"There is no folder {target.parent}.", "Make it first.")
    if target.exists() and not replace:
        return Problem(target.name, "The file is there already.", "Use --force to write over it.")
    return None
