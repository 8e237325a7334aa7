"""Answers made smaller for a thin signal."""

from __future__ import annotations

import gzip

import flask

QUICK = 6
"""Level of compression: beyond it the time grows faster than the size shrinks."""


def compressed(answer: flask.Response) -> flask.Response:
    """Compress an answer where the browser takes that.

    Only for answers without secrets in them: the length of a compressed answer tells
    something of what is in it.
    """
    answer.headers["Vary"] = "Accept-Encoding"
    if "gzip" in flask.request.headers.get("Accept-Encoding", ""):
        answer.set_data(gzip.compress(answer.get_data(), QUICK, mtime=0))
        answer.headers["Content-Encoding"] = "gzip"
    return answer
