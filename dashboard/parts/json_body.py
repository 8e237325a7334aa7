"""Reading the JSON that is sent to a door."""

from __future__ import annotations

import json
from typing import Any

import flask

from dashboard.parts.problem_answers import problem_answer


def read_json_body() -> Any:
    """Return the body, or the answer that it cannot be read."""
    if not flask.request.is_json:
        return problem_answer(415, "The body is not JSON.", "Send it as application/json.")
    try:
        return json.loads(flask.request.get_data(), parse_constant=_no_number)
    except (ValueError, RecursionError):
        return problem_answer(400, "The body is not well-formed JSON.", "Send one JSON object.")


def _no_number(text: str) -> float:
    raise ValueError(f"{text} is no number of JSON")
