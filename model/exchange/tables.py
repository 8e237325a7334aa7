"""Events as comma-separated tables: in to be recorded, out with every digit as typed.

Columns are those of the log (``EVENT_COLUMNS``). Coming in, ``at``, ``by``, ``unit``,
``activity`` and ``kind`` must be there and the others may be left out; ``seq`` is given by
the store and passed over.

``at`` is local time, ``2026-07-31 14:30`` or with a ``T`` between; a date alone means noon
of that day. ``recorded_at`` is UTC. A row without an ``event_id`` gets one made from what it
says, so that the same file sent twice records nothing twice.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import math
import re
import uuid
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from pathlib import Path
from typing import cast

from model.events import EVENT_COLUMNS, KINDS, Event, Kind
from model.exchange.csv_file import CsvFile, csv_from_text, read_csv
from model.exchange.findings import Findings
from model.problems import InputError
from model.units import PRINTED

NEEDED_COLUMNS: tuple[str, ...] = ("at", "by", "unit", "activity", "kind")
OPTIONAL_COLUMNS = tuple(name for name in EVENT_COLUMNS if name not in NEEDED_COLUMNS)
KEY_COLUMNS = ("event_id", "unit", "span", "activity", "kind", "measure_unit", "voids")
TEXT_COLUMNS = ("by", "reason", "note")

NOON = dt.time(12)
"""Time of an event of which only the day is given: no shift that ends in the small hours."""

MOST_QUANTITY = Decimal(10) ** 12
MOST_CHARACTERS = 10_000

_MOMENT = re.compile(r"\d{4}-\d{2}-\d{2}([ T]\d{2}:\d{2}(:\d{2}(\.\d{1,6})?)?)?")
_ROW_IDS = uuid.UUID("6f6d9f0a-5d0b-5b0e-9a52-0d6b3f3f7c11")
_FORMULA = ("=", "+", "-", "@", "\t", "\r")


@dataclass(frozen=True, slots=True)
class EventTable:
    """The events of a CSV file, in its order, and the row each stands in."""

    events: tuple[Event, ...]
    rows: tuple[int, ...]


def read_events(path: Path) -> EventTable:
    """Read the events of a CSV file.

    Parameters
    ----------
    path
        The file.

    Raises
    ------
    InputError
        With everything wrong with any row. Whether the log accepts the events is for
        ``model.acceptance`` to say.
    """
    findings = Findings(path.name)
    if not path.is_file():
        findings.error("There is no such file.", "Check its name.")
        raise InputError(findings.problems)
    table = read_csv(path, findings, needed=NEEDED_COLUMNS, optional=OPTIONAL_COLUMNS)
    return _events(table, findings)


def events_from_text(text: str, name: str) -> EventTable:
    """Read events from the text of a CSV file called ``name``; see ``read_events``."""
    findings = Findings(name)
    table = csv_from_text(text, findings, needed=NEEDED_COLUMNS, optional=OPTIONAL_COLUMNS)
    return _events(table, findings)


def write_events(path: Path, events: Iterable[Event], *, for_spreadsheet: bool = False) -> None:
    """Write events as a CSV file; see ``events_text``."""
    path.write_text(
        events_text(events, for_spreadsheet=for_spreadsheet), encoding="utf-8", newline=""
    )


def events_text(events: Iterable[Event], *, for_spreadsheet: bool = False) -> str:
    """Return events as the text of a CSV file.

    Parameters
    ----------
    events
        In the order to be written.
    for_spreadsheet
        Put an apostrophe before texts that a spreadsheet would take for a formula. Such a
        file is for looking at; without it the file reads back to the same events.

    Examples
    --------
    >>> pour = Event(dt.datetime(2026, 7, 31, 14, 30), "Ana", "E01", "deck_pour", "place",
    ...              quantity=Decimal("62.50"), measure_unit="yd3", event_id="one")
    >>> print(events_text([pour]))
    event_id,seq,recorded_at,at,by,unit,span,activity,kind,quantity,measure_unit,reason,note,voids
    one,,,2026-07-31T14:30:00,Ana,E01,,deck_pour,place,62.50,yd3,,,
    <BLANKLINE>
    """
    buffer = io.StringIO(newline="")
    writer = csv.writer(buffer, lineterminator="\r\n")
    writer.writerow(EVENT_COLUMNS)
    rows = (_cells(event) for event in events)
    if for_spreadsheet:
        rows = ([_no_formula(cell) for cell in cells] for cells in rows)
    writer.writerows(rows)
    return buffer.getvalue()


def _cells(event: Event) -> list[str]:
    recorded = event.recorded_at
    return [
        event.event_id,
        "" if event.seq is None else str(event.seq),
        "" if recorded is None else recorded.astimezone(dt.UTC).isoformat(),
        event.at.isoformat(),
        event.by,
        event.unit,
        event.span,
        event.activity,
        event.kind,
        "" if event.quantity is None else str(event.quantity),
        event.measure_unit,
        event.reason,
        event.note,
        event.voids,
    ]


def _no_formula(cell: str) -> str:
    return f"'{cell}" if cell.startswith(_FORMULA) and not _is_number(cell) else cell


def _is_number(cell: str) -> bool:
    try:
        return Decimal(cell).is_finite()
    except InvalidOperation:
        return False


def _events(table: CsvFile | None, findings: Findings) -> EventTable:
    if table is None:
        raise InputError(findings.problems)
    events = _built(table, findings)
    _check_repeats(table, events, findings)
    if findings.error_count():
        raise InputError(findings.problems)
    return EventTable(tuple(events), table.rows)


def _built(table: CsvFile, findings: Findings) -> list[Event]:
    """Return one event a row; stand-ins where something is wrong, which is noted."""
    keys = {column: table.texts(column) for column in KEY_COLUMNS}
    keys["kind"] = table.texts("kind", blank=False, choices=KINDS)
    texts = {column: _free_text(table, column) for column in TEXT_COLUMNS}
    at = table.parsed("at", _local_moment, dt.datetime.min, "Write it as 2026-07-31 14:30.")
    recorded = table.parsed("recorded_at", _utc_moment, None,
                            "Write it as 2026-07-31T21:30:00+00:00.", blank=True)  # fmt: skip
    quantity = table.parsed("quantity", _quantity, None, "Write a number, as 62.5.", blank=True)
    _check_units(table, keys["measure_unit"])
    _check_blanks(table, keys, texts)
    ids = _with_row_ids(table, keys["event_id"])
    return [
        Event(
            at=at[i] or dt.datetime.min,
            by=texts["by"][i],
            unit=keys["unit"][i],
            activity=keys["activity"][i],
            kind=cast(Kind, keys["kind"][i]),
            span=keys["span"][i],
            quantity=quantity[i],
            measure_unit=keys["measure_unit"][i],
            reason=texts["reason"][i],
            note=texts["note"][i],
            voids=keys["voids"][i],
            event_id=ids[i],
            recorded_at=recorded[i],
        )
        for i in range(len(table))
    ]


def _free_text(table: CsvFile, column: str) -> list[str]:
    """Return a column of texts just as they stand."""
    cells = table.cells.get(column, [""] * len(table))
    for row, cell in zip(table.rows, cells, strict=True):
        if len(cell) > MOST_CHARACTERS:
            message = f"The text has {len(cell)} characters; {MOST_CHARACTERS} are allowed."
            table.findings.error(message, "Shorten it.", row=row, field=column)
    return cells


def _check_blanks(table: CsvFile, keys: dict[str, list[str]], texts: dict[str, list[str]]) -> None:
    """Note rows that don't say who, or where; a void is where the event it cancels is."""
    for place, row in enumerate(table.rows):
        if not texts["by"][place].strip():
            table.findings.error("It is blank.", "Say who reports it.", row=row, field="by")
        if not keys["unit"][place] and keys["kind"][place] != "void":
            table.findings.error("It is blank.", "Name the unit.", row=row, field="unit")


def _check_units(table: CsvFile, units: Sequence[str]) -> None:
    for row, unit in zip(table.rows, units, strict=True):
        if unit and unit not in PRINTED:
            message = f"{unit!r} is no unit of measure."
            fix = f"Use one of {', '.join(PRINTED)}."
            table.findings.error(message, fix, row=row, field="measure_unit")


def _with_row_ids(table: CsvFile, given: Sequence[str]) -> list[str]:
    """Return an ``event_id`` for each row, made from the row where it has none.

    Rows that say the same are told apart by how many came before in the file.
    """
    said = [name for name in EVENT_COLUMNS if name not in ("event_id", "seq")]
    columns = [table.cells.get(name, [""] * len(table)) for name in said]
    before: dict[tuple[str, ...], int] = {}
    ids = []
    for event_id, cells in zip(given, zip(*columns, strict=True), strict=True):
        if event_id:
            ids.append(event_id)
            continue
        count = before[cells] = before.get(cells, -1) + 1
        ids.append(str(uuid.uuid5(_ROW_IDS, "\x1f".join((*cells, str(count))))))
    return ids


def _check_repeats(table: CsvFile, events: Sequence[Event], findings: Findings) -> None:
    """Note an ``event_id`` that stands for two different things."""
    first: dict[str, int] = {}
    for place, (row, event) in enumerate(zip(table.rows, events, strict=True)):
        earlier = first.setdefault(event.event_id, place)
        if events[earlier] != event:
            message = f"Row {table.rows[earlier]} has the same event_id and says something else."
            fix = "Give each event its own, or leave it blank."
            findings.error(message, fix, row=row, field="event_id")


def _local_moment(text: str) -> dt.datetime:
    if not _MOMENT.fullmatch(text):
        zoned = re.search(r"(Z|[+-]\d{2}:?\d{2})$", text)
        raise ValueError(
            f"{text!r} carries a time zone; local time has none"
            if zoned and _MOMENT.fullmatch(text[: zoned.start()])
            else f"{text!r} is no date and time"
        )
    try:
        moment = dt.datetime.fromisoformat(text)
    except ValueError:
        raise ValueError(f"{text!r} is no moment of the calendar") from None
    return moment if len(text) > len("2026-07-31") else dt.datetime.combine(moment, NOON)


def _utc_moment(text: str) -> dt.datetime:
    try:
        moment = dt.datetime.fromisoformat(text)
    except ValueError:
        raise ValueError(f"{text!r} is no date and time") from None
    return moment.replace(tzinfo=dt.UTC) if moment.tzinfo is None else moment.astimezone(dt.UTC)


def _quantity(text: str) -> Decimal:
    try:
        quantity = Decimal(text)
    except InvalidOperation:
        raise ValueError(f"{text!r} is no number") from None
    if not quantity.is_finite() or not math.isfinite(float(quantity)):
        raise ValueError(f"{text!r} is no number")
    if abs(quantity) > MOST_QUANTITY:
        raise ValueError(f"{text!r} is more than anyone places")
    return quantity
