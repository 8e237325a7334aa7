"""Photos and documents: sent before the entry they belong to, read by whoever may read.

A sender puts the bytes as they are into the body and gets back the key, the hash of the
content. An event names it in its note (``dashboard.parts.note_text``), so that it stays with
the log wherever the log goes. Sending the same file again changes nothing.

Nothing is taken out: a photo keeps its EXIF data, which may tell where, when and with which
phone it was taken. A document is handed over to be saved, not shown in the browser.
"""

from __future__ import annotations

import dash
import flask

from dashboard.parts.note_text import ATTACHMENTS_PATH
from dashboard.parts.problem_answers import json_answer, problems_answer
from model.problems import InputError
from model.project import Project

PDF = "application/pdf"
FOR_EVER = "private, max-age=31536000, immutable"
SHOWN_ALONE = "default-src 'none'; sandbox"
"""What a stranger sent may be looked at, and do nothing."""


def register(app: dash.Dash, project: Project) -> None:
    """Open the doors for sending and reading."""

    def keep_attachment() -> flask.Response:
        try:
            kept = project.attachments.keep(flask.request.get_data())
        except InputError as refused:
            return problems_answer(422, refused.problems)
        return json_answer(
            {"key": kept.key, "media_type": kept.media_type, "size_bytes": kept.size_bytes}
        )

    def read_attachment(key: str) -> flask.Response:
        try:
            kept, content = project.attachments.read(key)
        except InputError as missing:
            return problems_answer(404, missing.problems)
        answer = flask.Response(content, mimetype=kept.media_type)
        answer.headers["Cache-Control"] = FOR_EVER
        answer.headers["Content-Security-Policy"] = SHOWN_ALONE
        if kept.media_type == PDF:
            answer.headers["Content-Disposition"] = f'attachment; filename="{key[:12]}.pdf"'
        return answer

    server: flask.Flask = app.server
    server.add_url_rule(ATTACHMENTS_PATH, "keep_attachment", keep_attachment, methods=["POST"])
    server.add_url_rule(
        f"{ATTACHMENTS_PATH}/<key>", "read_attachment", read_attachment, methods=["GET"]
    )
