"""Drawings of the report: bars, bands, the strip of every trade, the map."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from reportlab.lib.colors import HexColor, white
from reportlab.platypus import Flowable

from dashboard.parts.palette import LOOKS, look_of
from dashboard.report.marks import Point, draw_status_box, fill_shape
from dashboard.report.paper import BOLD, INK, QUIET, REGULAR, RULE, readable
from model.plan_view import PlanView, ScaleBar
from model.projection import Band

COMPLETE, UNDER_WAY = look_of("complete"), look_of("under_way")
NORTH_ROOM = 26.0
MAP_TALLEST = 210.0


class Drawing(Flowable):  # type: ignore[misc]
    """Something of a given size that draws itself."""

    def __init__(self, width: float, height: float) -> None:
        super().__init__()
        self.width, self.height = width, height

    def wrap(self, *_: float) -> tuple[float, float]:
        """Return the size."""
        return self.width, self.height


class ShareBar(Drawing):
    """A bar from 0 to the whole plan: before the week, in the week, and what is due."""

    def __init__(
        self, shares: tuple[float, float, float | None], width: float, height: float = 9.0
    ) -> None:
        super().__init__(width, height)
        self.shares = shares

    def draw(self) -> None:
        """Draw it; more than the plan is cut off, for the numbers beside it tell."""
        canvas, (before, week, due) = self.canv, self.shares
        canvas.setFillColor(white)
        canvas.setStrokeColor(INK)
        canvas.setLineWidth(0.4)
        canvas.rect(0, 0, self.width, self.height, stroke=1, fill=1)
        first = self._x(before)
        if first > 0:
            canvas.setFillColor(HexColor(COMPLETE.fill))
            canvas.rect(0, 0, first, self.height, stroke=0, fill=1)
        last = self._x(before + week)
        if last > first:
            box = [(first, 0.0), (last, 0.0), (last, self.height), (first, self.height)]
            fill_shape(canvas, [box], UNDER_WAY, step=2.4)
        if due is not None:
            x = self._x(due)
            canvas.setStrokeColor(white)
            canvas.setLineWidth(2.6)
            canvas.line(x, -1.5, x, self.height + 1.5)
            canvas.setStrokeColor(INK)
            canvas.setLineWidth(1.2)
            canvas.line(x, -1.5, x, self.height + 1.5)

    def _x(self, share: float) -> float:
        return min(max(share, 0.0), 1.0) * self.width


@dataclass(frozen=True)
class TimeScale:
    """Dates across a width.

    Parameters
    ----------
    first, last
        What lies at its ends.
    width
        Points.
    """

    first: dt.date
    last: dt.date
    width: float

    def x(self, day: dt.date) -> float:
        """Return where a day lies."""
        return self.width * ((day - self.first).days / max((self.last - self.first).days, 1))

    @property
    def ticks(self) -> list[tuple[dt.date, str]]:
        """Days to draw a line at, and what is written there: eight at most, two at least."""
        count = (self.last.year - self.first.year) * 12 + self.last.month - self.first.month + 1
        months = [_month(self.first, number) for number in range(1, count)]
        if len(months) < 2:
            step = (self.last - self.first) / 3
            days = [self.first + number * step for number in (0, 1, 2)]
            return [(day, f"{day.day} {day:%b}") for day in days]
        months = months[:: -(-len(months) // 8)]
        years = [0, *(month.year for month in months)]
        return [
            (month, f"{month:%b}" if month.year == before else f"{month:%b %Y}")
            for month, before in zip(months, years, strict=False)
        ]


def _month(day: dt.date, further: int) -> dt.date:
    number = day.year * 12 + day.month - 1 + further
    return dt.date(number // 12, number % 12 + 1, 1)


def time_scale(bands: Sequence[Band], plans: Sequence[dt.date], width: float) -> TimeScale:
    """Return a scale that holds bands and planned days, with a little room at both ends."""
    days = [day for band in bands for day in (band.p10, band.p90)] + list(plans)
    room = dt.timedelta(days=max((max(days) - min(days)).days // 20, 7))
    return TimeScale(min(days) - room, max(days) + room, width)


class TimeAxis(Drawing):
    """Months over the bands, or days where they lie close together."""

    def __init__(self, scale: TimeScale, height: float = 9.0) -> None:
        super().__init__(scale.width, height)
        self.scale = scale

    def draw(self) -> None:
        """Draw a tick and a name for each day there is room for."""
        canvas, free = self.canv, 0.0
        canvas.setFont(REGULAR, 5.6)
        canvas.setFillColor(INK)
        canvas.setStrokeColor(QUIET)
        canvas.setLineWidth(0.4)
        for day, name in self.scale.ticks:
            x, long = self.scale.x(day), canvas.stringWidth(name, REGULAR, 5.6)
            canvas.line(x, -3, x, 0)
            if x >= free and x + long <= self.width:
                canvas.drawString(x, 1.5, name)
                free = x + long + 3


class BandBar(Drawing):
    """The finish that is projected now, over that of a week ago, with the planned day."""

    def __init__(
        self, now: Band, before: Band | None, planned: dt.date | None, scale: TimeScale
    ) -> None:
        super().__init__(scale.width, 17.0)
        self.now, self.before, self.planned, self.scale = now, before, planned, scale

    def draw(self) -> None:
        """Draw both bands from the 10 to the 90 per cent date, their likely dates ticked."""
        canvas = self.canv
        canvas.setStrokeColor(RULE)
        canvas.setLineWidth(0.3)
        for day, _ in self.scale.ticks:
            canvas.line(self.scale.x(day), -2, self.scale.x(day), self.height + 2)
        self._band(self.now, 9.0, 7.0, HexColor(COMPLETE.fill), white)
        if self.before is not None:
            self._band(self.before, 2.0, 4.2, white, INK)
        if self.planned is not None:
            x, y = self.scale.x(self.planned), self.height / 2
            path = canvas.beginPath()
            path.moveTo(x, y + 4)
            for point in ((x + 3, y), (x, y - 4), (x - 3, y)):
                path.lineTo(*point)
            path.close()
            canvas.setFillColor(HexColor(UNDER_WAY.fill))
            canvas.setStrokeColor(INK)
            canvas.setLineWidth(0.7)
            canvas.drawPath(path, stroke=1, fill=1)

    def _band(self, band: Band, y: float, height: float, fill: HexColor, tick: HexColor) -> None:
        canvas, scale = self.canv, self.scale
        left, right = scale.x(band.p10), scale.x(band.p90)
        canvas.setStrokeColor(INK)
        canvas.setFillColor(fill)
        canvas.setLineWidth(0.5)
        canvas.rect(left, y, max(right - left, 1.0), height, stroke=1, fill=1)
        canvas.setStrokeColor(tick)
        canvas.setLineWidth(1.5)
        canvas.line(scale.x(band.p50), y, scale.x(band.p50), y + height)
        canvas.setLineWidth(0.7)
        canvas.line(scale.x(band.p80), y, scale.x(band.p80), y + height)


class Strip(Drawing):
    """Some units of a structure along the line: a column each, a row for every trade."""

    LABEL, HEAD, ROW = 92.0, 12.0, 9.4

    def __init__(
        self,
        units: Sequence[str],
        trades: Mapping[str, str],
        status: Mapping[tuple[str, str], str],
        columns: int,
        width: float,
    ) -> None:
        super().__init__(width, self.HEAD + self.ROW * len(trades))
        self.units, self.trades, self.status = units, trades, status
        self.cell = (width - self.LABEL) / columns

    def draw(self) -> None:
        """Draw names over columns and boxes by status."""
        canvas = self.canv
        canvas.setFillColor(INK)
        for number, unit in enumerate(self.units):
            self._fit(unit, self.LABEL + (number + 0.5) * self.cell, self.height - 8, BOLD)
        for row, (key, name) in enumerate(self.trades.items()):
            y = self.height - self.HEAD - (row + 1) * self.ROW
            canvas.setFillColor(INK)
            canvas.setFont(REGULAR, 6.4)
            canvas.drawString(0, y + 2.4, _cut(canvas, readable(name), self.LABEL - 4, 6.4))
            for number, unit in enumerate(self.units):
                look = look_of(self.status[unit, key])  # type: ignore[arg-type]
                x = self.LABEL + number * self.cell
                draw_status_box(canvas, look, x + 0.4, y + 0.4, self.cell - 0.8, self.ROW - 0.8)

    def _fit(self, text: str, middle: float, y: float, font: str) -> None:
        """Write a name no wider than its column: smaller, and cut where that is not enough."""
        canvas, text = self.canv, readable(text)
        size = min(5.8, 5.8 * (self.cell - 1) / max(canvas.stringWidth(text, font, 5.8), 1.0))
        size = max(size, 3.6)
        canvas.setFont(font, size)
        canvas.drawCentredString(middle, y, _cut(canvas, text, self.cell - 0.5, size, font))


def _cut(canvas: object, text: str, width: float, size: float, font: str = REGULAR) -> str:
    """Cut a text to a width, and show that it was cut."""
    measure = canvas.stringWidth  # type: ignore[attr-defined]
    if measure(text, font, size) <= width:
        return text
    while text and measure(f"{text}…", font, size) > width:
        text = text[:-1]
    return f"{text}…"


class StatusLegend(Drawing):
    """What each look means, in one line."""

    def __init__(self, width: float) -> None:
        super().__init__(width, 11.0)

    def draw(self) -> None:
        """Draw a box and its words for every status."""
        x = 0.0
        for look in LOOKS:
            draw_status_box(self.canv, look, x, 0.5, 15, 9.4)
            self.canv.setFillColor(INK)
            self.canv.setFont(REGULAR, 6.6)
            self.canv.drawString(x + 19, 2.8, look.words)
            x += 32 + self.canv.stringWidth(look.words, REGULAR, 6.6)


class PlanMap(Drawing):
    """The footprints to scale, each span as its status looks, with north and a scale bar."""

    def __init__(
        self, view: PlanView, statuses: Sequence[str], bar: ScaleBar, width: float
    ) -> None:
        room = width - NORTH_ROOM
        self.scale = min(room / max(view.width_m, 1.0), MAP_TALLEST / max(view.height_m, 1.0))
        super().__init__(width, max(view.height_m * self.scale, NORTH_ROOM) + 20)
        self.view, self.statuses, self.bar = view, statuses, bar

    def draw(self) -> None:
        """Draw spans, then the arrow and the bar."""
        for rings, status in zip(self.view.outlines, self.statuses, strict=True):
            look = look_of(status)  # type: ignore[arg-type]
            fill_shape(self.canv, [self._on_page(ring.tolist()) for ring in rings], look, 1.7)
        self._north(self.width - NORTH_ROOM / 2 + 3, self.height - NORTH_ROOM / 2 - 2)
        self._bar()

    def _on_page(self, ring: list[list[float]]) -> list[Point]:
        return [(x * self.scale, y * self.scale + 18) for x, y in ring]

    def _north(self, x: float, y: float) -> None:
        canvas = self.canv
        canvas.saveState()
        canvas.translate(x, y)
        canvas.rotate(-self.view.north_deg)
        path = canvas.beginPath()
        path.moveTo(0, 9)
        for point in ((4, -6), (0, -3), (-4, -6)):
            path.lineTo(*point)
        path.close()
        canvas.setFillColor(INK)
        canvas.drawPath(path, stroke=0, fill=1)
        canvas.setFont(BOLD, 6.5)
        canvas.drawCentredString(0, 10, "N")
        canvas.restoreState()

    def _bar(self) -> None:
        canvas, length = self.canv, self.bar.length_m * self.scale
        canvas.setStrokeColor(INK)
        canvas.setLineWidth(0.6)
        canvas.setFillColor(INK)
        canvas.rect(0, 4, length / 2, 3, stroke=1, fill=1)
        canvas.setFillColor(white)
        canvas.rect(length / 2, 4, length / 2, 3, stroke=1, fill=1)
        canvas.setFillColor(INK)
        canvas.setFont(REGULAR, 6.4)
        canvas.drawString(length + 4, 3.4, self.bar.words)
