"""Which answers about the line a page shows: at once, also while newer ones are worked out."""

from __future__ import annotations

from dashboard.parts.forecast_wait import ended_early
from model.line_answers import LineAnswers
from model.project import Project


def shown_line(project: Project) -> LineAnswers:
    """Return the answers to show: of the log as it is, or on a long line of one before it.

    Parameters
    ----------
    project
        Where nothing is at hand, its own answers, which take as long as they take.
    """
    return project.line.shown(lag=True) or project.line


def keep_up(line: LineAnswers) -> None:
    """Have what was recorded since worked through, if that takes long and was not stopped."""
    if line.takes_long(lag=True):
        key = line.watch_key(lag=True)
        if not ended_early(line.watched.progress(), key):
            line.watch(lag=True)
