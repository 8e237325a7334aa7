"""Colours, marks and hatches, once: Python figures, style sheet and browser read this table.

The colours were chosen by numbers, for a bright day and for every kind of colour vision:
the statuses differ from one another by at least 12 ΔE2000 (also as seen without red-,
green- or blue-sensitive cones), and each stands out from the ground it is drawn on by a
contrast of at least 3:1. Status never rests on colour alone: each has a mark and a hatch
too. ``tests/dashboard/test_palette.py`` holds the numbers.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any, Literal

from model.events import STATUSES, Status

Hatch = Literal["dots", "rising", "crossed", "none"]


@dataclass(frozen=True, slots=True)
class StatusLook:
    """How one status looks everywhere.

    Parameters
    ----------
    status
        Its key in the log.
    words
        What people read.
    fill
        Colour of a footprint, a cell or a legend box, as ``#rrggbb``.
    ink
        Colour of the mark and the hatch on that fill.
    hatch
        Pattern over the fill.
    mark
        Outline of the mark as an SVG path in a box of 16 by 16, filled by the even-odd rule.
    """

    status: Status
    words: str
    fill: str
    ink: str
    hatch: Hatch
    mark: str


@dataclass(frozen=True, slots=True)
class Ground:
    """What statuses are drawn on, and what is drawn around them.

    Parameters
    ----------
    land, water, built, paper
        Map ground, map water, built-up ground, and the page and strip.
    shore
        Line between land and water and of other background features.
    ink, quiet_ink
        Text and outlines; secondary text.
    lag_core, lag_case
        The lag outline: a bright line inside a dark one, so that it shows on any ground.
    chosen_core, chosen_case
        The outline of the selected span.
    """

    land: str = "#f6f3ec"
    water: str = "#d8e5ea"
    built: str = "#ebe5d8"
    paper: str = "#ffffff"
    shore: str = "#5f7d8a"
    ink: str = "#14181d"
    quiet_ink: str = "#454d55"
    lag_core: str = "#ffe04a"
    lag_case: str = "#14181d"
    chosen_core: str = "#ffffff"
    chosen_case: str = "#14181d"


_RING = "M8 1a7 7 0 1 0 0 14a7 7 0 1 0 0-14z"
_RING_HOLE = "M8 4a4 4 0 1 0 0 8a4 4 0 1 0 0-8z"

LOOKS: tuple[StatusLook, ...] = (
    StatusLook("not_started", "Not started", "#6f777e", "#ffffff", "dots", _RING + _RING_HOLE),
    StatusLook(
        "under_way",
        "Under way",
        "#b96509",
        "#ffffff",
        "rising",
        _RING + "M8 4a4 4 0 1 1 0 8z",
    ),
    StatusLook(
        "on_hold",
        "On hold",
        "#7d0f3c",
        "#ffffff",
        "crossed",
        "M3 1h4v14h-4zM9 1h4v14h-4z",
    ),
    StatusLook("complete", "Complete", "#0d4a94", "#ffffff", "none", _RING),
)
"""One look a status, in the order of ``model.events.STATUSES``."""

GROUND = Ground()

assert tuple(look.status for look in LOOKS) == STATUSES


def look_of(status: Status) -> StatusLook:
    """Return how a status looks.

    Examples
    --------
    >>> look_of("on_hold").words
    'On hold'
    """
    return LOOKS[STATUSES.index(status)]


def table() -> dict[str, Any]:
    """Return the whole table as plain values, for the browser's ``palette`` store."""
    return {"statuses": [asdict(look) for look in LOOKS], "ground": asdict(GROUND)}


def css_variables() -> str:
    """Return the table as CSS custom properties for the style sheet.

    Examples
    --------
    >>> "--fill-complete: #0d4a94;" in css_variables()
    True
    """
    lines = [f"--{key.replace('_', '-')}: {value};" for key, value in asdict(GROUND).items()]
    for look in LOOKS:
        name = look.status.replace("_", "-")
        lines += [f"--fill-{name}: {look.fill};", f"--mark-ink-{name}: {look.ink};"]
    return ":root {\n  " + "\n  ".join(lines) + "\n}\n"


def colour_steps() -> list[list[float | str]]:
    """Return the fills as a stepped Plotly colour scale for status codes 0…n−1.

    The scale is flat inside each step, so a code never gets a colour between two statuses.
    Use it with ``zmin=-0.5`` and ``zmax=n − 0.5``.
    """
    n = len(LOOKS)
    return [[edge / n, look.fill] for i, look in enumerate(LOOKS) for edge in (i, i + 1)]
