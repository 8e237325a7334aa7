"""The front of the owner's week: what is asked, placed and projected, and where it all stands."""

from collections.abc import Mapping, Sequence
from typing import Any, TypeVar

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
from model.plan_view import plan_view, scale_bar
from model.units import PRINTED, share_words
from model.week_answer import WeekAnswer
from model.week_words import (
    date_words,
    finish_words,
    history_words,
    move_words,
    short_change,
    where_words,
    why_words,
)
from model.week_work import ActivityWeek

MOST_UNITS_ACROSS = 28
NOTHING = "–"

Names = Mapping[str, str]
Row = TypeVar("Row")


def names_of(answer: WeekAnswer) -> Names:
    """Return the words for each activity."""
    return {activity.key: activity.name for activity in answer.job.activities}


def told(rows: Sequence[Row]) -> Sequence[Row]:
    """Return the line and its headings; where there is one heading, the line says it all."""
    return rows if len(rows) > 2 else rows[:1]


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
    for one in told(answer.finishes):
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
