"""The one door for writing: a batch of events goes into the log together, or none does.

``POST /api/events`` with ``{"events": […], "seen_seq": 123, "despite_others": false}``. An
``event_id`` the log holds already changes nothing, so that a batch may be sent until it is
confirmed. When somebody else recorded on the same unit after ``seen_seq``, both are shown and the
sender chooses: sent again with ``despite_others`` the batch is taken, if the
log still accepts it.
"""

from __future__ import annotations

from typing import Any

import dash
import flask

from dashboard import access
from dashboard.doors.event_json import WrongShape, event_record, read_event, wrong_shape
from dashboard.parts.json_body import read_json_body
from dashboard.parts.problem_answers import json_answer, problem_answer
from model.answers import problem_record
from model.events import Event
from model.meanwhile import NotYourHeading, RecordedMeanwhile
from model.problems import InputError, Problem
from model.project import Project

PATH = "/api/events"
SOURCE = "entry"
EVENTS_AT_MOST = 500
KEYS = frozenset({"events", "seen_seq", "despite_others"})
LARGEST_SEQ = 2**53
"""The largest whole number that every JSON reader holds exactly."""


def register(app: dash.Dash, project: Project) -> None:
    """Open the door."""

    def record_events() -> flask.Response:
        body = read_json_body()
        if isinstance(body, flask.Response):
            return body
        wrong = _wrong_body(body)
        if wrong:
            return problem_answer(400, wrong.message, wrong.fix, wrong.field)
        if len(body["events"]) > EVENTS_AT_MOST:
            return problem_answer(413, f"{len(body['events'])} events were sent at once; "
                                  f"{EVENTS_AT_MOST} are allowed.", "Send fewer at a time.",
                                  "events")  # fmt: skip
        return _recorded(project, body)

    app.server.add_url_rule(PATH, "record_events", record_events, methods=["POST"])


def _wrong_body(body: object) -> WrongShape | None:
    if not isinstance(body, dict):
        return WrongShape("The body is not an object.", "Send an object with a list of events.")
    if not isinstance(body.get("events"), list) or not body["events"]:
        return WrongShape("There is no list of events.", "Give at least one event.", "events")
    if unknown := body.keys() - KEYS:
        return WrongShape(f"{len(unknown)} of its keys mean nothing here.",
                          f"Use {', '.join(sorted(KEYS))}.")  # fmt: skip
    seen = body.get("seen_seq")
    if seen is not None and (type(seen) is not int or not 0 <= seen <= LARGEST_SEQ):
        return WrongShape("seen_seq is no running number.", "Give the last_seq you were shown.",
                          "seen_seq")  # fmt: skip
    if type(body.get("despite_others", False)) is not bool:
        return WrongShape("despite_others is neither true nor false.", "Give one of them.",
                          "despite_others")  # fmt: skip
    wrong = (wrong_shape(item) for item in body["events"][: EVENTS_AT_MOST + 1])
    return next((found for found in wrong if found), None)


def _recorded(project: Project, body: dict[str, Any]) -> flask.Response:
    user = access.asker()
    read = [read_event(item, row, user.name if user else None)
            for row, item in enumerate(body["events"], 1)]  # fmt: skip
    problems = [problem for found in read if isinstance(found, list) for problem in found]
    if problems:
        return _refused(problems, body)
    events = [found for found in read if isinstance(found, Event)]
    try:
        answer = project.record(
            events,
            source=SOURCE,
            seen_seq=None if body.get("despite_others") else body.get("seen_seq"),
            headings=access.asker_records_on(),
        )
    except RecordedMeanwhile as meanwhile:
        return _meanwhile(project, meanwhile, body["seen_seq"])
    except NotYourHeading as refused:
        access.note_denial(project, f"not on {', '.join(refused.headings)}")
        return problem_answer(403, str(refused), "Leave those units out.", "unit")
    except InputError as refused:
        return _refused(refused.problems, body)
    warnings = [_record(problem, body) for problem in answer.warnings]
    return json_answer({"accepted": list(answer.accepted), "repeated": list(answer.repeated),
                        "warnings": warnings, "last_seq": project.last_seq()})  # fmt: skip


def _refused(problems: Any, body: dict[str, Any]) -> flask.Response:
    return json_answer({"problems": [_record(problem, body) for problem in problems]}, 422)


def _record(problem: Problem, body: dict[str, Any]) -> dict[str, Any]:
    """Return a problem with the id of the event it is about."""
    events = body["events"]
    named = problem.row is not None and 0 < problem.row <= len(events)
    event_id = events[(problem.row or 1) - 1]["event_id"] if named else None
    return {"event_id": event_id, **problem_record(problem)}


def _meanwhile(project: Project, meanwhile: RecordedMeanwhile, seen_seq: int) -> flask.Response:
    theirs = project.recorded_since(seen_seq, meanwhile.event_ids)
    zone = project.job.timezone
    return json_answer(
        {"meanwhile": [event_record(event, zone) for event in theirs],
         "last_seq": meanwhile.last_seq},
        409,
    )  # fmt: skip
