"""Everything the entry page needs while there is no signal, in one answer."""

from __future__ import annotations

from typing import Any

import dash
import flask
import pandas as pd

from dashboard import access
from dashboard.doors.event_json import event_record
from dashboard.parts.compressed import compressed
from dashboard.parts.problem_answers import json_answer
from model.activities import Activity
from model.answers import in_shown_units, records
from model.hold_reasons import WEATHER_REASONS
from model.project import Project
from model.sequence import FAR_OVER_PLAN, LITTLE_PLACED, OVER_PLAN, SINGLE_PLACE_LIMIT
from model.units import accepted_units, shown_unit, si_per

PATH = "/api/entry-sheet"
ROW_COLUMNS = (
    "unit", "span", "activity", "heading", "status", "waits_for", "reason", "placed", "planned",
    "at_hand", "free_since",
)  # fmt: skip

LOAD_GAP_MINUTES = 30
"""Loads further apart may leave a cold joint (common practice, no source)."""

TRIES = 3

LIMITS = {
    "over_plan": OVER_PLAN,
    "far_over_plan": FAR_OVER_PLAN,
    "single_place": SINGLE_PLACE_LIMIT,
    "little_placed": LITTLE_PLACED,
    "load_gap_minutes": LOAD_GAP_MINUTES,
}
"""Shares of the plan at which the log warns or refuses, and the gap between loads to remark upon:
the phone says so before it sends."""


def register(app: dash.Dash, project: Project) -> None:
    """Open the door."""

    def entry_sheet() -> flask.Response:
        return compressed(json_answer(sheet(project, flask.request.args.get("by", ""))))

    app.server.add_url_rule(PATH, "entry_sheet", entry_sheet, methods=["GET"])


def sheet(project: Project, by: str = "") -> dict[str, Any]:
    """Return the sheet: the job's words, every row that can be recorded on, and who is asking.

    The rows of a superintendent are those of the headings given; others see them all. It is
    made again when somebody recorded meanwhile, so that its parts tell of one state of the log.
    Where that goes on, ``last_seq`` is as it was before: what came since is not yet seen.

    Parameters
    ----------
    project
        Is asked.
    by
        Who asks, where nobody signs in: whose last shift to tell.
    """
    for _ in range(TRIES):
        last_seq = project.last_seq()
        made = _sheet(project, by, last_seq)
        if project.last_seq() == last_seq:
            break
    return made


def _sheet(project: Project, by: str, last_seq: int) -> dict[str, Any]:
    job = project.job
    user, bound = access.asker(), access.asker_records_on()
    mine = [h.key for h in job.headings if not bound or h.key in bound]
    return {
        "as_of": project.now().isoformat(timespec="minutes"),
        "last_seq": last_seq,
        "project": job.name,
        "timezone": str(job.timezone),
        "units_system": job.units_system,
        "activities": [_activity(activity, project) for activity in job.activities],
        "headings": [{"key": h.key, "units": list(h.units)} for h in job.headings
                     if h.key in mine],
        "rows": _rows(project, mine),
        "likely": _likely(project, mine),
        "told": _told(project, user.name if user else by.strip()),
        "limits": LIMITS,
        "hold_reasons": list(job.hold_reasons),
        "weather_reasons": list(WEATHER_REASONS),
        "me": {"name": user.name, "role": user.role, "records": access.may("record")}
        if user else None,
    }  # fmt: skip


def _activity(activity: Activity, project: Project) -> dict[str, Any]:
    shown = shown_unit(activity.measure, project.job.units_system)
    return {
        "key": activity.key,
        "name": activity.name,
        "grain": activity.grain,
        "measure": activity.measure,
        "measure_unit": shown,
        "accepted_units": list(accepted_units(activity.measure)),
        "factors": {unit: si_per(unit) / si_per(shown)
                    for unit in accepted_units(activity.measure)},
        "after": list(activity.after),
        "weather": activity.weather,
    }  # fmt: skip


def _rows(project: Project, headings: list[str]) -> list[dict[str, Any]]:
    cells = pd.concat([project.at_hand(a.key) for a in project.job.activities], ignore_index=True)
    cells = cells[cells["heading"].isin(headings)]
    rows = records(in_shown_units(cells, project.job)[list(ROW_COLUMNS)])
    words = ("span", "waits_for", "reason")
    return [row | {word: row[word] or "" for word in words} for row in rows]


def _told(project: Project, by: str) -> dict[str, Any]:
    """Return what who is asking recorded of the last shift, so that it can be corrected."""
    day, events = project.told_last(by) if by else (None, ())
    return {
        "by": by,
        "shift": day.isoformat() if day else None,
        "events": [event_record(event, project.job.timezone) for event in events],
    }


def _likely(project: Project, headings: list[str]) -> dict[str, Any]:
    """Return what is likely to be reported of the shift now, the likeliest of a heading first."""
    likely = project.line.likely_next()
    proposals = likely.proposals[likely.proposals["heading"].isin(headings)]
    return {
        "shift": likely.shift.isoformat(),
        "next_shift": likely.next_shift.isoformat(),
        "note": likely.note,
        "proposals": proposals.to_dict("records"),
    }
