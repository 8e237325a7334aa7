"""The numbers on top, written out for every day of the slider."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from model.activities import Activity
from model.answers import DaysAnswer
from model.units import PRINTED, share_words

Series = dict[str, dict[str, list[str]]]


def numbers_by_day(days: DaysAnswer, activities: Sequence[Activity]) -> Series:
    """Write the numbers of each activity and day.

    Parameters
    ----------
    days
        From ``Project.days``.
    activities
        In the order of its columns.

    Returns
    -------
    dict
        ``units`` ("27 of 54"), ``placed`` ("8,100 of 16,400 yd³") and ``share`` ("49 % of
        plan"), each by activity key, one text a day.
    """
    series: Series = {"units": {}, "placed": {}, "share": {}}
    for a, activity in enumerate(activities):
        complete = days.units_complete[:, a].tolist()
        series["units"][activity.key] = [f"{n} of {days.units_total}" for n in complete]
        series["placed"][activity.key] = [_placed(days, a, d) for d in range(len(days.days))]
        series["share"][activity.key] = [_share(days, a, d) for d in range(len(days.days))]
    return series


def _placed(days: DaysAnswer, a: int, d: int) -> str:
    unit = days.measure_unit[a]
    if not unit:
        return "not measured"
    words = f"{days.placed[d, a]:,.0f}"
    if not np.isnan(days.planned[a]):
        words += f" of {days.planned[a]:,.0f}"
    return f"{words} {PRINTED[unit]}"


def _share(days: DaysAnswer, a: int, d: int) -> str:
    share = days.share[d, a]
    return "no plan" if np.isnan(share) else f"{share_words(share)} of plan"
