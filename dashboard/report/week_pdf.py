"""The owner's week as a PDF: two to three sheets for a job of some fifty units."""

from __future__ import annotations

from reportlab.platypus import Flowable, Spacer

from dashboard.report import week_back as back
from dashboard.report import week_front as front
from dashboard.report.paper import (
    MARGIN,
    QUIET,
    STAND_IN,
    long_words,
    page_size,
    readable,
    title,
    words,
)
from dashboard.report.sheets import bound
from model.week_answer import WeekAnswer
from model.week_words import CAUTION, asked_again, moment_words

PROGRAM = "Viaduct Pour Map"
MOST_NOTES = 16


def week_pdf(answer: WeekAnswer) -> bytes:
    """Return the report of a week as a PDF file.

    Parameters
    ----------
    answer
        What the week was.

    Returns
    -------
    bytes
        The same for the same answer.
    """
    moments, name = answer.moments, answer.job.name
    size = page_size(answer.job.units_system)
    width = size[0] - 2 * MARGIN
    week_words = answer.days_words
    stamp = f"As of {moment_words(moments.as_of)}, as known on {moment_words(moments.known_on)}."
    story: list[Flowable] = [
        words(name, 15.0, bold=True),
        words(f"The owner's week, {week_words}", 10.0),
        Spacer(0, 5),
        *front.answers(answer, width),
        *front.placed(answer, width),
        *front.finishes(answer, width),
        *front.trades(answer, width),
        *front.map_of(answer, width),
        *back.done(answer, width),
        *back.reasons(answer, width),
        *back.lagging(answer, width),
        *back.cycles(answer, width),
        *_notes(answer),
    ]
    return bound(
        story,
        size=size,
        head=(name, f"The owner's week, {week_words}"),
        stamp=stamp,
        caution=CAUTION,
        about={
            "title": f"{name}: the owner's week, {week_words}",
            "author": name,
            "subject": f"The owner's week. {stamp}",
            "creator": PROGRAM,
        },
    )


def _notes(answer: WeekAnswer) -> list[Flowable]:
    """Say what a reader should know of the numbers, and how to make the report again."""
    moments = answer.moments
    again = (
        f"Made again by: viaduct report FOLDER --week-ending {moments.ending} --known-on "
        f"{asked_again(moments.known_on)}, with the plan of the folder as it was. "
        f"A week ago means as of {moment_words(moments.before.as_of)}, as known on "
        f"{moment_words(moments.before.known_on)}, by today's plan."
    )
    notes = list(answer.forecast.notes[:MOST_NOTES])
    if len(answer.forecast.notes) > MOST_NOTES:
        more = len(answer.forecast.notes) - MOST_NOTES
        notes.append(f"And {more} more of that kind; viaduct forecast says them all.")
    notes.append(again)
    if STAND_IN in readable(_texts(answer)):
        notes.append(
            f"{STAND_IN} stands for words in letters that this report does not have; the day "
            "book shows them."
        )
    lines = [long_words(note, 6.6, color=QUIET) for note in notes]
    return [title("What to know of these numbers"), *lines]


def _texts(answer: WeekAnswer) -> str:
    """Return everything that people typed and the report shows."""
    job = answer.job
    typed = [job.name, *job.units["unit"], *job.structure_names.values()]
    typed += [activity.name for activity in job.activities]
    typed += [heading.key for heading in job.headings]
    return " ".join([*typed, *(hold.reason for hold in answer.holds), *answer.lagging["why"]])
