"""What was filled in on the shift entry form, turned into events.

Sending the same form twice is harmless: each event's identifier is made from the form's own
and from what the event says happened, so a double tap makes the same events again.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation

from model.events import Event, Kind
from model.problems import InputError, Problem

SOURCE = "shift entry"
LARGEST_AMOUNT = Decimal(10**9)
"""No shift places more of anything; more digits are a slip of the hand."""


@dataclass(frozen=True, slots=True)
class Draft:
    """One row of the form as filled in.

    Parameters
    ----------
    unit, span, activity
        Which work.
    did
        Kinds ticked.
    quantity, measure_unit
        Amount placed as typed, and its unit.
    reason, note
        Free text.
    """

    unit: str
    span: str
    activity: str
    did: tuple[Kind, ...] = ()
    quantity: str = ""
    measure_unit: str = ""
    reason: str = ""
    note: str = ""

    @property
    def place(self) -> str:
        """Unit and span in words."""
        return f"unit {self.unit}" + (f", span {self.span}" if self.span else "")

    @property
    def is_blank(self) -> bool:
        """True when nothing of the row was filled in."""
        return not (self.did or self.quantity or self.reason or self.note)


def parse_moment(day: str | None, time: str | None) -> dt.datetime:
    """Read the day and time of the form.

    Raises
    ------
    InputError
        When one of them cannot be read.

    Examples
    --------
    >>> parse_moment("2026-11-24", "15:30")
    datetime.datetime(2026, 11, 24, 15, 30)
    """
    problems = []
    try:
        date = dt.date.fromisoformat((day or "").strip())
    except ValueError:
        problems.append(_problem("day", f"{day!r} is no day.", "Write it like 2026-11-24."))
    try:
        clock = dt.time.fromisoformat((time or "").strip())
    except ValueError:
        problems.append(_problem("time", f"{time!r} is no time.", "Write it like 15:30."))
    if problems:
        raise InputError(problems)
    return dt.datetime.combine(date, clock.replace(tzinfo=None))


def events_of(
    drafts: Sequence[Draft], *, by: str, at: dt.datetime, form_id: str
) -> tuple[Event, ...]:
    """Turn the filled-in rows into events.

    Parameters
    ----------
    drafts
        Rows; blank ones are passed over.
    by, at
        Who says so, and the local moment it happened.
    form_id
        Identifier (UUID) of this filling-in of the form.

    Returns
    -------
    tuple of Event
        In each row: what was ticked, the amount placed, or a note on its own.

    Raises
    ------
    InputError
        With every row's problem: a missing name, an amount that is no number, a reason
        without a hold.
    """
    filled = [draft for draft in drafts if not draft.is_blank]
    problems = [] if by.strip() else [
        _problem("by", "Nobody is named.", "Write your name, so that others know whom to ask.")
    ]  # fmt: skip
    if not filled:
        problems.append(_problem("rows", "No row is filled in.", "Tick what was done."))
    for draft in filled:
        problems += _draft_problems(draft)
    if problems:
        raise InputError(problems)
    return tuple(
        event for draft in filled for event in _events_of_draft(draft, by.strip(), at, form_id)
    )


def _draft_problems(draft: Draft) -> Iterable[Problem]:
    if draft.quantity and _amount(draft.quantity) is None:
        yield _problem(
            "quantity",
            f"{draft.place}: {draft.quantity!r} is no amount.",
            "Write a number above 0, like 300 or 60.5.",
        )
    if draft.reason and "hold" not in draft.did:
        yield _problem(
            "reason",
            f"{draft.place}: a reason is given, but it was not put on hold.",
            "Tick the hold, or write it as a note.",
        )


def _amount(typed: str) -> Decimal | None:
    """Read an amount exactly as typed; a comma between thousands is passed over."""
    try:
        amount = Decimal(typed.strip().replace(",", ""))
    except InvalidOperation:
        return None
    return amount if amount.is_finite() and 0 < amount <= LARGEST_AMOUNT else None


def _events_of_draft(draft: Draft, by: str, at: dt.datetime, form_id: str) -> Iterable[Event]:
    kinds: list[Kind] = list(draft.did)
    if draft.quantity:
        kinds.append("place")
    if not kinds:
        kinds.append("note")
    for position, kind in enumerate(kinds):
        placing = kind == "place"
        yield Event(
            at=at,
            by=by,
            unit=draft.unit,
            span=draft.span,
            activity=draft.activity,
            kind=kind,
            quantity=_amount(draft.quantity) if placing else None,
            measure_unit=draft.measure_unit if placing else "",
            reason=draft.reason.strip() if kind == "hold" else "",
            note=draft.note.strip() if position == 0 else "",
            event_id=_event_id(form_id, draft, kind),
        )


def _event_id(form_id: str, draft: Draft, kind: Kind) -> str:
    what = f"{draft.unit}|{draft.span}|{draft.activity}|{kind}"
    return str(uuid.uuid5(uuid.UUID(form_id), what))


def _problem(field: str, message: str, fix: str) -> Problem:
    return Problem(SOURCE, message, fix, field=field)
