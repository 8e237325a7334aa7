"""Cases compared by a program: the same words and the same answer as ``viaduct whatif --json``.

``POST /api/whatif`` with the tables of a ``CHANGE.toml`` written as JSON; ``recent`` and
``recent_weeks`` in the query are the command's options. The log is never touched. A comparison
holds a processor for a while, so one runs at a time, whoever asks.
"""

from __future__ import annotations

import threading
from typing import Any

import dash
import flask

from dashboard.parts.json_body import read_json_body
from dashboard.parts.line_back import FEWEST_UNITS, FEWEST_WEEKS, MOST, read_back
from dashboard.parts.problem_answers import json_answer, problem_answer, problems_answer
from model.line_answers import Recent
from model.problems import InputError
from model.project import Project

PATH = "/api/whatif"
WAIT_S = 10.0
"""Two cases of the usual job take a fifth of a second."""

AT_ONCE = 3
"""One that runs and those that wait for it: more would keep who sends entries waiting too."""


def register(app: dash.Dash, project: Project) -> None:
    """Open the door."""
    comparing, queue = threading.Lock(), threading.BoundedSemaphore(AT_ONCE)

    def compare_cases() -> flask.Response:
        body = read_json_body()
        if isinstance(body, flask.Response):
            return body
        if not isinstance(body, dict):
            return problem_answer(400, "The body is not an object.",
                                  'Send an object with a list "case".')  # fmt: skip
        asked = flask.request.args
        back = read_back(asked.get("recent"), asked.get("recent_weeks"))
        if back is None:
            return problem_answer(
                400, "That is nothing to look back over.", f"Give recent, {FEWEST_UNITS} to {MOST} "
                f"units, or recent_weeks, {FEWEST_WEEKS} to {MOST}; not both.", "recent",
            )  # fmt: skip
        if not queue.acquire(blocking=False):
            return _busy()
        try:
            return in_turn(body, back)
        finally:
            queue.release()

    def in_turn(body: dict[str, Any], back: Recent) -> flask.Response:
        if not comparing.acquire(timeout=WAIT_S):
            return _busy()
        try:
            return json_answer(project.whatif_tables(body, back.units, back.weeks).as_dict())
        except InputError as refused:
            return problems_answer(422, refused.problems)
        finally:
            comparing.release()

    app.server.add_url_rule(PATH, "compare_cases", compare_cases, methods=["POST"])


def _busy() -> flask.Response:
    return problem_answer(503, "Another comparison is running.", "Try again in a minute.")
