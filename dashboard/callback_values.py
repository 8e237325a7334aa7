"""What each input of a callback may be: a table, asked before any callback runs.

Pages send what their controls and stores hold, but anybody may send anything to the same
address. A value of a shape that no page of ours sends is refused as malformed, so that
callbacks may rely on what they read. An input that is not in the table is refused too.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from dashboard.parts.days import read_day
from dashboard.parts.line_address import ALL
from dashboard.parts.line_back import recent_of
from dashboard.parts.plan_form import LOST
from dashboard.parts.pour_fields import FIELDS
from dashboard.parts.pour_form import field_id
from dashboard.parts.whatif_form import WEATHER_WORDS, WEEKS
from model.job import Job
from model.workdays import WEEKDAYS

LONGEST_TEXT = 20_000
LARGEST_COUNT = 2**53
LARGEST_NUMBER = 10_000


@dataclass(frozen=True)
class Shape:
    """What a value may be.

    Parameters
    ----------
    words
        Ends the sentence "has to be …".
    fits
        Tells whether a value of a page of this job fits.
    """

    words: str
    fits: Callable[[Any, Job], bool]

    def or_nothing(self) -> Shape:
        """Return the shape of a value that may also be missing."""
        return Shape(
            f"{self.words} or nothing", lambda value, job: value is None or self.fits(value, job)
        )


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _is_whole(value: Any) -> bool:
    return isinstance(value, int) and not isinstance(value, bool)


def _is_sound(text: str) -> bool:
    """Tell whether a text can be written: no half of a character that takes two."""
    return not any("\ud800" <= letter <= "\udfff" for letter in text)


def _key(words: str, keys: Callable[[Job], Collection[str]], *others: str) -> Shape:
    return Shape(
        words,
        lambda value, job: isinstance(value, str) and (value in others or value in keys(job)),
    )


def _one_of(words: str, allowed: Collection[str]) -> Shape:
    return _key(words, lambda _: allowed)


def _list_of(shape: Shape) -> Shape:
    return Shape(
        f"a list of which each is {shape.words}",
        lambda value, job: isinstance(value, list) and all(shape.fits(one, job) for one in value),
    )


def _record(**fields: Shape) -> Shape:
    """Return the shape of a record with at least these fields."""
    words = ", ".join(f"{name} ({shape.words})" for name, shape in fields.items())
    return Shape(
        f"a record of {words}",
        lambda value, job: (
            isinstance(value, dict)
            and all(shape.fits(value.get(name), job) for name, shape in fields.items())
        ),
    )


def _headings(job: Job) -> Collection[str]:
    return [heading.key for heading in job.headings]


COUNT = Shape(
    "a whole number from 0", lambda value, _: _is_whole(value) and 0 <= value <= LARGEST_COUNT
).or_nothing()
NUMBER = Shape(
    f"a number up to {LARGEST_NUMBER:,}",
    lambda value, _: _is_number(value) and abs(value) <= LARGEST_NUMBER,
).or_nothing()
TEXT = Shape(
    f"text of at most {LONGEST_TEXT:,} characters",
    lambda value, _: isinstance(value, str) and len(value) <= LONGEST_TEXT,
).or_nothing()
FILE = Shape("the text of a file", lambda value, _: isinstance(value, str) and _is_sound(value))
"""As long as a body may be."""

TRUTH = Shape("true or false", lambda value, _: isinstance(value, bool))
DAY = Shape(
    "a day like 2026-07-31", lambda value, _: isinstance(value, str) and read_day(value) is not None
)
ACTIVITY = _key("an activity of this job", lambda job: job.activity_by_key)
UNIT = _key("a unit of this job", lambda job: job.heading_of_unit)
POURED = _key("a unit of this job", lambda job: job.spans_of_unit)
"""Also one that no heading builds."""

UNIT_OR_BLANK = _key("a unit of this job or blank", lambda job: job.heading_of_unit, "")

BY_PROPERTY: Mapping[str, Shape] = {"n_clicks": COUNT, "n_intervals": COUNT}
"""Of what is the same wherever it stands: presses of buttons and ticks of clocks."""

BY_INPUT: Mapping[str, Shape] = {
    "url.pathname": TEXT,
    "url.search": TEXT,
    # The map.
    "seen-seq.data": COUNT,
    "settled.data": _record(activity=ACTIVITY, date=DAY).or_nothing(),
    "outlines.value": _list_of(_one_of("“lag”", ("lag",))).or_nothing(),
    "selection.data": _record(unit=UNIT, opened=COUNT).or_nothing(),
    # The line page.
    "line-search.data": TEXT,
    "line-seq.data": COUNT,
    "line-screen.data": _record(narrow=TRUTH).or_nothing(),
    "line-heading.value": _key("a heading of this job or all", _headings, ALL),
    "line-activity.value": _key(
        "an activity of this job or all", lambda job: job.activity_by_key, ALL
    ),
    "line-chosen.data": _record(unit=UNIT_OR_BLANK, units=_list_of(UNIT)),
    "line-back.value": Shape(
        "a look back like 8-units or 6-weeks", lambda value, _: recent_of(value) is not None
    ).or_nothing(),
    # Its cases; every case has the same fields.
    "whatif-asked.data": TEXT,
    "case-name.value": TEXT,
    "case-heading.value": _key("a heading of this job or blank", _headings, "").or_nothing(),
    "case-activity.value": _key(
        "an activity of this job or blank", lambda job: job.activity_by_key, ""
    ).or_nothing(),
    "case-cycle.value": NUMBER,
    "case-crews.value": NUMBER,
    "case-sets.value": NUMBER,
    "case-week.value": _one_of("a choice of days worked", WEEKS).or_nothing(),
    "case-weather.value": _one_of("a choice of weather", WEATHER_WORDS).or_nothing(),
    "case-order.value": TEXT,
    # The plan page; what a file or a field says is checked as a project folder is.
    "plan-file.contents": FILE.or_nothing(),
    "plan-file.filename": FILE.or_nothing(),
    "plan-reviewed.data": _record(text=FILE, seen=FILE, name=FILE).or_nothing(),
    "plan-calendar-seen.data": TEXT,
    "plan-workdays.value": _list_of(_one_of("a day of the week", WEEKDAYS)).or_nothing(),
    "plan-holidays.value": TEXT,
    "plan-days-off.value": TEXT,
    **{f"{field}.value": NUMBER for field in LOST},
    # The next pour; what a field says is told beside it.
    "pour-which.data": _record(
        unit=POURED, activity=ACTIVITY, span=TEXT, usual=_record(**dict.fromkeys(FIELDS, TEXT))
    ),
    "pour-seq.data": COUNT,
    **{f"{field_id(key)}.value": TEXT for key in FIELDS},
    # The day book says itself what is no day.
    "day-book-day.value": TEXT,
}
"""Of everything else, by component and property."""


def shape_of(component: str, prop: str) -> Shape | None:
    """Return what an input may be; None for one that is in no table.

    Examples
    --------
    >>> shape_of("case-3-crews", "value") is NUMBER, shape_of("anything", "n_clicks") is COUNT
    (True, True)
    """
    name = re.sub(r"^case-[0-9]+-", "case-", component)
    return BY_INPUT.get(f"{name}.{prop}", BY_PROPERTY.get(prop))


def misfit(
    wanted: Sequence[Mapping[str, str]], given: Sequence[Mapping[str, Any]], job: Job
) -> str | None:
    """Say in a sentence which value does not fit; None where all of them do.

    Parameters
    ----------
    wanted
        ``id`` and ``property`` of each input, as the callback was registered.
    given
        What was sent, in the same order; a missing ``value`` is nothing.
    job
        Has the keys.
    """
    for one, sent in zip(wanted, given, strict=True):
        shape = shape_of(one["id"], one["property"])
        if shape is None:
            return f"{one['id']}.{one['property']} is in no table of values."
        if not shape.fits(sent.get("value"), job):
            return f"{one['id']}.{one['property']} has to be {shape.words}."
    return None
