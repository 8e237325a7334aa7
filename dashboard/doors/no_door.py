"""What a program is told that knocks where there is no door: not a page, which it cannot read."""

from __future__ import annotations

import dash
import flask

from dashboard.doors import openapi
from dashboard.parts.problem_answers import problem_answer


def register(app: dash.Dash) -> None:
    """Answer for every address of the API that is none."""

    def no_door(rest: str) -> flask.Response:
        return problem_answer(404, f"There is no /api/{rest}.", f"See {openapi.PATH}.")

    app.server.add_url_rule("/api/<path:rest>", "no_door", no_door, methods=["GET"])
