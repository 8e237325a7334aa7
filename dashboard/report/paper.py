"""Paper, letters and colours of the report.

The letters are Bitstream Vera, which come with ReportLab and are put into the file, so that it
looks the same on every machine and in every year. They have what Western languages and units
need (é, ñ, ß, Ł, Š, ², ³, –, …). What they have not is written by its plain letter where there
is one (ő as o), else as ``STAND_IN``; the report then says so, and nothing is left out silently.
"""

from __future__ import annotations

import unicodedata
from functools import cache
from xml.sax.saxutils import escape

from reportlab.lib.colors import Color, HexColor
from reportlab.lib.pagesizes import A4, LETTER
from reportlab.lib.styles import ParagraphStyle
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.platypus import Paragraph

from dashboard.parts.palette import GROUND
from model.units import UnitSystem

REGULAR, BOLD = "Vera", "VeraBd"
STAND_IN = "◊"
LONGEST = 200
"""A reason or a note goes on in the day book where it is longer."""

MARGIN = 43.0
INK, QUIET = HexColor(GROUND.ink), HexColor(GROUND.quiet_ink)
RULE, BAND = HexColor("#c9cdd2"), HexColor("#f1f2f4")
SIZE = 7.6


@cache
def prepare_letters() -> frozenset[int]:
    """Make the letters known to ReportLab, and return which there are."""
    for name in (REGULAR, BOLD):
        pdfmetrics.registerFont(TTFont(name, f"{name}.ttf"))
    pdfmetrics.registerFontFamily(REGULAR, normal=REGULAR, bold=BOLD, italic=REGULAR)
    return frozenset(pdfmetrics.getFont(REGULAR).face.charToGlyph)


def page_size(system: UnitSystem) -> tuple[float, float]:
    """Return width and height of the paper, points: Letter where feet are used, else A4."""
    width, height = LETTER if system == "us" else A4
    return float(width), float(height)


def readable(text: str) -> str:
    r"""Write a text with the letters there are, in one line.

    Examples
    --------
    >>> readable("Łukasz Szőke: 3 yd³\n再開 at bent 4")
    'Łukasz Szoke: 3 yd³ ◊ at bent 4'
    """
    letters = prepare_letters()
    composed = unicodedata.normalize("NFC", text)
    written: list[str] = []
    for letter in composed:
        plain = _letter(letter, letters)
        # A word in another script is one gap, however long.
        if plain != STAND_IN or written[-1:] != [STAND_IN]:
            written.append(plain)
    return "".join(written)


def _letter(letter: str, letters: frozenset[int]) -> str:
    if ord(letter) in letters and letter >= " ":
        return letter
    kind = unicodedata.category(letter)
    if kind in ("Cc", "Zl", "Zp"):
        return " "
    if kind in ("Cf", "Mn", "Me"):
        return ""
    base = unicodedata.normalize("NFKD", letter)[0]
    return base if ord(base) in letters else STAND_IN


def shortened(text: str) -> str:
    """Cut a text that is too long for a cell, and show that it was cut."""
    return text if len(text) <= LONGEST else f"{text[: LONGEST - 1].rstrip()}…"


def style(size: float = SIZE, *, bold: bool = False, color: Color = INK) -> ParagraphStyle:
    """Return how a text is set."""
    return ParagraphStyle(
        f"{size}{bold}{color}",
        fontName=BOLD if bold else REGULAR,
        fontSize=size,
        leading=size * 1.32,
        textColor=color,
        # A word without a gap must not run out of its cell.
        splitLongWords=1,
    )


def words(
    text: str, size: float = SIZE, *, bold: bool = False, color: Color = INK, right: bool = False
) -> Paragraph:
    """Return a text as it stands, whatever is in it."""
    prepare_letters()
    look = style(size, bold=bold, color=color)
    look.alignment = 2 if right else 0
    return Paragraph(escape(readable(shortened(text))), look)


def long_words(text: str, size: float = SIZE, *, color: Color = INK) -> Paragraph:
    """Return a text of our own, which may be longer than what a cell holds."""
    prepare_letters()
    return Paragraph(escape(readable(text)), style(size, color=color))


def title(text: str) -> Paragraph:
    """Return a title over a section, which stays with what follows it."""
    look = style(10.0, bold=True)
    look.spaceBefore, look.spaceAfter, look.keepWithNext = 9.0, 3.0, 1
    prepare_letters()
    return Paragraph(escape(readable(text)), look)
