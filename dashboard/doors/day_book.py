"""The day book of a shift as JSON, the same as ``viaduct daybook --json``."""

from __future__ import annotations

import dash
import flask

from dashboard.parts.days import read_day
from dashboard.parts.problem_answers import json_answer, problem_answer
from model.project import Project

PATH = "/api/day-book"


def register(app: dash.Dash, project: Project) -> None:
    """Open the door."""

    def day_book() -> flask.Response:
        wanted = flask.request.args.get("date")
        day = read_day(wanted)
        if wanted is not None and day is None:
            return problem_answer(400, "That is no day.", "Write it like 2026-07-31.", "date")
        return json_answer(project.day_book(day).as_dict())

    app.server.add_url_rule(PATH, "day_book", day_book, methods=["GET"])
