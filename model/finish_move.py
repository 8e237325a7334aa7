"""Why a projected finish moved: what was done, how fast crews go now, what was told late.

Four marches stand side by side: from where the line stood and from where it stands, each at
the pace the log gave then and at the one it gives now. What changes with the first alone is the
work, with the second alone the pace; where the order of the two matters, half of it goes to
each. So the parts add up to the whole, and nothing is left over to be explained away.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from model.line_now import LineNow
from model.simulation import march_days

BATCHES = 10
"""Paths are taken in so many lots, to see how far chance alone moves the parts."""

TOLD_WORTH_DAYS = 0.05
"""Less than this is nothing, to a tenth of a day."""

Ends = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class FinishMove:
    """How far one projected finish moved, and why. Working days; later is above 0.

    Parameters
    ----------
    heading
        Its key; blank for the whole line.
    told_late_days
        By entries about the time before that the log was told only since then.
    work_days
        By what was done since, against what had been expected of it.
    pace_days
        By the pace that crews are expected to keep from now on.
    chance_days
        Standard error of ``days`` by the luck of the draws.
    """

    heading: str
    told_late_days: float
    work_days: float
    pace_days: float
    chance_days: float

    @property
    def days(self) -> float:
        """The whole move."""
        return self.told_late_days + self.work_days + self.pace_days

    @property
    def worth_saying(self) -> bool:
        """Tell whether the move is more than the luck of the draws would also give."""
        return abs(self.days) >= max(2 * self.chance_days, TOLD_WORTH_DAYS)

    def as_dict(self) -> dict[str, Any]:
        """Return the move as one JSON-ready row."""
        return {
            "heading": self.heading or None,
            "days": round(self.days, 2),
            "told_late_days": round(self.told_late_days, 2),
            "work_days": round(self.work_days, 2),
            "pace_days": round(self.pace_days, 2),
            "chance_days": round(self.chance_days, 2),
        }


@dataclass(frozen=True, slots=True)
class PaceChange:
    """Days that a crew is expected to take for a unit, then and now.

    Parameters
    ----------
    heading, activity
        Keys.
    then_days, now_days
        Working days clear of weather on the units still to do, each for an average one of them.
    units_left
        How many.
    """

    heading: str
    activity: str
    then_days: float
    now_days: float
    units_left: int

    @property
    def adds_up_to_days(self) -> float:
        """The crew's days more (or, below 0, fewer) on all that is left."""
        return (self.now_days - self.then_days) * self.units_left

    def as_dict(self) -> dict[str, Any]:
        """Return the change as one JSON-ready row."""
        return {
            "heading": self.heading,
            "activity": self.activity,
            "crew_days_then": round(self.then_days, 2),
            "crew_days_now": round(self.now_days, 2),
            "units_left": self.units_left,
        }


def finish_moves(
    then: LineNow, then_as_known_now: LineNow, now: LineNow, *, paths: int, seed: int
) -> tuple[FinishMove, ...]:
    """Say how far the finish of the line and of each heading moved, and why.

    Parameters
    ----------
    then
        The line as it stood, as known then.
    then_as_known_now
        The same moment, as known now. The same object where nothing was told late.
    now
        The line as it stands, as known now.
    paths, seed
        As ``model.projection.project_finish``.

    Returns
    -------
    tuple of FinishMove
        The whole line, then the headings.

    Notes
    -----
    With F(state, pace) a likely finish in working days, the work is half of
    ``F(now, then) - F(then, then)`` and half of ``F(now, now) - F(then, now)``; the pace
    likewise. This is the Shapley value of two causes. A likely finish is the mean of the middle
    tenth of the paths, which moves by less than a day. The same seed gives every march its
    luck, so that most of it cancels; ``chance_days`` is the standard error of what does not,
    from ten lots of paths.

    The pace is all that the log gives a march but where the line stands: crew's days, how they
    go with size and number, how long holds last, and where the calendar has no list, how many
    days weather takes.

    References
    ----------
    .. [1] Shapley, L. S. (1953), A Value for n-Person Games (from memory).
    """

    def likely(line: LineNow, pace: LineNow) -> NDArray[np.float64]:
        return _likely_ends(at_pace_of(line, pace), paths, seed)

    known = likely(then_as_known_now, then_as_known_now)
    told = known - (known if then is then_as_known_now else likely(then, then))
    work_at_old, both = likely(now, then_as_known_now), likely(now, now)
    pace_from_old = likely(then_as_known_now, now)
    work = (work_at_old - known + both - pace_from_old) / 2
    pace = (pace_from_old - known + both - work_at_old) / 2
    return tuple(
        FinishMove(
            heading,
            float(told[place, 0]),
            float(work[place, 0]),
            float(pace[place, 0]),
            _standard_error((told + work + pace)[place, 1:]),
        )
        for place, heading in enumerate(("", *now.headings))
    )


def at_pace_of(line: LineNow, other: LineNow) -> LineNow:
    """Return a line that stands where it stands and goes at the pace of another moment."""
    if other is line:
        return line
    return replace(
        line,
        paces=other.paces,
        effort=other.effort,
        ended_holds=other.ended_holds,
        weather_holds=other.weather_holds,
        calendar=other.calendar,
    )


def pace_changes(then: LineNow, now: LineNow) -> tuple[PaceChange, ...]:
    """Say how the days that crews are expected to take changed; what adds up to most first.

    Parameters
    ----------
    then, now
        The line at two moments.

    Returns
    -------
    tuple of PaceChange
        Of crews that still have units to do.
    """
    changes = []
    for h, run in enumerate(now.runs):
        units = np.array(run.units)
        for a, activity in enumerate(now.activities):
            left = units[now.to_do[units, a]]
            if activity.calendar_days or not left.size:
                continue
            days = [
                line.paces[h][a].mean_days * float(line.effort[left, a].mean())
                for line in (then, now)
            ]
            changes.append(PaceChange(now.headings[h], activity.key, days[0], days[1], left.size))
    return tuple(sorted(changes, key=lambda change: -abs(change.adds_up_to_days)))


def _likely_ends(line: LineNow, paths: int, seed: int) -> NDArray[np.float64]:
    """Return the likely end of the line and of each heading: of all paths, then of each lot.

    Shape (1 + headings, 1 + lots).
    """
    days = march_days(line, line.luck(paths, seed)).finish
    by_heading = np.stack([days[list(run.units)].max(axis=(0, 1)) for run in line.runs])
    last = np.concatenate([by_heading.max(axis=0, keepdims=True), by_heading])
    ends = line.calendar.index_of(line.as_of + 2 + last.astype(np.int64))
    return np.stack([_middle(rows) for rows in ends])


def _middle(ends: Ends) -> NDArray[np.float64]:
    """Return the mean of the middle tenth of some ends, and of each lot of them."""
    lots = np.array_split(ends, BATCHES)
    return np.array([_middle_of(lot) for lot in (ends, *lots)])


def _middle_of(ends: Ends) -> float:
    ordered = np.sort(ends)
    first = int(0.45 * ordered.size)
    return float(ordered[first : max(int(0.55 * ordered.size), first + 1)].mean())


def _standard_error(of_lots: Sequence[float] | NDArray[np.float64]) -> float:
    return float(np.std(of_lots, ddof=1) / np.sqrt(len(of_lots)))
