"""The back of the owner's week: what was done, what stood still, why the finish moved, who lags."""

import pandas as pd
from reportlab.platypus import Flowable, KeepTogether, Spacer

from dashboard.report.paper import QUIET, long_words, title
from dashboard.report.tables import shares_of, table
from dashboard.report.week_front import NOTHING, names_of, told
from model.clock import short_date
from model.week_answer import WeekAnswer
from model.week_words import (
    list_words,
    short_change,
    weather_words,
)

MOST_LAGGING, MOST_PACES, MOST_HOLDS, MOST_CYCLE_HEADINGS = 6, 6, 16, 6


def done(answer: WeekAnswer, width: float) -> list[Flowable]:
    """List what was started and finished, and what stood still."""
    rows = [
        [
            activity.activity.name,
            list_words(activity.started),
            list_words(activity.finished)
            + (f"; reopened: {list_words(activity.reopened)}" if activity.reopened else ""),
        ]
        for activity in answer.activities
        if activity.started or activity.finished or activity.reopened
    ]
    found: list[Flowable] = [title("Started and finished this week")]
    if rows:
        heads = ("Trade", "Started", "Finished")
        found.append(table(heads, rows, shares_of(width, 22, 39, 39)))
    else:
        found.append(long_words("Nothing was started or finished."))
    found += [title("On hold"), *_holds(answer, width)]
    found.append(long_words(f"Weather: {weather_words(answer.weather)}"))
    return found


def _holds(answer: WeekAnswer, width: float) -> list[Flowable]:
    if not answer.holds:
        return [long_words("Nothing was put on hold, and nothing is on hold.")]
    rows = [
        [
            hold.place,
            hold.activity.name,
            hold.reason or "no reason given",
            short_date(hold.since),
            "still on hold" if hold.until is None else short_date(hold.until),
        ]
        for hold in answer.holds[:MOST_HOLDS]
    ]
    heads = ("Unit", "Trade", "Reason", "Since", "Until")
    found: list[Flowable] = [table(heads, rows, shares_of(width, 14, 20, 42, 10, 14))]
    more = len(answer.holds) - MOST_HOLDS
    if more > 0:
        note = f"And {more} more; viaduct report --json lists all."
        found.append(long_words(note, 6.4, color=QUIET))
    return [*found, Spacer(0, 3)]


def reasons(answer: WeekAnswer, width: float) -> list[Flowable]:
    """Say by heading why the finish moved, and whose pace changed."""
    if not answer.moves:
        return []
    rows = [
        [
            move.heading or "Whole line",
            short_change(move.work_days),
            short_change(move.pace_days),
            short_change(move.told_late_days),
            short_change(move.days) + ("" if move.worth_saying else " (chance)"),
        ]
        for move in told(answer.moves)
    ]
    heads = ("Heading", "Work of the week", "Pace from now on", "Told late", "Together")
    found: list[Flowable] = [
        title("Why the finish moved"),
        table(heads, rows, shares_of(width, 18, 20, 20, 20, 22)),
        long_words(
            "Working days. Found by marching the line from where it stood a week ago and from "
            "where it stands now, each at the pace the log gave then and gives now. (chance): no "
            "more than the luck of the draws would also give.",
            6.4,
            color=QUIET,
        ),
    ]
    return [KeepTogether(found), *_paces(answer, width)]


def _paces(answer: WeekAnswer, width: float) -> list[Flowable]:
    names = names_of(answer)
    changed = [pace for pace in answer.paces if abs(pace.adds_up_to_days) >= 0.5][:MOST_PACES]
    if not changed:
        return []
    rows = [
        [
            f"{names[pace.activity]} on {pace.heading}",
            f"{pace.then_days:.1f}",
            f"{pace.now_days:.1f}",
            f"{pace.units_left}",
        ]
        for pace in changed
    ]
    heads = ("Crew", "Expected a week ago", "Expected now", "Units to do")
    note = "Crew's days a unit, clear of weather, where the change adds up to most on what is left."
    crews = table(heads, rows, shares_of(width, 40, 20, 20, 20), right=(1, 2, 3))
    return [KeepTogether([Spacer(0, 4), crews, long_words(note, 6.4, color=QUIET)])]


def lagging(answer: WeekAnswer, width: float) -> list[Flowable]:
    """Say who lags most, and why."""
    rows, names = answer.lagging, names_of(answer)
    found: list[Flowable] = [title("Who lags")]
    if rows.empty:
        return [*found, long_words("No unit lags behind its heading's pace or the baseline.")]
    shown = [
        [
            f"{row['unit']} {names[row['activity']].lower()}",
            _behind(row["behind_pace"]),
            _behind(row["behind_baseline"]),
            f"{row['costs']:.1f}",
            str(row["why"]),
        ]
        for row in rows.head(MOST_LAGGING).to_dict("records")
    ]
    heads = ("Unit and trade", "Behind its pace", "Behind baseline", "Costs finish", "Why")
    found.append(table(heads, shown, shares_of(width, 21, 9, 9, 8, 53), right=(1, 2, 3)))
    note, more = "Working days.", len(rows) - len(shown)
    if more > 0:
        note += f" {more} more lag; those that cost the finish most are shown."
    return [KeepTogether([*found, long_words(note, 6.4, color=QUIET)])]


def _behind(days: float) -> str:
    if pd.isna(days):
        return NOTHING
    return f"{days:.0f}" if days > 0 else "not"


def cycles(answer: WeekAnswer, width: float) -> list[Flowable]:
    """Lay the recent cycles out by trade and heading."""
    names = names_of(answer)
    headings = [heading.key for heading in answer.job.headings]
    cell = {(one.heading, one.activity): one for one in answer.cycles}
    crews = list(dict.fromkeys(one.activity for one in answer.cycles))
    found: list[Flowable] = [title("Recent cycle, working days a unit")]
    for first in range(0, len(headings), MOST_CYCLE_HEADINGS):
        some = headings[first : first + MOST_CYCLE_HEADINGS]
        rows = []
        for key in crews:
            of_it = [cell[heading, key] for heading in some]
            plan = of_it[0].planned
            rows.append(
                [
                    names[key],
                    *(_cycle(one.recent, one.before) for one in of_it),
                    NOTHING if plan is None else f"{plan:g}",
                ]
            )
        widths = shares_of(width, 22, *([66 / len(some)] * len(some)), 12)
        numbers = range(1, len(some) + 2)
        found.append(table(("Trade", *some, "Planned"), rows, widths, right=tuple(numbers)))
    note = "In brackets: a week ago, where it was another."
    return [KeepTogether([*found, long_words(note, 6.4, color=QUIET)])]


def _cycle(recent: float | None, before: float | None) -> str:
    if recent is None:
        return NOTHING
    words_now = f"{recent:.1f}"
    if before is None or f"{before:.1f}" == words_now:
        return words_now
    return f"{words_now} ({before:.1f})"
