"""What is wrong, as the JSON that every door answers with."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import flask

from model.answers import problem_record
from model.problems import Problem


def problem_answer(status: int, message: str, fix: str, field: str | None = None) -> flask.Response:
    """Answer with one problem."""
    return problems_answer(status, [Problem("request", message, fix, field=field)])


def problems_answer(status: int, problems: Iterable[Problem], **more: Any) -> flask.Response:
    """Answer with everything that is wrong."""
    return json_answer({"problems": [problem_record(p) for p in problems], **more}, status)


def json_answer(body: dict[str, Any], status: int = 200) -> flask.Response:
    """Answer with JSON that no cache keeps."""
    answer = flask.jsonify(body)
    answer.status_code = status
    answer.headers["Cache-Control"] = "no-store"
    return answer
