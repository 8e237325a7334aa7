"""What writers of the benchmark send: single entries, and the batch of a whole shift."""

from __future__ import annotations

import datetime as dt
import http.client
import itertools
import json
import uuid
from collections.abc import Callable, Iterator, Sequence

import numpy as np

from model.events import Event, Kind
from model.project import Project
from tests.benchmarks.at_once import Write

SHIFT: tuple[Kind, ...] = ("hold", "resume", "check", "note", "hold", "resume")
"""What happens to each of two units in a shift; it can happen again in the next one."""

UNITS_OF_A_SHIFT = 2
EVENTS_OF_A_SHIFT = UNITS_OF_A_SHIFT * len(SHIFT)
STEP = dt.timedelta(milliseconds=10)

LIST_READ_EVERY = 50
"""Requests after which a phone has read the list again, and says that it has seen so much."""

Place = tuple[str, str]
"""A unit and an activity of it that is not finished."""

Batches = Callable[[Sequence[Place], dt.datetime, str], Iterator[list[Event]]]


def single_entries(places: Sequence[Place], after: dt.datetime, by: str) -> Iterator[list[Event]]:
    """One entry a request: work on hold and on again, unit by unit."""
    moments = _moments(after)
    for place in itertools.cycle(places):
        for kind in ("hold", "resume"):
            yield [_entry(kind, place, next(moments), by)]


def whole_shifts(places: Sequence[Place], after: dt.datetime, by: str) -> Iterator[list[Event]]:
    """Twelve entries a request, six on each of two units."""
    moments, turn = _moments(after), itertools.cycle(places)
    while True:
        here = [next(turn) for _ in range(UNITS_OF_A_SHIFT)]
        yield [_entry(kind, place, next(moments), by) for place in here for kind in SHIFT]


def _moments(after: dt.datetime) -> Iterator[dt.datetime]:
    return (after + number * STEP for number in itertools.count(1))


def _entry(kind: Kind, place: Place, at: dt.datetime, by: str) -> Event:
    reason = "no forms" if kind == "hold" else ""
    return Event(at, by, *place, kind, reason=reason, note="as the foreman said")


def shared_out(places: Sequence[Place], writers: int) -> list[list[Place]]:
    """Give each writer units of his own."""
    return [[places[n] for n in some] for some in np.array_split(np.arange(len(places)), writers)]


def door_writers(
    project: Project, places: Sequence[Place], after: dt.datetime, writers: int, what: Batches
) -> list[Write]:
    """Writers at the one door for writing, without HTTP: asked who wrote meanwhile, and judged."""

    def writer(number: int, mine: Sequence[Place]) -> Write:
        batches = what(mine, after, f"W. Reed {number}")
        seen = 0

        def write(turn: int) -> None:
            nonlocal seen
            if turn % LIST_READ_EVERY == 0:
                seen = project.last_seq()
            project.record(next(batches), seen_seq=seen)

        return write

    return [writer(*pair) for pair in enumerate(shared_out(places, writers))]


def http_writers(
    address: str, places: Sequence[Place], after: dt.datetime, writers: int, what: Batches
) -> list[Write]:
    """The same over HTTP, each on a connection that is kept open."""
    host = address.removeprefix("http://").strip("/")

    def writer(number: int, mine: Sequence[Place]) -> Write:
        connection = http.client.HTTPConnection(host, timeout=60)
        batches = what(mine, after, f"W. Reed {number}")
        seen = 0

        def write(turn: int) -> None:
            nonlocal seen
            events = [_as_json(event) for event in next(batches)]
            body = json.dumps({"events": events, "seen_seq": seen} if seen else {"events": events})
            connection.request("POST", "/api/events", body, {"Content-Type": "application/json"})
            answer = connection.getresponse()
            said = answer.read()
            assert answer.status == 200, said
            if turn % LIST_READ_EVERY == 0:
                seen = json.loads(said)["last_seq"]

        return write

    return [writer(*pair) for pair in enumerate(shared_out(places, writers))]


def _as_json(event: Event) -> dict[str, str]:
    return {
        "event_id": str(uuid.uuid4()), "at": event.at.isoformat(), "by": event.by,
        "unit": event.unit, "span": "", "activity": event.activity, "kind": event.kind,
        "reason": event.reason, "note": event.note,
    }  # fmt: skip
