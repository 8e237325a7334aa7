"""The plan by HTTP: the baseline as CSV and the calendar as JSON, read and replaced.

Who replaces one says which one was seen: ``If-Match`` with the ``ETag`` it came with, or
``If-None-Match: *`` where there was none. If somebody else was quicker, the answer (412) holds
both, and nothing is written. What ``viaduct check`` would refuse is refused (422).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import dash
import flask

from dashboard import access
from dashboard.parts.calendar_shape import wrong_calendar
from dashboard.parts.json_body import read_json_body
from dashboard.parts.problem_answers import json_answer, problem_answer, problems_answer
from model.answers import problem_record
from model.plan_files import NONE_YET, Baseline, PlanChanged, PlanPut
from model.problems import InputError, Problem
from model.project import Project

BASELINE_PATH = "/api/plan/baseline"
REVIEW_PATH = "/api/plan/baseline/review"
CALENDAR_PATH = "/api/plan/calendar"
CSV = "text/csv"

NOT_SEEN = Problem(
    "request",
    "It is not said which one is to be replaced.",
    "Read it first, and send its ETag as If-Match; or If-None-Match: * where there is none.",
    field="If-Match",
)


def register(app: dash.Dash, project: Project) -> None:
    """Open the doors of the baseline and of the calendar."""
    _register_baseline(app.server, project)
    _register_calendar(app.server, project)


def _register_baseline(server: flask.Flask, project: Project) -> None:
    def read_baseline() -> flask.Response:
        found = project.plan.baseline()
        if found.hash == NONE_YET:
            return problem_answer(404, "There is no baseline.", "Put one with If-None-Match: *.")
        answer = flask.Response(found.text, mimetype=CSV)
        answer.headers["Cache-Control"] = "no-store"
        return _tagged(answer, found.hash)

    def put_baseline() -> flask.Response:
        text = _sent_csv()
        if isinstance(text, flask.Response):
            return text
        return _put(lambda seen: project.put_baseline(text, seen, *_asker()), text)

    def review_baseline() -> flask.Response:
        text = _sent_csv()
        if isinstance(text, flask.Response):
            return text
        try:
            review, warnings = project.look_over_baseline(text)
        except InputError as refused:
            return problems_answer(422, refused.problems)
        told = [problem_record(problem) for problem in warnings]
        return json_answer({**review.as_dict(), "warnings": told})

    server.add_url_rule(BASELINE_PATH, "read_baseline", read_baseline, methods=["GET"])
    server.add_url_rule(BASELINE_PATH, "put_baseline", put_baseline, methods=["PUT"])
    server.add_url_rule(REVIEW_PATH, "review_baseline", review_baseline, methods=["POST"])


def _register_calendar(server: flask.Flask, project: Project) -> None:
    def read_calendar() -> flask.Response:
        try:
            found = project.plan.calendar()
        except InputError as missing:
            return problems_answer(404, missing.problems)
        return _tagged(json_answer(dict(found.values)), found.hash)

    def put_calendar() -> flask.Response:
        body = read_json_body()
        if isinstance(body, flask.Response):
            return body
        wrong = wrong_calendar(body)
        if wrong:
            return problems_answer(400, [wrong])
        return _put(lambda seen: project.put_calendar(body, seen, *_asker()), body)

    server.add_url_rule(CALENDAR_PATH, "read_calendar", read_calendar, methods=["GET"])
    server.add_url_rule(CALENDAR_PATH, "put_calendar", put_calendar, methods=["PUT"])


def _sent_csv() -> str | flask.Response:
    """Return the text that was sent, or the answer that it is none."""
    if flask.request.mimetype != CSV:
        return problem_answer(415, "The body is not CSV.", f"Send it as {CSV}.")
    try:
        return flask.request.get_data().decode()
    except UnicodeDecodeError:
        return problem_answer(400, "The body is not UTF-8 text.", "Save it again in UTF-8.")


def _asker() -> tuple[str, str]:
    user = access.asker()
    return (user.name if user else ""), access.sender()


def _put(put: Callable[[str], PlanPut], sent: str | Mapping[str, Any]) -> flask.Response:
    """Replace what was seen, or answer why not."""
    seen = _seen()
    if seen is None:
        return problems_answer(428, [NOT_SEEN])
    try:
        done = put(seen)
    except PlanChanged as changed:
        now = changed.now.text if isinstance(changed.now, Baseline) else dict(changed.now.values)
        problem = Problem("request", str(changed), "Look at both, then send yours again with the "
                          "new hash if it is to stand.", field="If-Match")  # fmt: skip
        both = {"now": now, "yours": sent, "hash": changed.now.hash}
        return _tagged(problems_answer(412, [problem], **both), changed.now.hash)
    except InputError as refused:
        return problems_answer(422, refused.problems)
    told = [problem_record(problem) for problem in done.warnings]
    answer = {"changed": done.changed, "hash": done.hash, "kept": done.kept, "warnings": told}
    return _tagged(json_answer(answer), done.hash)


def _seen() -> str | None:
    """Return the hash of what the sender saw; None where it is not said."""
    if flask.request.if_none_match.star_tag:
        return NONE_YET
    tags = flask.request.if_match.as_set()
    return tags.pop() if len(tags) == 1 else None


def _tagged(answer: flask.Response, hash_: str) -> flask.Response:
    if hash_:
        answer.set_etag(hash_)
    return answer
