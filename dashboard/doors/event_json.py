"""Events as JSON: what the writing door reads and what it says back.

The shape (which keys, which types) is told apart from the content (a day that cannot be, an
amount that is none): a wrong shape is a program's fault, wrong content a person's, shown beside
what was typed.
"""

from __future__ import annotations

import datetime as dt
import re
import unicodedata
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, cast
from zoneinfo import ZoneInfo

from model.clock import wall_clock
from model.events import KINDS, Event, Kind
from model.problems import Problem

SOURCE = "event"
NEEDED = ("event_id", "at", "unit", "activity", "kind")
OPTIONAL = ("by", "span", "quantity", "measure_unit", "reason", "note", "voids")
KEYS = NEEDED + OPTIONAL

LONGEST_WORD = 100
LONGEST_TEXT = 10_000
TEXTS = ("reason", "note")
LONGEST = {key: LONGEST_TEXT if key in TEXTS else LONGEST_WORD for key in KEYS}
"""Characters each key may have."""

MOMENT = r"[0-9]{4}-[0-9]{2}-[0-9]{2}[T ][0-9]{2}:[0-9]{2}(:[0-9]{2}(\.[0-9]{1,6})?)?"
AMOUNT = r"[0-9]{1,12}(\.[0-9]{1,12})?"
EVENT_ID = r"[\x21-\x7e]+"


@dataclass(frozen=True, slots=True)
class WrongShape:
    """What is wrong with the shape of a body, in words."""

    message: str
    fix: str
    field: str | None = None


def wrong_shape(item: object) -> WrongShape | None:
    """Say what is wrong with the shape of one event, None when nothing is."""
    if not isinstance(item, dict):
        return WrongShape("An event is not an object.", "Send an object with the keys of an event.")
    for key in NEEDED:
        if key not in item:
            return WrongShape(f"An event has no {key!r}.", f"Give {', '.join(NEEDED)}.", key)
    for key, value in item.items():
        if key not in KEYS:
            return WrongShape(f"{_shown(key)} is no key of an event.", f"Use {', '.join(KEYS)}.")
        if not isinstance(value, str):
            return WrongShape(f"{key} is not text.", "Write every value as text, also numbers: "
                              "so digits stay as they were typed.", key)  # fmt: skip
        if len(value) > LONGEST[key]:
            return WrongShape(f"{key} has {len(value)} characters; {LONGEST[key]} are allowed.",
                              "Shorten it.", key)  # fmt: skip
    return None


def read_event(item: Mapping[str, str], row: int, by: str | None) -> Event | list[Problem]:
    """Read one event of a good shape.

    Parameters
    ----------
    item
        Keys and values.
    row
        Its place in the batch, counted from 1.
    by
        Who is signed in; None takes what the event says.

    Returns
    -------
    Event or list of Problem
    """
    problems = [Problem(SOURCE, message, fix, row, field)
                for field, message, fix in _wrong_content(item)]  # fmt: skip
    if problems:
        return problems
    quantity = item.get("quantity", "").strip()
    return Event(
        at=dt.datetime.fromisoformat(item["at"]),
        by=by if by is not None else item.get("by", "").strip(),
        unit=item["unit"],
        activity=item["activity"],
        kind=cast(Kind, item["kind"]),
        span=item.get("span", ""),
        quantity=Decimal(quantity) if quantity else None,
        measure_unit=item.get("measure_unit", ""),
        reason=item.get("reason", "").strip(),
        note=item.get("note", "").strip(),
        voids=item.get("voids", ""),
        event_id=item["event_id"],
    )


def _wrong_content(item: Mapping[str, str]) -> Iterator[tuple[str, str, str]]:
    for key, value in item.items():
        if any(_cannot_be_kept(letter) for letter in value):
            yield key, "It holds signs that cannot be kept.", "Write it again, as plain text."
    if not re.fullmatch(EVENT_ID, item["event_id"]):
        yield "event_id", f"{_shown(item['event_id'])} is no id.", "Make a UUID for every event."
    if item["kind"] not in KINDS:
        yield "kind", f"{_shown(item['kind'])} is no kind of event.", f"Use {', '.join(KINDS)}."
    quantity = item.get("quantity", "").strip()
    if quantity and not re.fullmatch(AMOUNT, quantity):
        yield "quantity", f"{_shown(quantity)} is no amount.", "Write a number, like 300 or 60.5."
    if not _is_moment(item["at"]):
        yield ("at", f"{_shown(item['at'])} is no local date and time.",
               "Write it like 2026-07-31T14:30, without a time zone.")  # fmt: skip


def _is_moment(text: str) -> bool:
    if not re.fullmatch(MOMENT, text):
        return False
    try:
        dt.datetime.fromisoformat(text)
    except ValueError:
        return False
    return True


def _cannot_be_kept(letter: str) -> bool:
    """Tell control signs and halves of signs, which a database or a page cannot hold."""
    return unicodedata.category(letter) in ("Cc", "Cs") and letter not in "\n\t\r"


def _shown(text: str) -> str:
    shortened = text if len(text) <= LONGEST_WORD else text[:LONGEST_WORD] + "…"
    return repr(shortened.encode("utf-8", "backslashreplace").decode())


def event_record(event: Event, zone: ZoneInfo) -> dict[str, Any]:
    """Return an event as JSON, with who recorded it and when it became known."""
    recorded = event.recorded_at
    return {
        "event_id": event.event_id,
        "seq": event.seq,
        "recorded_at": recorded.isoformat() if recorded else None,
        "known_at": wall_clock(recorded, zone).isoformat(timespec="seconds") if recorded else None,
        "at": event.at.isoformat(timespec="minutes"),
        "by": event.by,
        "unit": event.unit,
        "span": event.span,
        "activity": event.activity,
        "kind": event.kind,
        "quantity": "" if event.quantity is None else str(event.quantity),
        "measure_unit": event.measure_unit,
        "reason": event.reason,
        "note": event.note,
        "voids": event.voids,
    }
