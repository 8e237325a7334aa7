"""What others recorded in the meantime, and what lies outside one's headings.

Both are asked inside the write transaction, so that two people cannot both be told that
nobody else wrote.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

import pandas as pd

from model.events import Event
from model.problems import ViaductError
from model.unit_log import LogView, unit_of, view_of


class RecordedMeanwhile(ViaductError):
    """Somebody else recorded on the same unit since the sender last looked.

    Parameters
    ----------
    event_ids
        What they recorded, in the order of the log.
    last_seq
        Running number of the newest event on the units they share.
    """

    def __init__(self, event_ids: Sequence[str], last_seq: int) -> None:
        self.event_ids = tuple(event_ids)
        self.last_seq = last_seq
        super().__init__("Somebody else recorded on the same unit meanwhile; look at both.")


class NotYourHeading(ViaductError):
    """A batch touches headings that its sender does not record on."""

    def __init__(self, headings: Collection[str]) -> None:
        self.headings = tuple(sorted(headings))
        super().__init__(
            f"You do not record on {', '.join(self.headings)}. Ask whoever looks after the users."
        )


def recorded_meanwhile(
    new: Sequence[Event], events: LogView | pd.DataFrame, seen_seq: int
) -> list[str]:
    """Return the ids of what others recorded where a batch records too.

    Parameters
    ----------
    new
        The batch.
    events
        The log, or an event frame of it.
    seen_seq
        Running number of the newest event that the sender has seen.

    Returns
    -------
    list of str
        Events after ``seen_seq`` by other people on the same units, rising: a hold on the
        falsework matters to who finishes the stems above it. A void counts where the event
        it cancels was.
    """
    log, authors = view_of(events), {event.by for event in new}
    theirs = [event for unit in _units(new, log) for event in log.unit(unit).since(seen_seq)
              if event.by not in authors]  # fmt: skip
    return [event.event_id for event in sorted(theirs, key=_seq)]


def newest_seq(new: Sequence[Event], log: LogView) -> int:
    """Return the running number of the newest event on the units of a batch; 0 for none."""
    newest = (event for unit in _units(new, log) for event in log.unit(unit).events[-1:])
    return max(map(_seq, newest), default=0)


def headings_touched(
    new: Sequence[Event], events: LogView | pd.DataFrame, heading_of_unit: Mapping[str, str]
) -> set[str]:
    """Return the headings that a batch records on.

    Parameters
    ----------
    new
        The batch.
    events
        The log, or an event frame of it, to find what a void cancels.
    heading_of_unit
        Of the job.

    Returns
    -------
    set of str
        Units that the job does not know count for nothing: the log refuses them.
    """
    units = {event.unit for event in new} | _units(new, view_of(events))
    return {heading_of_unit[unit] for unit in units if unit in heading_of_unit}


def _units(new: Sequence[Event], log: LogView) -> set[str]:
    """Return the units of a batch; a void is where the event it cancels is."""
    if not any(event.voids for event in new):
        return {event.unit for event in new}
    fresh = {event.event_id: event for event in new}
    return {unit_of(event, lambda event_id: fresh.get(event_id) or log.find(event_id))
            for event in new}  # fmt: skip


def _seq(event: Event) -> int:
    return event.seq or 0
