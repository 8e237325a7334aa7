"""Which pours come next: those begun, and on each heading the one whose turn it is.

This speaks of the order of trades alone. Whether forms and falsework may be loaded is decided
by the engineer of record.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from model.activities import Activity
from model.events import Status
from model.fold import State
from model.job import Job
from model.next_pour import pours_of
from model.pour_before import before_pour

OFFERED = 2
"""So many pours of each activity are named on a heading (our choice)."""


@dataclass(frozen=True, slots=True)
class PourAhead:
    """A pour that is still to come.

    Parameters
    ----------
    unit, heading
        Where; the heading is blank where the job has none for the unit.
    activity
        The pour, as the job has it.
    status, reason
        Where the pour itself stands, and why where it is on hold.
    waits_for
        Names of the activities before it that are not finished, in working order.
    """

    unit: str
    heading: str
    activity: Activity
    status: Status
    reason: str = ""
    waits_for: tuple[str, ...] = ()

    @property
    def ready(self) -> bool:
        """Whether nothing before it is unfinished and it is not on hold itself.

        Examples
        --------
        >>> deck = Activity("deck_pour", "Deck pour", measure="concrete")
        >>> PourAhead("E07", "east", deck, "not_started", waits_for=("Rebar",)).ready
        False
        """
        return self.status != "on_hold" and not self.waits_for

    @property
    def near(self) -> tuple[int, int]:
        """How near it is: under way, ready, on hold, then by how much it waits for."""
        if self.status == "on_hold":
            return 2, len(self.waits_for)
        return (0 if self.status == "under_way" else 1 if self.ready else 3), len(self.waits_for)


def pours_ahead(state: State, unit: str = "") -> tuple[PourAhead, ...]:
    """Return the pours that come next, the nearest first.

    Parameters
    ----------
    state
        The fold of the log.
    unit
        Only the pours of this unit; blank: of all headings.

    Returns
    -------
    tuple of PourAhead
        Of each activity that places concrete and each heading at most ``OFFERED``: those begun,
        and then whose turn it is in building order. Those equally near stand in the job's
        order of headings, a later activity first. Empty where nothing is left to pour.
    """
    groups = [(unit,)] if unit else _groups(state.job)
    found = [one for units in groups for one in _of_group(state, units)]
    return tuple(sorted(found, key=lambda one: one.near))


def _groups(job: Job) -> list[Sequence[str]]:
    """Return units in building order, heading by heading, then those of no heading."""
    others = [unit for unit in job.units["unit"] if unit not in job.heading_of_unit]
    return [*(heading.units for heading in job.headings), others]


def _of_group(state: State, units: Sequence[str]) -> Iterator[PourAhead]:
    frame = state.units
    for activity in reversed(pours_of(state.job)):
        rows = frame[(frame["activity"] == activity.key) & (frame["status"] != "complete")]
        open_: dict[str, Any] = dict(
            zip(rows["unit"], rows[["status", "reason"]].values, strict=True)
        )
        order = [unit for unit in units if unit in open_]
        # Those begun come first, each group in building order.
        order.sort(key=lambda one: open_[one][0] == "not_started")
        for unit in order[:OFFERED]:
            yield _ahead(state, unit, activity, *open_[unit])


def _ahead(state: State, unit: str, activity: Activity, status: Status, reason: str) -> PourAhead:
    waits_for = [one.name for one in before_pour(state, unit, "", activity) if not one.finished]
    heading = state.job.heading_of_unit.get(unit, "")
    return PourAhead(unit, heading, activity, status, reason, tuple(waits_for))
