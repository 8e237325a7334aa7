"""What a superintendent likely has to report of a shift, heading by heading.

Finishes of what is under way, with the concrete placed where it is a pour, starts that are
due, and work on hold that goes on: those that the simulated line holds for likely, the
likeliest first. Nothing is recorded by it; a person says what happened.

Planning figures only: that something is due says nothing about strength. When forms are
stripped or falsework is released is decided by the engineer of record.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from model.cycle import completions
from model.fold import State
from model.job import Job
from model.shift_chances import ALL_PLACED, SEED, shift_chances

LEAST_CHANCE = 0.05
"""By the end of the next shift; what is less likely is not proposed."""

NOTHING_FINISHED = "Nothing is finished yet, so there is no pace to go by."

COLUMNS = (
    "heading", "unit", "span", "activity", "kinds", "chance", "chance_by_next", "by_plan",
)  # fmt: skip

REPORTED = {"under_way": "finish", "not_started": "start", "on_hold": "resume"}
"""What happens next to work, by how it stands."""

ORDER = ("finish", "resume", "start")
"""Which comes first of what is equally likely."""


@dataclass(frozen=True)
class LikelyNext:
    """What is likely to have happened by the end of a shift, and of the next one.

    Parameters
    ----------
    shift, next_shift
        The days on which they begin; the next one is on a working day.
    proposals
        Per heading, in the job's order, the likeliest first: ``heading``, ``unit``, ``span``
        (blank for whole units), ``activity``, ``kinds`` (of events, a tuple), ``chance`` by the
        end of the shift, ``chance_by_next`` by the end of the next one (0…1), ``by_plan``:
        nothing of the activity is finished yet, so the planned cycle stands for its pace.
    note
        Why there are none, where nothing can be said; else blank.
    """

    shift: dt.date
    next_shift: dt.date
    proposals: pd.DataFrame
    note: str = ""


def likely_next(
    job: Job, state: State, evening_before: State, shift: dt.date, *, seed: int = SEED
) -> LikelyNext:
    """Say what is likely to be reported of a shift.

    Parameters
    ----------
    job
        The job as planned.
    state, evening_before
        The log folded as of now, and as of the beginning of the shift.
    shift
        The day on which it began.
    seed
        The same one gives the same chances.

    Returns
    -------
    LikelyNext
        Without proposals, and with a note, where nothing is finished yet: what comes first is
        then a matter of building order.
    """
    next_day = job.calendar.add(np.datetime64(shift, "D") + 1, 0)
    next_shift = dt.date.fromisoformat(str(next_day))
    finished = completions(state, job)
    if finished.empty:
        return LikelyNext(shift, next_shift, pd.DataFrame(columns=COLUMNS), NOTHING_FINISHED)
    chances = shift_chances(job, state, evening_before, shift, next_shift, seed=seed)
    by_plan = ~chances["activity"].isin(finished["activity"])
    return LikelyNext(shift, next_shift, proposals(job, chances.assign(by_plan=by_plan)))


def proposals(job: Job, chances: pd.DataFrame) -> pd.DataFrame:
    """Choose and rank what is likely to be reported.

    Parameters
    ----------
    job
        The job as planned.
    chances
        As ``shift_chances`` returns them, with ``by_plan``.

    Returns
    -------
    DataFrame
        See ``LikelyNext``. Chances that round to the same tenth count as the same; among
        those finishes come first, then what goes on, then starts, each in building order.
    """
    kind = chances["status"].map(REPORTED)
    finishes = kind == "finish"
    concrete = [activity.key for activity in job.activities if activity.measure == "concrete"]
    pours = finishes & chances["activity"].isin(concrete) & (chances["percent"] < ALL_PLACED)
    told = chances.assign(
        kinds=_kinds(kind, pours),
        chance=chances["finishes"].where(finishes, chances["starts"]),
        chance_by_next=chances["finishes_by_next"].where(finishes, chances["starts_by_next"]),
        rank=kind.map(ORDER.index),
    )
    told = told[told["chance_by_next"] >= LEAST_CHANCE]
    return _ranked(job, told)[list(COLUMNS)]


def _kinds(kind: pd.Series[str], pours: pd.Series[bool]) -> pd.Series[Any]:
    """Return the kinds of events that tell of each; a pour is placed, then finished."""
    told = [("place", one) if pour else (one,) for one, pour in zip(kind, pours, strict=True)]
    return pd.Series(told, index=kind.index, dtype="object")


def _ranked(job: Job, told: pd.DataFrame) -> pd.DataFrame:
    """Put headings in the job's order, and in each what is likeliest first."""
    units = [unit for heading in job.headings for unit in heading.units]
    keys = {
        "heading_place": told["heading"].map([h.key for h in job.headings].index),
        "tenths": -told["chance"].round(1),
        "tenths_by_next": -told["chance_by_next"].round(1),
        "unit_place": told["unit"].map(units.index),
    }
    order = ["heading_place", "tenths", "tenths_by_next", "rank", "unit_place"]
    return told.assign(**keys).sort_values(order, kind="stable", ignore_index=True)
