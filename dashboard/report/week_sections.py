"""Sections of the owner's week, each made of one part of the answer."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, TypeVar

import pandas as pd
from reportlab.platypus import Flowable, KeepTogether, Spacer, Table

from dashboard.report.drawings import (
    BandBar,
    PlanMap,
    ShareBar,
    StatusLegend,
    Strip,
    TimeAxis,
    time_scale,
)
from dashboard.report.paper import QUIET, long_words, title, words
from dashboard.report.tables import shares_of, table
from model.clock import short_date
from model.plan_view import plan_view, scale_bar
from model.units import PRINTED, share_words
from model.week import WeekAnswer
from model.week_words import (
    date_words,
    finish_words,
    history_words,
    list_words,
    move_words,
    short_change,
    weather_words,
    where_words,
    why_words,
)
from model.week_work import ActivityWeek

MOST_LAGGING, MOST_PACES, MOST_HOLDS, MOST_CYCLE_HEADINGS, MOST_UNITS_ACROSS = 6, 6, 16, 6, 28
NOTHING = "–"

Names = Mapping[str, str]
Row = TypeVar("Row")


def names_of(answer: WeekAnswer) -> Names:
    """Return the words for each activity."""
    return {activity.key: activity.name for activity in answer.job.activities}


def answers(answer: WeekAnswer, width: float) -> list[Flowable]:
    """Answer what an owner asks, a line or two each."""
    finish = answer.finish
    rows = [
        ("Where are we?", long_words(where_words(answer.activities), 8.4)),
        (
            "When is it finished?",
            long_words(finish_words(finish.now) + history_words(*answer.little_history), 8.4),
        ),
        (
            "Did that move?",
            long_words(move_words(finish.before, finish.moved_days, answer.move), 8.4),
        ),
    ]
    if answer.move is not None:
        rows.append(("Why?", [long_words(line, 8.0) for line in why_words(answer.move)]))
    asked = [[words(question, 8.4, bold=True), said] for question, said in rows]
    return [plain_rows(asked, shares_of(width, 17, 83)), Spacer(0, 2)]


def plain_rows(rows: Sequence[Sequence[Any]], widths: Sequence[float]) -> Flowable:
    """Return rows without a head or lines."""
    look = [
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("LEFTPADDING", (0, 0), (-1, -1), 0),
        ("TOPPADDING", (0, 0), (-1, -1), 1.5),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 2.5),
    ]
    return Table(list(rows), colWidths=list(widths), style=look, hAlign="LEFT")


def placed(answer: WeekAnswer, width: float) -> list[Flowable]:
    """Lay what was placed beside the plan."""
    widths = shares_of(width, 20, 12, 23, 7, 19, 10, 9)
    bar = widths[4] - 6
    rows = [_placed_row(activity, bar) for activity in answer.activities]
    heads = ("Trade", "This week", "To date, of plan", "Share", "Of the plan", "Units", "Baseline")
    legend = (
        "Bar: placed before this week (filled) and in it (hatched), of the plan; where nothing is "
        "measured, units. Units: complete, and as the baseline has them by the end of the week."
    )
    if any(activity.shares and activity.shares[2] is not None for activity in answer.activities):
        legend += " Line across the bar: what is due by the baseline."
    return [
        title("Placed against plan"),
        table(heads, rows, widths, right=(1, 2, 3, 5, 6)),
        long_words(legend, 6.4, color=QUIET),
    ]


def _placed_row(activity: ActivityWeek, bar: float) -> list[Any]:
    shares = activity.shares
    unit = PRINTED.get(activity.measure_unit, "")
    week, to_date = NOTHING, "not measured"
    if activity.placed is not None and activity.placed_to_date is not None:
        week, to_date = f"{activity.placed:,.0f} {unit}", f"{activity.placed_to_date:,.0f} {unit}"
        if activity.planned is not None:
            to_date = f"{activity.placed_to_date:,.0f} of {activity.planned:,.0f} {unit}"
    return [
        activity.activity.name,
        week,
        to_date,
        share_words(shares[0] + shares[1]) if shares else NOTHING,
        ShareBar(shares, bar) if shares else NOTHING,
        f"{activity.units_complete} of {activity.units_total}",
        NOTHING if activity.units_due is None else f"{activity.units_due}",
    ]


def finishes(answer: WeekAnswer, width: float) -> list[Flowable]:
    """Draw the projected finishes over those of a week ago, with their numbers."""
    widths = shares_of(width, 15, 33, 12, 12, 9, 12, 9)
    bands = [one.now.finish for one in answer.finishes]
    bands += [one.before for one in answer.finishes if one.before is not None]
    plans = [one.now.planned for one in answer.finishes if one.now.planned is not None]
    scale = time_scale(bands, plans, widths[1] - 6)
    rows = []
    for one in _told(answer.finishes):
        now, done = one.now, one.now.done
        rows.append(
            [
                now.heading or "Whole line",
                BandBar(now.finish, one.before, now.planned, scale),
                f"finished {date_words(now.finish.p50)}" if done else date_words(now.finish.p50),
                NOTHING if done else date_words(now.finish.p80),
                short_change(one.moved_days),
                date_words(now.planned) if now.planned else NOTHING,
                short_change(now.days_late, ("late", "early")),
            ]
        )
    heads = ("Heading", TimeAxis(scale), "As likely as not", "80\u00a0% sure by",
             "Moved", "Baseline", "Against it")  # fmt: skip
    legend = (
        "Filled: projected now, from the 10 to the 90\u00a0% date, with ticks at 50 and 80\u00a0%. "
        "Outlined below it: a week ago. Diamond: baseline. Moved in the week and against the "
        "baseline in working days."
    )
    return [
        title("When it is finished"),
        table(heads, rows, widths),
        long_words(legend, 6.4, color=QUIET),
    ]


def _told(rows: Sequence[Row]) -> Sequence[Row]:
    """Return the line and its headings; where there is one heading, the line says it all."""
    return rows if len(rows) > 2 else rows[:1]


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
        for move in _told(answer.moves)
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
    return [*found, *_paces(answer, width)]


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
    return [
        Spacer(0, 4),
        table(heads, rows, shares_of(width, 40, 20, 20, 20), right=(1, 2, 3)),
        long_words(note, 6.4, color=QUIET),
    ]


def trades(answer: WeekAnswer, width: float) -> list[Flowable]:
    """Draw every trade unit by unit, structure by structure, in the order of the stations."""
    job, units = answer.job, answer.state.units
    keys = zip(units["unit"], units["activity"], strict=True)
    status = dict(zip(keys, units["status"], strict=True))
    found: list[Flowable] = []
    gap = Spacer(0, 3)
    for structure, table_of in job.units.groupby("structure", sort=False):
        along = table_of.sort_values("from_station_m")["unit"].tolist()
        # As many in each row as in the others, so that columns keep their width.
        across = -(-len(along) // -(-len(along) // MOST_UNITS_ACROSS))
        name = job.structure_names.get(str(structure), str(structure))
        for first in range(0, len(along), across):
            some = along[first : first + across]
            head = f"{name}, {some[0]} to {some[-1]}" if len(along) > across else name
            strip = Strip(some, names_of(answer), status, across, width)
            over = [] if found else [title("Every trade, unit by unit"), StatusLegend(width), gap]
            found.append(KeepTogether([*over, words(head, 7.0, bold=True), strip, Spacer(0, 5)]))
    return found


def map_of(answer: WeekAnswer, width: float) -> list[Flowable]:
    """Draw the map of the last crew's trade."""
    job, spans = answer.job, answer.state.spans
    crews = [a for a in job.activities if not a.calendar_days] or list(job.activities)
    shown, view = crews[-1], plan_view(job)
    statuses = spans.loc[spans["activity"] == shown.key, "status"].tolist()
    drawn = PlanMap(view, statuses, scale_bar(view.width_m, job.units_system), width)
    over = title(f"The map: {shown.name.lower()}")
    return [KeepTogether([over, drawn, StatusLegend(width)])]


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
    return [*found, long_words(note, 6.4, color=QUIET)]


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
