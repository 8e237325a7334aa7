"""How crews are told apart where all of them are on one chart.

Status colours mean status, so crews have tones of their own: neighbours in working order
differ most in lightness, each has a hatch, and each band carries its name.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class CrewLook:
    """Fill, hatch (a Plotly pattern shape), colour of its line, and the line's dash."""

    fill: str
    hatch: str
    line: str
    dash: str


CREW_LOOKS: tuple[CrewLook, ...] = (
    CrewLook("#2f3a44", "", "#2f3a44", "solid"),
    CrewLook("#a9b9c6", "/", "#5c7488", "dash"),
    CrewLook("#5a3f22", "", "#5a3f22", "dot"),
    CrewLook("#d9bd8f", "x", "#8f6a2a", "dashdot"),
    CrewLook("#1f5a52", "", "#1f5a52", "longdash"),
    CrewLook("#a5cfc4", ".", "#3f8576", "longdashdot"),
)


def crew_look(place: int) -> CrewLook:
    """Return the look of the activity at a place in working order; they repeat after six."""
    return CREW_LOOKS[place % len(CREW_LOOKS)]
