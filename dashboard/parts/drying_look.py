"""How fast a deck dries, told by a word and a drop: empty, half full or full."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from dash import html
from dash.development.base_component import Component

from dashboard.parts.palette import GROUND
from dashboard.parts.status_chip import drawn_mark
from model.drying import Level

_DROP = "M8 0C8 0 2.5 6.6 2.5 10.3A5.5 5.5 0 0 0 13.5 10.3C13.5 6.6 8 0 8 0z"
_EMPTY = "M8 3.3C8 3.3 4.6 7.9 4.6 10.3A3.4 3.4 0 0 0 11.4 10.3C11.4 7.9 8 3.3 8 3.3z"
_UPPER_HALF = "M8 3.3C8 3.3 5.6 6.6 4.9 8.8L11.1 8.8C10.4 6.6 8 3.3 8 3.3z"


@dataclass(frozen=True, slots=True)
class LevelLook:
    """How one level of drying looks.

    Parameters
    ----------
    words
        What people read.
    mark
        Outline in a box of 16 by 16, filled by the even-odd rule.
    """

    words: str
    mark: str


LEVEL_LOOKS: Mapping[Level, LevelLook] = {
    "low": LevelLook("Low", _DROP + _EMPTY),
    "watch": LevelLook("Watch", _DROP + _UPPER_HALF),
    "act": LevelLook("Act", _DROP),
}
"""In ink alone: the level never rests on a colour."""


def level_words(level: Level) -> Component:
    """Return a level of drying as its drop and its word."""
    look = LEVEL_LOOKS[level]
    drop = html.Img(src=drawn_mark(look.mark, GROUND.ink), alt="", className="level-mark")
    return html.Span([drop, look.words], className="drying-level")
