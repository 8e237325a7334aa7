"""What others recorded in the meantime, and what lies outside one's headings.

Both are asked inside the write transaction, so that two people cannot both be told that
nobody else wrote.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence

import pandas as pd

from model.events import Event
from model.problems import ViaductError

Place = tuple[str, str]
"""A unit and an activity."""


class RecordedMeanwhile(ViaductError):
    """Somebody else recorded on the same unit and activity since the sender last looked.

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


def recorded_meanwhile(new: Sequence[Event], events: pd.DataFrame, seen_seq: int) -> list[str]:
    """Return the ids of what others recorded where a batch records too.

    Parameters
    ----------
    new
        The batch.
    events
        Event frame of the log.
    seen_seq
        Running number of the newest event that the sender has seen.

    Returns
    -------
    list of str
        Events after ``seen_seq`` by other people on the same unit and activity, rising. A
        void counts where the event it cancels was; a note on the unit as a whole counts for
        none of its activities.
    """
    since = events.iloc[int(events["seq"].searchsorted(seen_seq, side="right")) :]
    if since.empty:
        return []
    place_of = _places(new, since, events)
    touched = {place for event in new if (place := place_of(event.event_id))[1]}
    authors = {event.by for event in new}
    theirs = since[~since["by"].isin(authors)]
    return [event_id for event_id in theirs["event_id"] if place_of(event_id) in touched]


def headings_touched(
    new: Sequence[Event], events: pd.DataFrame, heading_of_unit: Mapping[str, str]
) -> set[str]:
    """Return the headings that a batch records on.

    Parameters
    ----------
    new
        The batch.
    events
        Event frame of the log, to find what a void cancels.
    heading_of_unit
        Of the job.

    Returns
    -------
    set of str
        Units that the job does not know count for nothing: the log refuses them.
    """
    place_of = _places(new, events.iloc[:0], events)
    units = {event.unit for event in new} | {place_of(event.event_id)[0] for event in new}
    return {heading_of_unit[unit] for unit in units if unit in heading_of_unit}


def _places(
    new: Sequence[Event], since: pd.DataFrame, events: pd.DataFrame
) -> Callable[[str], Place]:
    """Return what tells where an event was; a void was where the event it cancels was."""
    told = {event.event_id: (event.unit, event.activity, event.voids) for event in new}
    told |= _told(since)
    cancelled = {voids for _, _, voids in told.values() if voids and voids not in told}
    if cancelled:
        told |= _told(events[events["event_id"].isin(cancelled)])

    def place_of(event_id: str) -> Place:
        unit, activity, voids = told[event_id]
        if voids in told:
            unit, activity, _ = told[voids]
        return unit, activity

    return place_of


def _told(events: pd.DataFrame) -> dict[str, tuple[str, str, str]]:
    ids, *rest = (events[name].tolist() for name in ("event_id", "unit", "activity", "voids"))
    return dict(zip(ids, zip(*rest, strict=True), strict=True))
