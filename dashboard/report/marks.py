"""Statuses on paper: the fills, hatches and marks of the palette as vectors."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence

from reportlab.lib.colors import HexColor
from reportlab.pdfgen.canvas import FILL_EVEN_ODD, Canvas
from reportlab.pdfgen.pathobject import PDFPathObject

from dashboard.parts.palette import Hatch, StatusLook
from dashboard.report.paper import INK

MARK_BOX = 16.0
Point = tuple[float, float]


def fill_shape(
    canvas: Canvas, rings: Sequence[Sequence[Point]], look: StatusLook, step: float
) -> None:
    """Fill a shape as its status looks: colour and hatch, inside a thin outline.

    Parameters
    ----------
    canvas
        Where to.
    rings
        Outer rings, points on the page.
    look
        From the palette.
    step
        From one line of the hatch to the next.
    """
    for ring in rings:
        canvas.saveState()
        canvas.setFillColor(HexColor(look.fill))
        canvas.drawPath(_ring(canvas, ring), stroke=0, fill=1)
        if look.hatch != "none":
            canvas.clipPath(_ring(canvas, ring), stroke=0, fill=0)
            _hatch(canvas, ring, look.hatch, look.ink, step)
        canvas.restoreState()
        canvas.setStrokeColor(INK)
        canvas.setLineWidth(0.3)
        canvas.drawPath(_ring(canvas, ring), stroke=1, fill=0)


def _ring(canvas: Canvas, ring: Sequence[Point]) -> PDFPathObject:
    path = canvas.beginPath()
    path.moveTo(*ring[0])
    for point in ring[1:]:
        path.lineTo(*point)
    path.close()
    return path


def _hatch(canvas: Canvas, ring: Sequence[Point], hatch: Hatch, ink: str, step: float) -> None:
    """Draw a hatch over the box of a ring; what lies outside the ring is clipped."""
    left, right = min(x for x, _ in ring), max(x for x, _ in ring)
    low, high = min(y for _, y in ring), max(y for _, y in ring)
    canvas.setStrokeColor(HexColor(ink))
    canvas.setFillColor(HexColor(ink))
    canvas.setLineWidth(step * 0.16)
    if hatch == "dots":
        for x in _steps(left, right, step):
            for y in _steps(low, high, step):
                canvas.circle(x, y, step * 0.13, stroke=0, fill=1)
        return
    tall = high - low
    for x in _steps(left - tall, right, step):
        canvas.line(x, low, x + tall, high)
        if hatch == "crossed":
            canvas.line(x, high, x + tall, low)


def _steps(first: float, last: float, step: float) -> Iterator[float]:
    """Yield evenly spaced places, the same ones wherever a shape lies."""
    for number in range(math.floor(first / step), math.ceil(last / step) + 1):
        yield number * step


def draw_mark(canvas: Canvas, look: StatusLook, x: float, y: float, size: float) -> None:
    """Draw the mark of a status in a box whose lower left corner is given.

    Its ink is light and lies on the fill; the caller has drawn that.
    """
    canvas.saveState()
    canvas.translate(x, y + size)
    canvas.scale(size / MARK_BOX, -size / MARK_BOX)
    canvas.setFillColor(HexColor(look.ink))
    canvas.drawPath(_svg_path(canvas, look.mark), stroke=0, fill=1, fillMode=FILL_EVEN_ODD)
    canvas.restoreState()


def _svg_path(canvas: Canvas, text: str) -> PDFPathObject:
    """Turn an outline of the palette into a path.

    It knows what the palette uses: moves, level and upright lines, arcs of circles, closing.
    """
    path, here, start = canvas.beginPath(), (0.0, 0.0), (0.0, 0.0)
    for order, rest in re.findall(r"([Mahvz])([^Mahvz]*)", text):
        numbers = [float(number) for number in re.findall(r"-?\d+(?:\.\d+)?", rest)]
        if order == "M":
            here = start = (numbers[0], numbers[1])
            path.moveTo(*here)
        elif order == "z":
            path.close()
            here = start
        elif order == "a":
            end = here[0] + numbers[5], here[1] + numbers[6]
            _half_circle(path, here, end, sweep=bool(numbers[4]))
            here = end
        else:
            along = numbers[0]
            here = (here[0] + along, here[1]) if order == "h" else (here[0], here[1] + along)
            path.lineTo(*here)
    return path


def _half_circle(path: PDFPathObject, begin: Point, end: Point, *, sweep: bool) -> None:
    """Add half a circle from one end of a diameter to the other.

    Two quarter circles, each a cubic curve with its handles 0.5523 of the radius long, as
    every drawing program has it (within 0.03 per cent of the circle; from memory).
    """
    middle = (begin[0] + end[0]) / 2, (begin[1] + end[1]) / 2
    radius = begin[0] - middle[0], begin[1] - middle[1]
    turn = 1.0 if sweep else -1.0
    for _ in range(2):
        side = -turn * radius[1], turn * radius[0]
        handles = [
            (middle[0] + radius[0] + 0.5523 * side[0], middle[1] + radius[1] + 0.5523 * side[1]),
            (middle[0] + side[0] + 0.5523 * radius[0], middle[1] + side[1] + 0.5523 * radius[1]),
        ]
        path.curveTo(*handles[0], *handles[1], middle[0] + side[0], middle[1] + side[1])
        radius = side


def draw_status_box(
    canvas: Canvas, look: StatusLook, x: float, y: float, width: float, height: float
) -> None:
    """Draw a box as its status looks: colour, hatch and, where there is room, its mark.

    The mark stands on a patch without hatch, so that it can be made out.
    """
    box = [(x, y), (x + width, y), (x + width, y + height), (x, y + height)]
    fill_shape(canvas, [box], look, step=3.0)
    size = min(width, height) - 2.2
    if size < 3.0:
        return
    left, low = x + (width - size) / 2, y + (height - size) / 2
    canvas.setFillColor(HexColor(look.fill))
    canvas.rect(left - 0.6, low - 0.6, size + 1.2, size + 1.2, stroke=0, fill=1)
    draw_mark(canvas, look, left, low, size)
