"""A note as people read it: its words as text, what is attached to it as links."""

from __future__ import annotations

import re

from dash import html
from dash.development.base_component import Component

ATTACHMENTS_PATH = "/api/attachments"
_ATTACHED = re.compile(r"attachment:([0-9a-f]{64})")


def note_text(note: str) -> list[str | Component]:
    """Split a note into words and links to what is attached.

    Parameters
    ----------
    note
        As recorded; each ``attachment:`` with the key of a photo or document is a link.

    Examples
    --------
    >>> note_text("pump on site")
    ['pump on site']
    """
    words, *rest = _ATTACHED.split(note)
    parts: list[str | Component] = [words] if words else []
    for key, after in zip(rest[::2], rest[1::2], strict=True):
        parts.append(html.A("photo or document", href=f"{ATTACHMENTS_PATH}/{key}", target="_blank"))
        parts += [after] if after else []
    return parts
