"""Which answers about the line a page shows: at once, also while newer ones are worked out."""

from __future__ import annotations

from dashboard.parts.line_back import recent_of
from model.line_answers import LineAnswers, Recent
from model.project import Project


def line_back(project: Project, back: object) -> LineAnswers:
    """Return the answers that look so far back.

    Parameters
    ----------
    project
        Has them.
    back
        As the page's choice says it; as usual for what means nothing.
    """
    return project.line.looking_back(recent_of(back) or Recent())


def shown_line(project: Project, back: object) -> LineAnswers:
    """Return the answers to show: of the log as it is, or on a long line of one before it.

    Parameters
    ----------
    project, back
        As ``line_back``. Where nothing is at hand, its own answers, which take as long as they
        take.
    """
    line = line_back(project, back)
    return line.shown(lag=True) or line
