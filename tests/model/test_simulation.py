"""Both ways to march against each other, path by path, and what goes for each of them."""

from __future__ import annotations

import datetime as dt
import subprocess
import sys
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from model import simulation
from model.activities import Activity
from model.chance import mix
from model.fold import fold
from model.line import BOUND_HOLD, Run
from model.line_now import LineNow, line_now
from model.pace import Pace
from model.simulation import Kernel, Simulation, Way, march_days, simulate
from model.workdays import WorkCalendar
from tests.model.simulated_job import simulated_job

needs_numba = pytest.mark.skipif(not simulation.can_compile(), reason="needs Numba")
NOW = np.datetime64("2026-05-14")
LOST = (4.0, 4.0, 3.0, 2.0, 3.0, 1.0, 0.0, 0.0, 1.0, 2.0, 3.0, 4.0)
BOTH: tuple[Way, Way] = ("numpy", "compiled")
A_PACE = Pace(np.array([2.0, 3.0, 3.3, 5.0, 8.0]), np.ones(5), 5)


def a_line(seed: int = 1, *, headings: int = 2, units: int = 9, **changes: object) -> LineNow:
    """A line in the middle of the work, with something of everything.

    Lags, work that goes on in the rain, two crews, few sets, an activity that waits for two,
    units begun out of turn, holds, cures under way, work half placed.
    """
    rng = np.random.default_rng(seed)
    activities = (
        Activity("a", "A"),
        Activity("b", "B", after=("a",), lag_days=2),
        Activity("c", "C", after=("a",), weather=False),
        Activity("d", "D", after=("b", "c")),
        Activity("e", "E", after=("d",), calendar_days=True, weather=False),
        Activity("f", "F", after=("e",)),
    )
    shape = (units, len(activities))
    progress = rng.integers(-2, 7, units)
    finished, started = np.full(shape, np.nan), np.full(shape, np.nan)
    for unit, done in enumerate(progress):
        finished[unit, : max(done, 0)] = np.sort(-rng.integers(0, 30, max(done, 0)))
        begun = rng.random() < 0.6 and 0 <= done < shape[1]
        if begun:
            started[unit, done] = -rng.integers(0, 9)
    under_way = ~np.isnan(started)
    rows = np.array_split(np.arange(units), headings)
    line = LineNow(
        as_of=NOW,
        units=tuple(f"E{unit}" for unit in range(units)),
        headings=tuple(f"h{heading}" for heading in range(headings)),
        activities=activities,
        calendar=WorkCalendar(dt.date(2026, 3, 2), lost_days_per_month=LOST),
        runs=tuple(
            Run(tuple(row.tolist()), sets, turnaround, crews)
            for row, sets, turnaround, crews in zip(
                rows, (2, None, 1), (3, 0, 0), ((), (2, 1, 3, 1, 1, 1), ()), strict=False
            )
        ),
        finished=finished,
        started=started,
        on_hold=under_way & (rng.random(shape) < 0.4),
        left_share=np.where(under_way & (rng.random(shape) < 0.3), rng.random(shape), np.nan),
        spent_days=np.where(under_way, rng.integers(0, 9, shape), 0.0),
        paces=((A_PACE, A_PACE, A_PACE, A_PACE, Pace(np.array([7.0]), np.ones(1), 1), A_PACE),)
        * headings,
        effort=rng.uniform(0.4, 2.1, shape),
        held_days=np.zeros(shape),
        ended_holds=np.array([1.0, 4.0, 20.0]),
    )
    return replace(line, **changes)  # type: ignore[arg-type]


def assert_alike(line: LineNow, paths: int = 50, seed: int = 3) -> None:
    one = simulate(line, paths, seed, way="numpy")
    other = simulate(line, paths, seed, way="compiled")
    assert np.array_equal(one.days, other.days)
    assert other.driven == pytest.approx(one.driven, abs=1e-6)
    assert other.lost == pytest.approx(one.lost, abs=1e-6)


@needs_numba
@given(st.integers(0, 10_000), st.integers(1, 3), st.integers(3, 14), st.integers(1, 70))
@settings(max_examples=60, deadline=None)
def test_both_ways_give_the_same_days_on_every_path(
    seed: int, headings: int, units: int, paths: int
) -> None:
    assert_alike(a_line(seed, headings=headings, units=units), paths, seed)


@needs_numba
@given(st.integers(0, 10_000), st.integers(1, 3), st.integers(3, 14), st.integers(1, 70))
@settings(max_examples=40, deadline=None)
def test_both_ways_start_and_finish_on_the_same_days_on_every_path(
    seed: int, headings: int, units: int, paths: int
) -> None:
    line = a_line(seed, headings=headings, units=units)
    luck = line.luck(paths, seed)
    one, other = (march_days(line, luck, way=way, keep_starts=True) for way in BOTH)
    assert np.array_equal(one.finish, other.finish)
    begins = line.to_do & ~np.array([trade.calendar_days for trade in line.activities])
    assert one.start is not None and other.start is not None
    assert np.array_equal(one.start[begins], other.start[begins])
    marched, _ = line.march(line.draws(luck), keep_starts=True)
    assert marched.start is not None
    assert np.array_equal(other.start[begins], np.floor(marched.start[begins]))


@needs_numba
@pytest.mark.parametrize("lost", [None, (0.0,) * 12, (15.0,) * 12])
def test_both_ways_agree_in_any_weather(lost: tuple[float, ...] | None) -> None:
    calendar = WorkCalendar(dt.date(2026, 3, 2), lost_days_per_month=lost)
    assert_alike(a_line(5, calendar=calendar))


@needs_numba
def test_both_ways_agree_on_a_real_log_from_its_first_weeks_to_its_last() -> None:
    job = simulated_job(11, units=16, headings=2, sets=3)
    first, last = job.log["at"].min().date(), job.log["at"].max().date()
    for share in (0.0, 0.2, 0.5, 0.9, 1.0):
        day = first + (last - first) * share
        moment = dt.datetime.combine(day, dt.time(23, 59))
        line = line_now(job.job, fold(job.log, job.job, as_of=moment), day, recent=8)
        assert_alike(line, paths=200)


@needs_numba
def test_both_ways_agree_when_the_march_goes_on_for_longer_than_guessed() -> None:
    slow = replace(a_line(7), effort=np.full((9, 6), 1.0))
    held = replace(slow, on_hold=~np.isnan(slow.started), ended_holds=np.array([2000.0]))
    assert_alike(held)


@needs_numba
def test_both_ways_mix_alike() -> None:
    from model.march_kernel import _mixed

    words = np.array([0, 1, 2**63, 2**64 - 1, 1_234_567], dtype=np.uint64)
    assert [int(_mixed(word)) for word in words] == mix(words.copy()).tolist()


def test_the_same_seed_gives_the_same_days(way: simulation.Way) -> None:
    one, again, other = (simulate(a_line(), 40, seed).days for seed in (5, 5, 6))
    assert np.array_equal(one, again)
    assert not np.array_equal(one, other)


def test_more_paths_leave_the_first_ones_as_they_were(way: simulation.Way) -> None:
    line = replace(a_line(4), on_hold=np.zeros((9, 6), dtype=bool), started=np.full((9, 6), np.nan))
    assert np.array_equal(simulate(line, 24, 1).days, simulate(line, 60, 1).days[..., :24])


def in_small_blocks(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(simulation, "CELLS_AT_ONCE", 54 * 32)
    monkeypatch.setattr(simulation, "COMPILED_BLOCK", 32)


def test_blocks_of_paths_change_nothing(
    way: simulation.Way,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    whole = simulate(a_line(2), 150, 1)
    in_small_blocks(monkeypatch)
    parts = simulate(a_line(2), 150, 1)
    assert np.array_equal(whole.days, parts.days)
    assert parts.driven == pytest.approx(whole.driven)


def test_a_long_run_says_how_far_it_is(
    way: simulation.Way,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    in_small_blocks(monkeypatch)
    said: list[tuple[int, int]] = []
    simulate(
        a_line(), 100, 1, on_block=lambda done, paths: bool(said.append((done, paths))) or True
    )
    assert said == [(32, 100), (64, 100), (96, 100), (100, 100)]


def test_a_run_that_is_stopped_keeps_the_paths_done(
    way: simulation.Way,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    in_small_blocks(monkeypatch)
    whole = simulate(a_line(), 100, 1)
    stopped = simulate(a_line(), 100, 1, on_block=lambda done, paths: done < 64)
    assert stopped.paths == 64
    assert np.array_equal(stopped.days, whole.days[..., :64])
    assert stopped.driven.sum() < whole.driven.sum()


def test_what_drives_the_end_is_told_from_the_first_paths(
    way: simulation.Way,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    in_small_blocks(monkeypatch)
    first = simulate(a_line(), 100, 1, on_block=lambda done, paths: done < 64)
    monkeypatch.setattr(simulation, "FOLLOWED", 64)
    whole = simulate(a_line(), 100, 1)
    assert whole.paths == 100
    assert whole.driven == pytest.approx(first.driven)
    assert whole.lost == pytest.approx(first.lost)
    monkeypatch.setattr(simulation, "FOLLOWED", 50)
    assert 0 < simulate(a_line(), 100, 1).driven.sum() < whole.driven.sum()


def test_what_drives_the_end_adds_up_to_the_days_to_it(way: simulation.Way) -> None:
    line = a_line(3, headings=1)
    simulated: Simulation = simulate(line, 60, 1)
    ends = simulated.days.reshape(-1, 60).max(axis=0) + 1
    total = simulated.driven.sum() + simulated.lost.sum()
    # A day's number says only in which day an end falls.
    assert ends.sum() - 60 <= total <= ends.sum()


def test_a_hold_is_followed_back_to_its_end(way: simulation.Way) -> None:
    started = np.full((9, 6), np.nan)
    started[0, 0] = 0.0
    line = replace(
        a_line(), finished=np.full((9, 6), np.nan), started=started, on_hold=~np.isnan(started)
    )
    assert (
        simulate(replace(line, ended_holds=np.array([400.0])), 40, 1).driven[..., BOUND_HOLD].any()
    )


@pytest.mark.parametrize("headings", [1, 4])
def test_simpy_with_draws_of_its_own_agrees_in_distribution(
    way: simulation.Way, headings: int
) -> None:
    # SimPy marches the same line from the same history with chances of NumPy's generator: pools,
    # weather by month, a hold of unknown length, sets, cure. Two-sample Kolmogorov–Smirnov test.
    pytest.importorskip("simpy")
    from tests.benchmarks.bench_line import Rival
    from tests.benchmarks.bench_line import a_line as a_long_line

    line = a_long_line(54, headings)
    ends = simulate(line, 4000, 5).days.reshape(-1, 4000).max(axis=0) + 1
    rival = Rival(54, headings, int(2 * ends.max()))
    theirs = np.ceil([rival.by_table() for _ in range(300)])
    assert stats.ks_2samp(ends, theirs).pvalue > 0.01
    assert np.median(ends) == pytest.approx(np.median(theirs), rel=0.02)


def test_small_work_does_not_wait_for_the_compiler() -> None:
    assert simulation.way_for(simulation.COMPILED_FROM - 1, Kernel()) == "numpy"


@needs_numba
def test_much_work_and_a_compiler_at_hand_are_worth_it() -> None:
    assert simulation.way_for(simulation.COMPILED_FROM, Kernel()) == "compiled"
    assert simulation.way_for(1, Kernel(ready=True)) == "compiled"


@needs_numba
def test_a_program_that_lives_long_marches_in_numpy_until_the_compiled_march_is_ready() -> None:
    kernel = Kernel()
    simulation.await_kernel(kernel)
    assert simulation.way_for(10**12, kernel) == "numpy"
    kernel.ready = True
    assert simulation.way_for(1, kernel) == "compiled"


def test_without_the_compiler_numpy_marches(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(simulation, "can_compile", lambda: False)
    assert simulation.way_for(10**12, Kernel(ready=True)) == "numpy"


def test_without_the_compiler_there_is_nothing_to_get_ready(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    kernel = Kernel()
    monkeypatch.setattr(simulation, "can_compile", lambda: False)
    monkeypatch.setattr(simulation, "KERNEL", kernel)
    simulation.get_ready(a_line())
    assert not kernel.ready


@needs_numba
def test_once_got_ready_every_march_goes_by_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(simulation, "KERNEL", Kernel(awaited=True))
    simulation.get_ready(a_line())
    assert simulation.way_for(1) == "compiled"


def test_a_small_forecast_does_not_load_the_compiler() -> None:
    script = (
        "import sys; from tests.model.test_simulation import a_line;"
        "from model.simulation import simulate; simulate(a_line(), 40, 1);"
        "assert 'numba' not in sys.modules"
    )
    subprocess.run([sys.executable, "-c", script], check=True)


@needs_numba
def test_the_compiled_march_loads_where_nothing_can_be_kept_on_disk() -> None:
    # Numba raises when none of its places for what it compiled can be written.
    script = (
        "from numba.core.caching import CacheImpl; CacheImpl._locator_classes = [];"
        "from model.march_kernel import march_paths; print(type(march_paths._cache).__name__)"
    )
    said = subprocess.run(
        [sys.executable, "-c", script], check=True, capture_output=True, text=True
    ).stdout
    assert said.strip() == "NullCache"
