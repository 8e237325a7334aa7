"""A week in sentences: the answers an owner asks for, each in a line or two."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from model.against_plan import FinishAgainstPlan
from model.clock import short_date
from model.finish_move import FinishMove
from model.projection import Band
from model.units import PRINTED, share_words
from model.week_work import ActivityWeek, WeekHold, WeekWeather
from model.workdays import days_words

LEAST_PART_DAYS = 0.05
CAUTION = (
    "Planning figures only: whether falsework may be moved or released, forms stripped or "
    "concrete loaded is decided by the engineer of record, by local codes and licensed practice."
)


def date_words(day: dt.date) -> str:
    """Write a date as people say it.

    Examples
    --------
    >>> date_words(dt.date(2027, 5, 4))
    '4 May 2027'
    """
    return f"{short_date(day)} {day:%Y}"


def moment_words(moment: dt.datetime) -> str:
    """Write a moment so that it can be asked for again.

    Examples
    --------
    >>> moment_words(dt.datetime(2026, 11, 22, 23, 59, 59, 999999))
    'the end of 22 Nov 2026'
    >>> moment_words(dt.datetime(2026, 11, 24, 18, 5, 43))
    '24 Nov 2026 18:05:43'
    """
    if moment.time() == dt.time.max:
        return f"the end of {date_words(moment)}"
    seconds = f"{moment:%H:%M:%S}" if moment.second else f"{moment:%H:%M}"
    return f"{date_words(moment)} {seconds}"


def asked_again(moment: dt.datetime) -> str:
    """Write a moment as the commands take it.

    Examples
    --------
    >>> asked_again(dt.datetime(2026, 11, 22, 23, 59, 59, 999999))
    '2026-11-22'
    >>> asked_again(dt.datetime(2026, 11, 24, 18, 5, 43))
    '2026-11-24T18:05:43'
    """
    if moment.time() == dt.time.max:
        return moment.date().isoformat()
    return moment.isoformat(timespec="seconds")


def list_words(words: Sequence[str], most: int = 12) -> str:
    """Write a list, and how many more there are where it is long.

    Examples
    --------
    >>> list_words(["E01", "E02"]), list_words(["a", "b", "c", "d"], most=2), list_words([])
    ('E01, E02', 'a, b and 2 more', '–')
    """
    if len(words) > most:
        return f"{', '.join(words[:most])} and {len(words) - most} more"
    return ", ".join(words) or "–"


def placed_words(activity: ActivityWeek) -> str:
    """Say what was placed of an activity in the week, by its end, and of how much."""
    if activity.placed_to_date is None or activity.placed is None:
        return "not measured"
    unit = PRINTED[activity.measure_unit]
    words = f"{activity.placed:,.0f} {unit} in the week, {activity.placed_to_date:,.0f}"
    if activity.planned is None:
        return f"{words} {unit} to date"
    return f"{words} of {activity.planned:,.0f} {unit} to date"


def where_words(activities: Sequence[ActivityWeek]) -> str:
    """Say how many units are through the last trade, and what was finished in the week."""
    crews = [a for a in activities if not a.activity.calendar_days] or activities
    last = crews[-1]
    finished = [f"{len(a.finished)} {a.activity.name.lower()}" for a in activities if a.finished]
    words = f"{last.activity.name} is complete on {last.units_complete} of {last.units_total} units"
    if last.units_due is not None:
        words += f"; the baseline has {last.units_due} by now"
    told = f"Units finished in the week: {', '.join(finished) or 'none'}."
    return f"{words}. {told}"


def finish_words(now: FinishAgainstPlan) -> str:
    """Say when the line finishes, how sure that is, and how it stands to the baseline."""
    if now.done:
        words = f"Finished on {date_words(now.finish.p50)}"
    else:
        words = (
            f"{date_words(now.finish.p50)} as likely as not, {date_words(now.finish.p80)} with "
            f"80\u00a0% confidence (10 to 90\u00a0%: {date_words(now.finish.p10)} to "
            f"{date_words(now.finish.p90)})"
        )
    if now.planned is None or now.days_late is None:
        return f"{words}. There is no baseline to compare it with."
    return f"{words}. The baseline has {date_words(now.planned)}: {late_words(now.days_late)}."


def history_words(few: int, crews: int) -> str:
    """Say, after when the line finishes, how many crews have too little history to go by.

    Examples
    --------
    >>> history_words(3, 20), history_words(0, 20)
    (' Of 20 crews with work left, 3 have too few recent cycles to go by; the plan stands in.', '')
    """
    if not few:
        return ""
    has = "has" if few == 1 else "have"
    crew = "crew" if crews == 1 else "crews"
    return (
        f" Of {crews} {crew} with work left, {few} {has} too few recent cycles to go by; the plan "
        "stands in."
    )


def late_words(days: int) -> str:
    """Say how far a date lies from the planned one.

    Examples
    --------
    >>> late_words(3), late_words(0), late_words(-1)
    ('3 working days late', 'on plan', '1 working day early')
    """
    if not days:
        return "on plan"
    return f"{days_words(abs(days))} {'late' if days > 0 else 'early'}"


def moved_words(days: int | None) -> str:
    """Say how far a date moved in the week.

    Examples
    --------
    >>> moved_words(3), moved_words(-1), moved_words(0), moved_words(None)
    ('3 working days later', '1 working day sooner', 'not moved', 'no week before')
    """
    if days is None:
        return "no week before"
    if not days:
        return "not moved"
    return f"{days_words(abs(days))} {'later' if days > 0 else 'sooner'}"


def change_words(days: float) -> str:
    """Say a part of a move, to a tenth of a day so that the parts add up.

    Examples
    --------
    >>> change_words(12.34), change_words(-0.8), change_words(0.02)
    ('12.3 working days later', '0.8 working days sooner', 'nothing')
    """
    if abs(days) < LEAST_PART_DAYS:
        return "nothing"
    return f"{abs(days):.1f} working days {'later' if days > 0 else 'sooner'}"


def short_change(days: float | None, words: tuple[str, str] = ("later", "sooner")) -> str:
    """Say how far a date moved or lies off, under a title that names the unit.

    Parameters
    ----------
    days
        Whole where they are counted between dates; None where not known.
    words
        For more than nothing, and for less.

    Examples
    --------
    >>> short_change(3), short_change(-0.81), short_change(0.0), short_change(-2, ("late", "early"))
    ('3 later', '0.8 sooner', '0', '2 early')
    """
    if days is None:
        return "–"
    if abs(days) < LEAST_PART_DAYS:
        return "0"
    number = f"{abs(days)}" if isinstance(days, int) else f"{abs(days):.1f}"
    return f"{number} {words[0] if days > 0 else words[1]}"


def move_words(before: Band | None, moved_days: int | None, move: FinishMove | None) -> str:
    """Say whether a finish moved since the week before."""
    if before is None or move is None:
        return "This is the first week: there is no earlier projection to compare it with."
    words = f"A week ago it was {date_words(before.p50)}: {moved_words(moved_days)}."
    if not move.worth_saying:
        words += " That is no more than chance in the projection itself would also give."
    return words


def why_words(move: FinishMove) -> tuple[str, ...]:
    """Say why a finish moved, one sentence a cause."""
    lines = [
        "What was done in the week, against what had been expected of it: "
        f"{change_words(move.work_days)}.",
        f"The pace that crews are expected to keep from now on: {change_words(move.pace_days)}.",
        "What the log was told only this week about the time before: "
        f"{change_words(move.told_late_days)}.",
        f"Together {change_words(move.days)}, give or take {2 * move.chance_days:.1f} by the luck "
        "of the projection's draws. Weather and holds of the week are in what was done.",
    ]
    return tuple(lines)


def weather_words(weather: WeekWeather) -> str:
    """Say how many days weather took, and how many were expected."""
    words = (
        f"{weather.lost_days:.1f} of {days_words(weather.working_days)} lost to weather, as the "
        "holds of the log say"
    )
    if weather.expected_days is None:
        return f"{words}; the calendar says nothing of what is to be expected."
    return f"{words}; the calendar expects {weather.expected_days:.1f}."


def hold_words(hold: WeekHold) -> str:
    """Say where and why work stands still, or stood."""
    until = "still on hold" if hold.until is None else f"until {short_date(hold.until)}"
    reason = hold.reason or "no reason given"
    name = hold.activity.name.lower()
    return f"{hold.place} {name}: {reason}; since {short_date(hold.since)}, {until}"


def activity_words(activity: ActivityWeek) -> str:
    """Say what was done of an activity in the week and by its end, in one line."""
    shares = activity.shares
    share = f", {share_words(shares[0] + shares[1])}" if shares else ""
    return (
        f"{activity.activity.name}: {placed_words(activity)}{share}; "
        f"{activity.units_complete} of {activity.units_total} units, "
        f"finished in the week: {list_words(activity.finished)}"
    )
