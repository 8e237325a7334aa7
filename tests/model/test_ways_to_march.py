"""Every answer about the line is the same by both ways to march, asked as people ask."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from demo_project import copy_demo
from demo_project.generator import LOG_ENDS, demo_events
from model import simulation
from model.clock import clock_starting_at
from model.project import Project
from model.simulation import Kernel, Way
from model.whatif import Change

WEEKS = 3
CHANGES = [
    Change("six days", workdays=("Mon", "Tue", "Wed", "Thu", "Fri", "Sat")),
    Change("more sets", falsework_sets={"W_from_west": 6}, turnaround_days={"": 1}),
    Change("two crews", crews={("E_from_east", "rebar"): 2}, weather=0.5),
    Change("from both ends", order={"W_new": ("W14", "W13")}),
]

pytestmark = pytest.mark.skipif(not simulation.can_compile(), reason="needs Numba")


@pytest.fixture(scope="module")
def project(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Project]:
    """The demo on the evening its log ends."""
    folder: Path = tmp_path_factory.mktemp("ways") / "demo"
    copy_demo(folder)
    with Project.open(folder) as opened:
        evening = LOG_ENDS.replace(tzinfo=opened.job.timezone)
    with Project.open(folder, clock=clock_starting_at(evening)) as opened:
        opened.record(demo_events(opened.job), keep_recorded_at=True)
        yield opened


def curves(project: Project) -> Any:
    return [
        (curve.activity, curve.low.tolist(), curve.likely.tolist(), curve.high.tolist())
        for curve in project.line.quantity_curves()
    ]


def some_weeks(project: Project) -> Any:
    return project.backtest(on_week=lambda done, weeks: done < WEEKS).as_dict()


ASKED: dict[str, Callable[[Project], Any]] = {
    "forecast": lambda project: project.forecast(paths=2_000).as_dict(),
    "lag": lambda project: project.lag().as_dict(),
    "lag in summer": lambda project: project.lag(dt.datetime(2026, 8, 14, 23, 59)).as_dict(),
    "whatif": lambda project: project.whatif(CHANGES).as_dict(),
    "curves": curves,
    "backtest": some_weeks,
}

ALWAYS_NUMPY = [ASKED["lag"], ASKED["lag in summer"]]
"""One heading more with draws laid out already: compiled it takes no less."""


def answered(
    project: Project, ask: Callable[[Project], Any], way: Way, monkeypatch: pytest.MonkeyPatch
) -> Any:
    """An answer worked out anew, with what the ways that were gone to it."""
    monkeypatch.setattr(simulation, "KERNEL", Kernel(ready=way == "compiled", awaited=True))
    gone: list[Way] = []
    original = simulation.way_for
    monkeypatch.setattr(simulation, "way_for", lambda cells: gone.append(way) or original(cells))
    monkeypatch.setattr(project, "_answers", project._line_answers(project.job))
    answer = ask(project)
    assert gone or ask in ALWAYS_NUMPY
    assert simulation.way_for(1) == way
    monkeypatch.undo()
    return answer


@pytest.mark.parametrize("question", ASKED)
def test_the_answer_is_the_same_whichever_way_was_gone(
    project: Project, question: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    one = answered(project, ASKED[question], "numpy", monkeypatch)
    other = answered(project, ASKED[question], "compiled", monkeypatch)
    assert one == other
    assert one


def test_a_project_that_is_served_gets_the_compiled_march_ready(
    project: Project, monkeypatch: pytest.MonkeyPatch
) -> None:
    kernel = Kernel()
    monkeypatch.setattr(simulation, "KERNEL", kernel)
    project.prepare()
    assert (kernel.awaited, kernel.ready) == (True, False)
    project.get_ready_to_march()
    assert kernel.ready
