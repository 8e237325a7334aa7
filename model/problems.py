"""What can be wrong with what people give us, and how to say it.

Every message names what was read, where, what is wrong and what to do. A driver's or
parser's exception is turned into one of these in ``model.store`` or ``model.exchange``;
the command line and the pages print it once.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

Severity = Literal["error", "warning"]


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong with one field of one file (or form).

    Parameters
    ----------
    file
        File name as the person knows it (``"bents.csv"``), or ``"event"`` for a form.
    message
        What is wrong, showing what was found next to what was expected.
    fix
        What to do about it.
    row
        Line of the file as a text editor counts it (the header is line 1), or None.
    field
        Column or key, or None where the whole row or file is meant.
    severity
        ``"error"`` stops the work; ``"warning"`` is shown and the work goes on.

    Examples
    --------
    >>> str(Problem("bents.csv", "12+40 comes before 12+90.", "Let stations rise.", 14, "station"))
    'bents.csv, row 14, station: 12+40 comes before 12+90. Let stations rise.'
    """

    file: str
    message: str
    fix: str
    row: int | None = None
    field: str | None = None
    severity: Severity = "error"

    def __str__(self) -> str:
        place = self.file
        if self.row is not None:
            place += f", row {self.row}"
        if self.field is not None:
            place += f", {self.field}"
        return f"{place}: {self.message} {self.fix}".rstrip()


class ViaductError(Exception):
    """Base of every error this project raises on purpose."""


class InputError(ViaductError):
    """Something a person gave us cannot be used; carries every problem found.

    Parameters
    ----------
    problems
        At least one problem.
    """

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems: tuple[Problem, ...] = tuple(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems))


class RefusedEvents(InputError):
    """Events that the log did not accept; nothing of the batch was written."""


class StoreError(ViaductError):
    """The log could not be opened, read or written; the message says what to do."""


def errors_only(problems: Iterable[Problem]) -> tuple[Problem, ...]:
    """Return the problems that stop the work."""
    return tuple(problem for problem in problems if problem.severity == "error")
