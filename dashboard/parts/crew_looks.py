"""How crews are told apart where all of them are on one chart.

Status colours mean status, so crews have tones of their own: neighbours in working order
differ most in lightness, each has a hatch, and each band carries its name.
"""

from __future__ import annotations

from dataclasses import dataclass
from urllib.parse import quote


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


_HATCH_LINES = {
    "": "",
    "/": '<path d="M-4 12 8 0M2 20 20 2M14 20 32 2M26 20 40 6" stroke="#14181d" fill="none"/>',
    "x": '<path d="M-4 12 8 0M2 20 20 2M14 20 32 2M26 20 40 6M-4 8 8 20M2 0 20 18M14 0 32 18'
    'M26 0 40 14" stroke="#14181d" fill="none"/>',
    ".": '<path d="M4 4h2v2h-2zM14 4h2v2h-2zM24 4h2v2h-2zM9 13h2v2h-2zM19 13h2v2h-2z'
    'M29 13h2v2h-2z" fill="#14181d"/>',
}


def crew_swatch(look: CrewLook) -> str:
    """Return a crew's fill and hatch as the address of an SVG image, for the legend."""
    svg = (
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 34 20">'
        f'<rect width="34" height="20" fill="{look.fill}"/>{_HATCH_LINES[look.hatch]}'
        '<rect x=".5" y=".5" width="33" height="19" fill="none" stroke="#14181d"/></svg>'
    )
    return f"data:image/svg+xml,{quote(svg)}"
