"""The owner's week on paper: the same bytes for the same week, and nothing beyond its margins."""

from __future__ import annotations

import dataclasses
import datetime as dt
import io
import re

import numpy as np
import pandas as pd
import pypdf
import pytest
from hypothesis import given
from hypothesis import strategies as st
from reportlab.pdfbase.pdfmetrics import stringWidth

from dashboard.parts.palette import LOOKS
from dashboard.report.drawings import time_scale
from dashboard.report.paper import (
    MARGIN,
    REGULAR,
    STAND_IN,
    prepare_letters,
    readable,
    shortened,
)
from dashboard.report.week_pdf import week_pdf
from model.projection import Band
from model.units import PRINTED
from model.week_answer import WeekAnswer
from model.week_words import CAUTION
from tests.model.builders import ACTIVITIES, a_job, an_event, done, only
from tests.model.weeks import week_of

ODD_REASON = (
    "<b>Wet</b> & 3 < 4 é ñ ß ő \u202e 再開を待つ \U0001f327 \x00 " + "LongWordWithoutAnyGap" * 40
)


def pages_of(content: bytes) -> pypdf.PdfReader:
    return pypdf.PdfReader(io.BytesIO(content))


def text_of(content: bytes) -> str:
    """All the words, with plain gaps between them."""
    texts = [page.extract_text() for page in pages_of(content).pages]
    return re.sub(r"\s+", " ", " ".join(texts))


def a_week(**more: object) -> WeekAnswer:
    planned = [("E01", "", "falsework", 100.0), ("E02", "", "falsework", 150.0)]
    job = a_job(units=2, activities=only("falsework"), planned=planned, **more)  # type: ignore[arg-type]
    return week_of(
        job,
        *done("falsework", "E01", "2026-03-02 07:00", "2026-03-10 15:00"),
        an_event("place", "2026-03-10 12:00", quantity=88),
        an_event("start", "2026-03-11 07:00", "E02"),
        an_event("hold", "2026-03-12 07:00", "E02", reason="Rain"),
    )


def a_wild_week(units: int = 100) -> WeekAnswer:
    """Many headings, names far too long, a reason in every kind of letter."""
    job = a_job(units=units, spans=2, headings=12, activities=ACTIVITIES)
    long = {
        unit: f"{unit}-of-the-quite-unnecessarily-long-approach-ramp" for unit in job.units["unit"]
    }
    headings = tuple(
        dataclasses.replace(
            heading,
            key=f"{heading.key} {'heading from the far west ' * 3}",
            units=tuple(long[unit] for unit in heading.units),
        )
        for heading in job.headings
    )
    heading_of = {unit: heading.key for heading in headings for unit in heading.units}
    renamed = {}
    for table in ("units", "spans"):
        frame = getattr(job, table).copy()
        frame["unit"] = frame["unit"].map(long)
        frame["heading"] = frame["unit"].map(heading_of)
        renamed[table] = frame
    trades = tuple(
        dataclasses.replace(trade, name=f"{trade.name} {'and everything else with it ' * 3}")
        for trade in job.activities
    )
    job = dataclasses.replace(
        job, name="Test viaduct " * 30, headings=headings, activities=trades, **renamed
    )
    begun = [an_event("start", "2026-03-10 07:00", unit) for unit in long.values()]
    held = [an_event("hold", "2026-03-11 07:00", unit, reason=ODD_REASON) for unit in long.values()]
    return week_of(job, *begun, *held)


@pytest.fixture(scope="module")
def wild() -> bytes:
    return week_pdf(a_wild_week())


def fragments(content: bytes) -> list[tuple[int, str, float, float, float]]:
    """Every piece of text with its page, its place and the size of its letters."""
    found: list[tuple[int, str, float, float, float]] = []
    for number, page in enumerate(pages_of(content).pages):

        def keep(text, matrix, place, _, size, number=number):
            if text.strip():
                x = place[4] * matrix[0] + place[5] * matrix[2] + matrix[4]
                y = place[4] * matrix[1] + place[5] * matrix[3] + matrix[5]
                found.append((number, text.strip("\n"), x, y, size))

        page.extract_text(visitor_text=keep)
    return found


def test_the_same_week_gives_the_same_bytes() -> None:
    assert week_pdf(a_week()) == week_pdf(a_week())


def test_the_numbers_can_be_read_and_copied() -> None:
    content = week_pdf(a_week())
    text = text_of(content)
    for said in (
        "Test viaduct", "9 Mar to 15 Mar 2026", "88 m²", "88 of 250 m²", "35 %", "1 of 2",
        "Rain", "12 Mar", "still on hold", "Page 1 of",
        "As of the end of 15 Mar 2026, as known on the end of 15 Mar 2026.",
        "--week-ending 2026-03-15 --known-on 2026-03-15",
    ):  # fmt: skip
        assert said in text, said


def test_every_page_says_as_of_when_and_what_it_is_not_for(wild: bytes) -> None:
    pages = pages_of(wild).pages
    assert len(pages) > 3
    for number, page in enumerate(pages, 1):
        text = re.sub(r"\s+", " ", page.extract_text())
        assert "as known on the end of 15 Mar 2026" in text
        assert CAUTION in text
        assert f"Page {number} of {len(pages)}" in text


def test_the_file_says_what_it_is() -> None:
    about = pages_of(week_pdf(a_week())).metadata
    assert about is not None
    assert about.title == "Test viaduct: the owner's week, 9 Mar to 15 Mar 2026"
    assert about.author == "Test viaduct"
    assert "as known on" in (about.subject or "")


@pytest.mark.parametrize(("system", "width_mm"), [("us", 215.9), ("si", 210.0)])
def test_paper_is_letter_where_feet_are_used_and_a4_elsewhere(system: str, width_mm: float) -> None:
    [*_, last] = pages_of(week_pdf(a_week(units_system=system))).pages
    assert float(last.mediabox.width) / 72 * 25.4 == pytest.approx(width_mm, abs=0.1)


def test_no_text_runs_over_the_margins_however_long_names_are(wild: bytes) -> None:
    prepare_letters()
    width, height = (float(side) for side in pages_of(wild).pages[0].mediabox[2:])
    pieces = fragments(wild)
    assert len(pieces) > 500
    for _, text, x, y, size in pieces:
        # Bold letters are wider, by less than a fifth; a line of text is measured as regular.
        assert x >= MARGIN - 1, text
        assert x + stringWidth(text.rstrip(), REGULAR, size) <= width - MARGIN + 3, text
        assert 15 <= y <= height - 25, text


def test_of_many_holds_some_are_shown_and_the_rest_is_counted(wild: bytes) -> None:
    text = text_of(wild)
    assert text.count("still on hold") == 16
    assert "And 84 more" in text


def test_letters_that_are_not_there_are_shown_to_be_missing(wild: bytes) -> None:
    text = text_of(wild)
    assert "<b>Wet</b> & 3 < 4 é ñ ß o" in text
    assert f"{STAND_IN} stands for words in letters that this report does not have" in text
    assert STAND_IN not in text_of(week_pdf(a_week()))


def test_all_units_and_signs_that_reports_use_are_there() -> None:
    letters = prepare_letters()
    used = "".join(PRINTED.values()) + "–…·\u00a0éñßäöüÅåøŁłŠšŽžÇç¿¡°µ½×≤≥"
    assert [letter for letter in used if ord(letter) not in letters] == []


@given(st.text(max_size=60))
def test_any_text_becomes_one_line_of_letters_there_are(text: str) -> None:
    letters = prepare_letters()
    written = readable(text)
    assert all(ord(letter) in letters for letter in written)
    assert "\n" not in written
    assert readable(written) == written


def test_what_is_too_long_for_a_cell_is_cut_and_says_so() -> None:
    assert shortened("x" * 5_000).endswith("…")
    assert shortened("short") == "short"


@pytest.mark.parametrize(
    "answer",
    [
        pytest.param(lambda: week_of(a_job(activities=only("falsework", measure="none"))), id="no"),
        pytest.param(lambda: week_of(a_job(), ending=dt.date(2026, 3, 8)), id="nothing begun"),
        pytest.param(lambda: week_of(a_job(units=1, activities=only("curing"))), id="no crew"),
        pytest.param(
            lambda: week_of(
                a_job(units=1, activities=only("falsework")),
                *done("falsework", "E01", "2026-03-03 07:00", "2026-03-03 15:00"),
            ),
            id="finished",
        ),
    ],
)
def test_a_job_without_this_or_that_has_a_report_too(answer) -> None:
    text = text_of(week_pdf(answer()))
    assert "When it is finished" in text
    assert "The map" in text


def test_a_baseline_is_drawn_and_told_beside_the_finish() -> None:
    job = a_job(units=1, activities=only("falsework"))
    day = pd.to_datetime(["2026-03-13"]).astype("datetime64[us]")
    baseline = pd.DataFrame({"unit": ["E01"], "activity": "falsework", "planned_finish": day})
    text = text_of(week_pdf(week_of(dataclasses.replace(job, baseline=baseline))))
    assert "The baseline has 13 Mar 2026" in text
    assert "due by the baseline" in text


def test_every_status_is_told_by_its_words_beside_its_look() -> None:
    text = text_of(week_pdf(a_week()))
    assert all(look.words in text for look in LOOKS)


def test_marks_use_only_strokes_that_paper_knows() -> None:
    for look in LOOKS:
        assert set(re.findall("[A-Za-z]", look.mark)) <= set("Mahvz"), look.status
        for arc in re.findall("a([^a-z]*)", look.mark):
            across = [float(number) for number in re.findall(r"-?[0-9.]+", arc)]
            # Half circles alone: the ends lie two radii apart.
            assert across[0] == across[1]
            assert np.hypot(*across[5:7]) == pytest.approx(2 * across[0])


@given(st.dates(dt.date(2026, 1, 1), dt.date(2040, 1, 1)), st.integers(0, 4_000))
def test_a_time_scale_holds_its_bands_and_names_few_days(first: dt.date, days: int) -> None:
    last = first + dt.timedelta(days=days)
    scale = time_scale([Band(first, first, last, last)], [], 150.0)
    assert 0.0 < scale.x(first) <= scale.x(last) < scale.width
    assert 2 <= len(scale.ticks) <= 8
    assert all(0 <= scale.x(day) <= scale.width for day, _ in scale.ticks)
