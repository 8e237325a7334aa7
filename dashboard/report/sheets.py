"""The sheets that a report goes on: header, footer with its moments, number of each page."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any

from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import BaseDocTemplate, Flowable, Frame, PageTemplate

from dashboard.report.paper import (
    BOLD,
    INK,
    MARGIN,
    QUIET,
    REGULAR,
    RULE,
    long_words,
    prepare_letters,
    readable,
)

TOP, BOTTOM = 48.0, 54.0
PADDING = 0.0


class NumberedCanvas(Canvas):  # type: ignore[misc]
    """Keeps the pages until their number is known."""

    def __init__(self, *words: Any, **more: Any) -> None:
        super().__init__(*words, **more)
        self._pages: list[dict[str, Any]] = []

    def showPage(self) -> None:
        """Keep a page that is full."""
        self._pages.append(dict(self.__dict__))
        self._startPage()

    def save(self) -> None:
        """Write every page with its number."""
        for number, page in enumerate(self._pages, 1):
            self.__dict__.update(page)
            self.setFont(REGULAR, 6.4)
            self.setFillColor(INK)
            width = self._pagesize[0]
            self.drawRightString(width - MARGIN, 38, f"Page {number} of {len(self._pages)}")
            super().showPage()
        super().save()


def bound(
    story: Sequence[Flowable],
    *,
    size: tuple[float, float],
    head: tuple[str, str],
    stamp: str,
    caution: str,
    about: dict[str, str],
) -> bytes:
    """Set a story on sheets and return the file.

    Parameters
    ----------
    story
        What is set, in order.
    size
        Of the paper, points.
    head
        At the top left and right of every page.
    stamp, caution
        At the foot of every page: what it is of, and what it is not for.
    about
        ``title``, ``author``, ``subject`` of the file.

    Returns
    -------
    bytes
        The same for the same story: the file carries no time of its own.
    """
    prepare_letters()
    width, height = size

    def furnish(canvas: Canvas, _: BaseDocTemplate) -> None:
        canvas.setFillColor(INK)
        canvas.setFont(BOLD, 7)
        right = readable(head[1])
        room = width - 2 * MARGIN - canvas.stringWidth(right, REGULAR, 7) - 12
        canvas.drawString(MARGIN, height - 34, _within(canvas, readable(head[0]), room))
        canvas.setFont(REGULAR, 7)
        canvas.drawRightString(width - MARGIN, height - 34, right)
        canvas.setStrokeColor(RULE)
        canvas.setLineWidth(0.6)
        canvas.line(MARGIN, height - 39, width - MARGIN, height - 39)
        canvas.line(MARGIN, 47, width - MARGIN, 47)
        canvas.setFont(REGULAR, 6.4)
        canvas.setFillColor(INK)
        canvas.drawString(MARGIN, 38, readable(stamp))
        text = long_words(caution, 5.6, color=QUIET)
        _, tall = text.wrap(width - 2 * MARGIN, 30)
        text.drawOn(canvas, MARGIN, 35 - tall)

    target = io.BytesIO()
    document = BaseDocTemplate(target, pagesize=size, invariant=1, **about)
    frame = Frame(
        MARGIN, BOTTOM, width - 2 * MARGIN, height - TOP - BOTTOM,
        leftPadding=PADDING, rightPadding=PADDING, topPadding=PADDING, bottomPadding=PADDING,
    )  # fmt: skip
    document.addPageTemplates([PageTemplate(frames=[frame], onPage=furnish)])
    document.build(list(story), canvasmaker=NumberedCanvas)
    return target.getvalue()


def _within(canvas: Canvas, text: str, room: float) -> str:
    """Cut a text to a width, and show that it was cut."""
    if canvas.stringWidth(text, BOLD, 7) <= room:
        return text
    while text and canvas.stringWidth(f"{text}…", BOLD, 7) > room:
        text = text[:-1]
    return f"{text}…"
