"""What a calendar that is sent has to look like, before it is checked as the project's."""

from __future__ import annotations

from model.problems import Problem

CALENDAR_KEYS = ("workdays", "holidays", "days_off", "lost_days_per_month")
TEXTS = ("workdays", "days_off")
MOST_ITEMS = 1000
LONGEST_WORD = 100
MOST_LOST_DAYS = 31

EXPECTED = {
    "workdays": 'Give a list of texts, as ["Mon", "Tue"].',
    "holidays": 'Give a text, as "US-CA"; blank for none.',
    "days_off": 'Give a list of days as texts, as ["2026-07-03"].',
    "lost_days_per_month": f"Give twelve numbers from 0 to {MOST_LOST_DAYS}, or null.",
}


def wrong_calendar(body: object) -> Problem | None:
    """Say what is wrong with the shape of a calendar, None when nothing is.

    Examples
    --------
    >>> str(wrong_calendar({"holidays": 5}))
    'request, holidays: It is not what is expected here. Give a text, as "US-CA"; blank for none.'
    """
    if not isinstance(body, dict):
        return Problem("request", "The body is not an object.",
                       "Send an object with the calendar's keys.")  # fmt: skip
    for key, value in body.items():
        if key not in CALENDAR_KEYS:
            return Problem("request", "One of its keys is none of a calendar.",
                           f"Use {', '.join(CALENDAR_KEYS)}.")  # fmt: skip
        if value is not None and not _fits(key, value):
            return Problem("request", "It is not what is expected here.", EXPECTED[key], field=key)
    return None


def _fits(key: str, value: object) -> bool:
    if key == "holidays":
        return _is_word(value)
    if not isinstance(value, list) or len(value) > MOST_ITEMS:
        return False
    return all(map(_is_word if key in TEXTS else _is_lost_days, value))


def _is_word(value: object) -> bool:
    """Tell whether it is a short text that can be written to a file as it is."""
    return isinstance(value, str) and len(value) <= LONGEST_WORD and value.isprintable()


def _is_lost_days(value: object) -> bool:
    if isinstance(value, bool) or not isinstance(value, int | float):
        return False
    return 0 <= value <= MOST_LOST_DAYS
