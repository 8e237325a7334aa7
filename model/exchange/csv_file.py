"""Comma-separated files: the cells, the line each row stands on, and columns of one type.

Cells are read as text first. Each column is then turned into numbers, dates, … as a whole;
a cell that doesn't fit is noted with its row and becomes a blank, so that reading goes on
and everything wrong is found at once.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import math
import re
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from model.exchange.findings import Findings, listed, nearest
from model.exchange.stationing import parse_station

T = TypeVar("T")
Floats = NDArray[np.float64]

MOST_NUMBER = 1e12
"""More than anyone builds, in any unit."""

FIRST_YEAR, LAST_YEAR = 1990, 2199
"""A day outside these years is a slip of the pen, and no axis of dates can show it."""

_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")
_DATE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_OTHER_COMMAS = {";": "semicolons", "\t": "tabs", "|": "upright bars"}


@dataclass(frozen=True)
class CsvFile:
    """The cells of one file, by column.

    Parameters
    ----------
    findings
        Where its problems are noted.
    rows
        Line of each row as a text editor counts it, (n,).
    cells
        Text of each column, (n,) each.
    """

    findings: Findings
    rows: tuple[int, ...]
    cells: dict[str, list[str]]

    def __len__(self) -> int:
        return len(self.rows)

    def has(self, column: str) -> bool:
        """Tell whether the file has the column."""
        return column in self.cells

    def texts(
        self, column: str, *, blank: bool = True, choices: Sequence[str] | None = None
    ) -> list[str]:
        """Return a column of names without spaces around them.

        Parameters
        ----------
        column
            Its name; blanks are returned where the file has no such column.
        blank
            Whether a cell may be blank.
        choices
            The words allowed; None where any will do.
        """
        cells = [cell.strip() for cell in self.cells.get(column, [""] * len(self))]
        if blank and choices is None:
            return cells
        allowed = None if choices is None else {*choices, ""}
        for row, cell in zip(self.rows, cells, strict=True):
            if not cell and not blank:
                self._blank(row, column)
            elif allowed is not None and cell not in allowed:
                self._no_choice(row, column, cell, choices or ())
        return cells

    def known(self, column: str, known: Collection[str], what: str, where: str) -> list[str]:
        """Return a column of names that must be known from elsewhere.

        Parameters
        ----------
        column
            Its name.
        known
            The names there are; with none of them there is nothing to compare with.
        what, where
            What it names and where those are given, for the message.

        Notes
        -----
        A name that isn't known is noted once, at its first row.
        """
        cells = self.texts(column, blank=False)
        rows_of: dict[str, list[int]] = {}
        for row, cell in zip(self.rows, cells, strict=True):
            if cell and known and cell not in known:
                rows_of.setdefault(cell, []).append(row)
        for cell, rows in rows_of.items():
            message = f"{what} {cell!r} is not in {where}, which has {listed(known)}."
            if len(rows) > 1:
                message += f" So it is in {len(rows) - 1} more rows."
            fix = nearest(cell, known) or f"Add it to {where}, or correct it here."
            self.findings.error(message, fix, row=rows[0], field=column)
        return cells

    def numbers(
        self,
        column: str,
        *,
        blank: float | None = None,
        least: float = -MOST_NUMBER,
        most: float = MOST_NUMBER,
    ) -> Floats:
        """Return a column of numbers.

        Parameters
        ----------
        column
            Its name.
        blank
            What a blank cell means; None where a number must be given.
        least, most
            The smallest and the largest number allowed.

        Returns
        -------
        array
            (n,), NaN where the cell is no such number.
        """

        def parse(cell: str) -> float:
            number = _number(cell)
            if number < least:
                raise ValueError(f"{cell} is below {least:g}")
            if number > most:
                raise ValueError(f"{cell} is above {most:g}")
            return number

        fix = "Write a number, as 1234.5, of the size that is meant."
        may_be_blank = blank is not None
        found = self.parsed(column, parse, math.nan, fix, blank=may_be_blank, if_blank=blank)
        return np.array(found, dtype=np.float64)

    def stations(self, column: str, full: float) -> Floats:
        """Return a column of stations, written ``1240.00`` or ``12+40.00``; (n,)."""
        fix = f"Write it as 1240.00 or 12+40.00 (a full station is {full:g} here)."
        found = self.parsed(column, lambda cell: parse_station(cell, full), math.nan, fix)
        return np.array(found, dtype=np.float64)

    def dates(self, column: str) -> NDArray[np.datetime64]:
        """Return a column of dates; (n,), not-a-time where the cell is none."""
        fix = "Write the date as 2026-07-31."
        days = self.parsed(column, parse_date, None, fix)
        return np.array(days, dtype="datetime64[D]")

    def unique(self, columns: Sequence[str], fix: str) -> None:
        """Note each row that gives the same as an earlier one in all of ``columns``."""
        first_row: dict[tuple[str, ...], int] = {}
        keys = zip(*(self.texts(column) for column in columns), strict=True)
        for row, key in zip(self.rows, keys, strict=True):
            if first_row.setdefault(key, row) == row or not any(key):
                continue
            named = ", ".join(f"{c} {v!r}" for c, v in zip(columns, key, strict=True) if v)
            message = f"{named} is also given in row {first_row[key]}."
            self.findings.error(message, fix, row=row, field=columns[-1])

    def parsed(
        self,
        column: str,
        parse: Callable[[str], T],
        wrong: T | None,
        fix: str,
        *,
        blank: bool = False,
        if_blank: T | None = None,
    ) -> list[T | None]:
        """Return a column as ``parse`` reads its cells.

        Parameters
        ----------
        column
            Its name.
        parse
            Turns a text into a value, or raises ``ValueError`` with what is wrong.
        wrong
            What stands for a cell that cannot be read.
        fix
            What to do about it.
        blank, if_blank
            Whether a cell may be blank, and its value then.
        """
        if not self.has(column):
            return [if_blank if blank else wrong] * len(self)
        found: list[T | None] = []
        for row, cell in zip(self.rows, self.cells[column], strict=True):
            text = cell.strip()
            if not text:
                if not blank:
                    self._blank(row, column)
                found.append(if_blank if blank else wrong)
                continue
            try:
                found.append(parse(text))
            except ValueError as unfit:
                self.findings.error(f"{unfit}.", fix, row=row, field=column)
                found.append(wrong)
        return found

    def _blank(self, row: int, column: str) -> None:
        self.findings.error("It is blank.", f"Fill in {column}.", row=row, field=column)

    def _no_choice(self, row: int, column: str, cell: str, choices: Sequence[str]) -> None:
        message = f"Found {cell!r}; expected one of {', '.join(choices)}."
        fix = nearest(cell, choices) or "Write one of these."
        self.findings.error(message, fix, row=row, field=column)


def read_csv(
    path: Path, findings: Findings, *, needed: Sequence[str], optional: Sequence[str] = ()
) -> CsvFile | None:
    """Read a file's cells and check its columns.

    Parameters
    ----------
    path
        An existing file.
    findings
        Where its problems are noted.
    needed, optional
        Columns that must be there, and that may be. Others are passed over with a warning.

    Returns
    -------
    CsvFile or None
        None when nothing can be read from it: not text, no header, or a needed column missing.
    """
    text = _text(path, findings)
    if text is None:
        return None
    return csv_from_text(text, findings, needed=needed, optional=optional)


def csv_from_text(
    text: str, findings: Findings, *, needed: Sequence[str], optional: Sequence[str] = ()
) -> CsvFile | None:
    """Take a file's cells from its text; see ``read_csv``."""
    lines = _numbered(text, findings)
    header_row, header = next(lines, (1, []))
    names = _header([name.strip().lower() for name in header], header_row, findings)
    if names is None or not _columns_fit(names, header_row, needed, optional, findings):
        return None
    rows, kept = [], []
    for row, cells in lines:
        if len(cells) > len(names) and not any(cells[len(names) :]):
            cells = cells[: len(names)]
        if len(cells) != len(names):
            message = f"The row has {len(cells)} cells; the header has {len(names)}."
            findings.error(message, "Give one cell a column; quote a text with commas.", row=row)
            continue
        rows.append(row)
        kept.append(cells)
    columns = zip(*kept, strict=True) if kept else [()] * len(names)
    return CsvFile(findings, tuple(rows), {n: list(c) for n, c in zip(names, columns, strict=True)})


def parse_date(text: str) -> dt.date:
    """Return the date written as ``2026-07-31``.

    Raises
    ------
    ValueError
        For any other form, a day that does not exist, or one that is a slip of the hand.
    """
    if not _DATE.fullmatch(text):
        raise ValueError(f"{text!r} is no date")
    try:
        day = dt.date.fromisoformat(text)
    except ValueError:
        raise ValueError(f"{text!r} is no day of the calendar") from None
    if not FIRST_YEAR <= day.year <= LAST_YEAR:
        raise ValueError(f"{text!r} is not between {FIRST_YEAR} and {LAST_YEAR}")
    return day


def _number(text: str) -> float:
    if not _NUMBER.fullmatch(text):
        raise ValueError(f"{text!r} is no number")
    return float(text)


def _text(path: Path, findings: Findings) -> str | None:
    try:
        return path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError:
        findings.error("It is not UTF-8 text.", "Save it again as CSV in UTF-8.")
    except OSError as refused:
        findings.error(f"It cannot be read ({refused.strerror}).", "Check the file's permissions.")
    return None


def _numbered(text: str, findings: Findings) -> Iterator[tuple[int, list[str]]]:
    """Yield each row that is not blank with the line it begins on."""
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    begins = 1
    while True:
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error as broken:
            fix = "Look for a quotation mark that is not closed."
            findings.error(f"The row cannot be read ({broken}).", fix, row=begins)
            return
        if any(cell.strip() for cell in cells):
            yield begins, cells
        begins = reader.line_num + 1


def _header(names: list[str], row: int, findings: Findings) -> list[str] | None:
    while names and not names[-1]:
        names = names[:-1]
    if not names:
        findings.error("The file is empty.", "Begin it with a line of column names.", row=row)
        return None
    if len(names) == 1:
        for mark, called in _OTHER_COMMAS.items():
            if mark in names[0]:
                message = f"The columns are parted by {called}; expected commas."
                findings.error(message, "Save it as CSV with commas.", row=row)
                return None
    return names


def _columns_fit(
    names: list[str],
    row: int,
    needed: Sequence[str],
    optional: Sequence[str],
    findings: Findings,
) -> bool:
    known = [*needed, *optional]
    missing = [name for name in needed if name not in names]
    for name in missing:
        near = nearest(name, [n for n in names if n not in known]).replace("Did you mean", "Is it")
        fix = near or f"Expected the columns {', '.join(needed)}."
        findings.error("The column is missing.", fix, row=row, field=name)
    twice = sorted({name for name in names if name and names.count(name) > 1})
    for name in twice:
        findings.error("The column is given twice.", "Keep one of them.", row=row, field=name)
    for name in dict.fromkeys(names):
        if name not in known:
            fix = nearest(name, known) or f"Columns read are {', '.join(known)}."
            findings.warning("The column is passed over.", fix, row=row, field=name or None)
    return not missing and not twice
