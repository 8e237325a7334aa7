"""One event of the log: what a person said happened, exactly as said.

The log is append-only. A mistake is corrected by a later event (``void``, ``reopen``), and
every state is a fold of the events (see ``model.fold``). What the log accepts is decided in
``model.acceptance``.
"""

from __future__ import annotations

import datetime as dt
import uuid
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Literal, get_args

Kind = Literal["start", "place", "finish", "hold", "resume", "reopen", "check", "void", "note"]
Status = Literal["not_started", "under_way", "on_hold", "complete"]

KINDS: tuple[Kind, ...] = get_args(Kind)
STATUSES: tuple[Status, ...] = get_args(Status)
"""In this order everywhere: a status travels to the browser as its index here."""

EVENT_COLUMNS: tuple[str, ...] = (
    "event_id",
    "seq",
    "recorded_at",
    "at",
    "by",
    "unit",
    "span",
    "activity",
    "kind",
    "quantity",
    "measure_unit",
    "reason",
    "note",
    "voids",
)
"""Columns of the log, of its CSV import and export, and of its frames, in this order."""


def new_event_id() -> str:
    """Return a fresh identifier, made by whoever sends the event."""
    return str(uuid.uuid4())


@dataclass(frozen=True, slots=True)
class Event:
    """One thing that happened to a unit or span.

    Parameters
    ----------
    at
        Local wall-clock time it happened (naive, in the project's time zone).
    by
        Who says so.
    unit, span
        Where; a blank span means the whole unit.
    activity
        Key of the activity; blank for a ``note`` on the unit as a whole, and for a ``void``.
    kind
        ``start``, ``place`` (adds a quantity), ``finish``, ``hold`` (needs a reason),
        ``resume``, ``reopen``, ``check``, ``void`` (cancels ``voids``) or ``note``.
    quantity, measure_unit
        For ``place``: the number and unit exactly as typed.
    reason, note
        Free text.
    voids
        ``event_id`` of the event that a ``void`` cancels.
    event_id
        Made by the sender, so that sending twice is harmless.
    recorded_at
        Moment the log came to know it (aware, UTC); None until a store sets it.
    seq
        Running number given by the store; None until then.
    """

    at: dt.datetime
    by: str
    unit: str
    activity: str
    kind: Kind
    span: str = ""
    quantity: Decimal | None = None
    measure_unit: str = ""
    reason: str = ""
    note: str = ""
    voids: str = ""
    event_id: str = field(default_factory=new_event_id)
    recorded_at: dt.datetime | None = None
    seq: int | None = None
