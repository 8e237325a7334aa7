"""What a new baseline would change, before anybody saves it.

Every planned finish is of one unit and activity. Against the baseline in use it is new, gone,
moved by so many working days, or as it was.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from model.workdays import WorkCalendar

KEYS = ["unit", "activity"]


@dataclass(frozen=True, slots=True)
class Move:
    """One planned finish that is not what it was.

    Parameters
    ----------
    unit, activity
        Whose finish it is.
    was, will_be
        The day planned; None where there was none, or will be none.
    working_days
        Working days from the one to the other, negative when it comes sooner; None where one
        of them is missing.
    """

    unit: str
    activity: str
    was: dt.date | None
    will_be: dt.date | None
    working_days: int | None

    def as_dict(self) -> dict[str, Any]:
        """Return plain values."""
        return {
            "unit": self.unit,
            "activity": self.activity,
            "was": self.was and self.was.isoformat(),
            "will_be": self.will_be and self.will_be.isoformat(),
            "working_days": self.working_days,
        }


@dataclass(frozen=True, slots=True)
class BaselineReview:
    """A new baseline beside the one in use.

    Parameters
    ----------
    added, removed, moved
        What is not as it was, in the order of the files.
    unchanged
        Planned finishes that are as they were.
    units_added, units_removed
        Units that had no planned finish at all, or will have none.
    """

    added: tuple[Move, ...]
    removed: tuple[Move, ...]
    moved: tuple[Move, ...]
    unchanged: int
    units_added: tuple[str, ...]
    units_removed: tuple[str, ...]

    @property
    def changes_nothing(self) -> bool:
        """Tell whether every planned finish is as it was."""
        return not (self.added or self.removed or self.moved)

    def as_dict(self) -> dict[str, Any]:
        """Return plain values."""
        return {
            "added": [move.as_dict() for move in self.added],
            "removed": [move.as_dict() for move in self.removed],
            "moved": [move.as_dict() for move in self.moved],
            "unchanged": self.unchanged,
            "units_added": list(self.units_added),
            "units_removed": list(self.units_removed),
        }

    def __str__(self) -> str:
        if self.changes_nothing:
            return "no planned finish changed"
        return (
            f"planned finishes: {len(self.added)} added, {len(self.removed)} removed, "
            f"{len(self.moved)} moved"
        )


def review_baseline(old: pd.DataFrame, new: pd.DataFrame, calendar: WorkCalendar) -> BaselineReview:
    """Compare two baselines.

    Parameters
    ----------
    old, new
        As ``Job.baseline``.
    calendar
        Whose working days are counted; a day not worked counts as the next one worked.
    """
    both = old.merge(new, on=KEYS, how="outer", suffixes=("_was", "_will"), indicator=True,
                     sort=False)  # fmt: skip
    was, will = both["planned_finish_was"], both["planned_finish_will"]
    in_both = (both["_merge"] == "both").to_numpy()
    changed = in_both & (was != will).to_numpy()
    return BaselineReview(
        added=_moves(both[(both["_merge"] == "right_only").to_numpy()], new, calendar),
        removed=_moves(both[(both["_merge"] == "left_only").to_numpy()], old, calendar),
        moved=_moves(both[changed], new, calendar),
        unchanged=int((in_both & ~changed).sum()),
        units_added=_only_in(new, old),
        units_removed=_only_in(old, new),
    )


def _only_in(one: pd.DataFrame, other: pd.DataFrame) -> tuple[str, ...]:
    units = one["unit"].drop_duplicates()
    return tuple(units[~units.isin(other["unit"])])


def _moves(rows: pd.DataFrame, order: pd.DataFrame, calendar: WorkCalendar) -> tuple[Move, ...]:
    """Return rows of the merged baselines in the order of one of them."""
    if rows.empty:
        return ()
    place = pd.Series(np.arange(len(order)), index=pd.MultiIndex.from_frame(order[KEYS]))
    sorted_rows = rows.iloc[np.argsort(place[pd.MultiIndex.from_frame(rows[KEYS])].to_numpy())]
    return tuple(
        Move(unit, activity, _day(was), _day(will), _workdays(was, will, calendar))
        for unit, activity, was, will in zip(
            sorted_rows["unit"], sorted_rows["activity"], sorted_rows["planned_finish_was"],
            sorted_rows["planned_finish_will"], strict=True,
        )
    )  # fmt: skip


def _day(moment: pd.Timestamp) -> dt.date | None:
    return None if pd.isna(moment) else moment.date()


def _workdays(was: pd.Timestamp, will: pd.Timestamp, calendar: WorkCalendar) -> int | None:
    if pd.isna(was) or pd.isna(will):
        return None
    first, last = (np.datetime64(moment.date(), "D") for moment in (was, will))
    return int(calendar.index_of(last)) - int(calendar.index_of(first))
