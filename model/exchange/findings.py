"""What is found wrong while files are read, gathered so that all of it is said in one go."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass, field

from model.problems import Problem, errors_only


@dataclass(frozen=True, slots=True)
class Findings:
    """The problems of one file, on a list that all files of a folder share.

    Parameters
    ----------
    file
        File name as the person knows it.
    problems
        Everything found so far, in all files.

    Examples
    --------
    >>> found = Findings("bents.csv")
    >>> found.error("There is no bent.", "Give at least two.", field="bent")
    >>> [str(problem) for problem in found.problems]
    ['bents.csv, bent: There is no bent. Give at least two.']
    """

    file: str
    problems: list[Problem] = field(default_factory=list)

    def of(self, file: str) -> Findings:
        """Return the findings of another file, on the same list."""
        return Findings(file, self.problems)

    def error(
        self, message: str, fix: str, *, row: int | None = None, field: str | None = None
    ) -> None:
        """Note something that stops the work."""
        self.problems.append(Problem(self.file, message, fix, row, field))

    def warning(
        self, message: str, fix: str, *, row: int | None = None, field: str | None = None
    ) -> None:
        """Note something that is shown while the work goes on."""
        self.problems.append(Problem(self.file, message, fix, row, field, "warning"))

    def add(self, problems: Iterable[Problem]) -> None:
        """Note problems found elsewhere."""
        self.problems.extend(problems)

    def error_count(self) -> int:
        """Return how many errors were found so far, in all files."""
        return len(errors_only(self.problems))


def nearest(word: str, known: Iterable[str]) -> str:
    """Return a sentence with the known word most like ``word``; blank when none is near.

    Examples
    --------
    >>> nearest("statoin", ["bent", "station"])
    "Did you mean 'station'?"
    """
    matches = difflib.get_close_matches(word, list(known), n=1)
    return f"Did you mean {matches[0]!r}?" if matches else ""


def listed(words: Iterable[str], most: int = 12) -> str:
    """Return words as a list for a message, cut short when there are many.

    Examples
    --------
    >>> listed(["a", "b", "c"], most=2)
    'a, b, … (3 in all)'
    """
    every = list(words)
    if len(every) <= most:
        return ", ".join(every)
    return f"{', '.join(every[:most])}, … ({len(every)} in all)"
