"""The march against published flow shops, exact results and an event simulation."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import stats

from model.line import (
    BOUND_AFTER,
    BOUND_CREW,
    BOUND_HOLD,
    BOUND_NOW,
    BOUND_SET,
    DAYS_BACK,
    DayCounter,
    March,
    Progress,
    Run,
    Step,
    march,
)


@cache
def every_day(days: int = 3000) -> DayCounter:
    return DayCounter(np.ones(DAYS_BACK + days, dtype=bool))


@cache
def five_day_week(days: int = 3000) -> DayCounter:
    """Now is a Sunday evening: day 0 is a Monday."""
    return DayCounter((np.arange(-DAYS_BACK, days) % 7) < 5)


def in_a_row(activities: int, **last: object) -> tuple[Step, ...]:
    """Activities that each wait for the one before."""
    steps = [Step(after=(place - 1,) if place else ()) for place in range(activities)]
    if last:
        steps[-1] = Step(after=steps[-1].after, **last)  # type: ignore[arg-type]
    return tuple(steps)


def marched(
    work: Sequence[Sequence[float]] | NDArray[np.floating],
    *,
    steps: tuple[Step, ...] | None = None,
    counter: DayCounter | None = None,
    progress: Progress | None = None,
    **run: object,
) -> March:
    """One heading of units in order, from the first day on unless progress is given."""
    days = np.asarray(work, dtype=np.float64)
    days = days[:, :, None] if days.ndim == 2 else days
    units, activities = days.shape[:2]
    return march(
        steps or in_a_row(activities),
        [Run(tuple(range(units)), **run)],  # type: ignore[arg-type]
        progress or Progress.not_begun(units, activities),
        days,
        counter or every_day(),
    )


def makespan(work: Sequence[Sequence[float]] | NDArray[np.floating]) -> float:
    return float(marched(work).finish.max())


# Exact: makespan Σd + (U − 1) max d for the same days in every unit; the same figures came
# from an event simulation with one server per activity.
CONSTANT = [
    (77, (3, 3, 3, 3, 3, 3), 246),
    (10, (3, 3, 3, 3, 3, 3), 45),
    (10, (5, 4, 3, 6, 2), 74),
    (5, (2, 4, 3), 25),
    (77, (6, 5, 3, 3, 2, 7), 558),
]


@pytest.mark.parametrize(("units", "days", "end"), CONSTANT)
def test_a_steady_line_ends_when_its_slowest_crew_does(
    units: int, days: tuple[int, ...], end: int
) -> None:
    assert makespan([days] * units) == end


def test_each_unit_waits_for_its_trade_and_its_crew() -> None:
    # Worked by hand: F = max(F of the trade before, F of the unit before) + d.
    finish = marched([(3, 2, 4), (1, 5, 2), (4, 1, 3), (2, 3, 2)]).finish[..., 0]
    assert finish.tolist() == [[3, 5, 9], [4, 10, 12], [8, 11, 15], [10, 14, 17]]


def test_two_crews_in_the_best_order_by_johnsons_rule() -> None:
    # Johnson, S. M. (1954): two-machine flow shop; all 120 orders enumerated.
    jobs = np.array([(5, 2), (1, 6), (9, 7), (3, 8), (10, 4)], dtype=float)
    ends = {order: makespan(jobs[list(order)]) for order in itertools.permutations(range(5))}
    assert min(ends.values()) == 30
    assert max(ends.values()) == 45
    assert sum(end == 30 for end in ends.values()) == 2
    assert ends[(1, 3, 2, 4, 0)] == 30


def taillard_ta001() -> NDArray[np.float64]:
    """20 jobs × 5 machines, made by Taillard's generator from its published seed.

    Taillard, E. (1993), Benchmarks for basic scheduling problems, European Journal of
    Operational Research 64, 278–285: x ← 16807 x mod (2³¹ − 1), 1 + ⌊99 x / (2³¹ − 1)⌋.
    """
    seed, modulus, values = 873_654_221, 2**31 - 1, []
    for _ in range(100):
        seed = 16_807 * seed % modulus
        values.append(1 + 99 * seed // modulus)
    return np.array(values, dtype=float).reshape(5, 20).T


def test_the_generator_gives_the_published_matrix() -> None:
    days = taillard_ta001()
    assert days[:6, 0].tolist() == [54, 83, 15, 71, 77, 36]
    assert days[-6:, 4].tolist() == [47, 87, 58, 18, 68, 28]


# Best order known 1278 (published upper bound; lower 1232); the others by an event simulation.
BEST = (3, 17, 8, 9, 6, 14, 11, 15, 18, 1, 16, 13, 5, 19, 7, 4, 2, 10, 20, 12)


@pytest.mark.parametrize(
    ("order", "end"),
    [(tuple(range(1, 21)), 1448), (tuple(range(20, 0, -1)), 1473), (BEST, 1278)],
)
def test_a_published_flow_shop_ends_as_known(order: tuple[int, ...], end: int) -> None:
    assert makespan(taillard_ta001()[np.array(order) - 1]) == end


def by_hand(work: NDArray[np.float64], sets: int | None) -> NDArray[np.float64]:
    """The recursion written out once more, for one path and every day worked."""
    finish = np.zeros_like(work)
    for u, a in np.ndindex(*work.shape):
        ready = [finish[u, a - 1] if a else 0.0, finish[u - 1, a] if u else 0.0]
        if sets is not None and a == 0 and u >= sets:
            ready.append(finish[u - sets, -1])
        finish[u, a] = max(ready) + work[u, a]
    return finish


days_of_work = st.integers(1, 9).map(float)


@given(
    st.lists(st.lists(days_of_work, min_size=3, max_size=3), min_size=1, max_size=8),
    st.one_of(st.none(), st.integers(1, 4)),
)
@settings(max_examples=60)
def test_the_march_is_the_recursion_written_out(work: list[list[float]], sets: int | None) -> None:
    expected = by_hand(np.array(work), sets)
    assert marched(work, sets=sets).finish[..., 0].tolist() == expected.tolist()


@given(
    st.lists(st.lists(days_of_work, min_size=3, max_size=3), min_size=2, max_size=6),
    st.integers(0, 1),
    st.integers(0, 2),
)
@settings(max_examples=40)
def test_one_longer_activity_never_brings_the_end_forward(
    work: list[list[float]], unit: int, activity: int
) -> None:
    longer = np.array(work)
    longer[unit, activity] += 2.0
    before = marched(work, counter=five_day_week(), sets=2).finish
    after = marched(longer, counter=five_day_week(), sets=2).finish
    assert (after >= before).all()


def test_paths_do_not_touch_one_another() -> None:
    rng = np.random.default_rng(4)
    work = rng.integers(1, 6, (9, 4, 50)).astype(float)
    together = marched(work, counter=five_day_week(), sets=3).finish
    for path in range(50):
        alone = marched(work[:, :, path], counter=five_day_week(), sets=3).finish
        assert (alone[..., 0] == together[..., path]).all()


def test_work_stops_over_the_weekend() -> None:
    # 7 working days from a Monday end on the Tuesday of the week after: day 8, its end is 9.
    assert marched([[7.0]], counter=five_day_week()).finish.item() == 9.0


def test_a_finish_on_friday_evening_is_friday() -> None:
    assert marched([[5.0]], counter=five_day_week()).finish.item() == 5.0


def test_half_days_carry_over_from_unit_to_unit() -> None:
    finish = marched([[2.5], [2.5]], counter=five_day_week()).finish[..., 0]
    assert finish.ravel().tolist() == [2.5, 5.0]


def test_curing_runs_through_the_weekend() -> None:
    steps = (Step(), Step(after=(0,), calendar_days=True))
    # Poured by Friday evening; seven days later it is Friday evening again.
    finish = marched([[5.0, 7.0]], steps=steps, counter=five_day_week()).finish
    assert finish[0, 1, 0] == 12.0


def test_the_trade_after_the_cure_waits_for_monday() -> None:
    steps = (Step(), Step(after=(0,), calendar_days=True), Step(after=(1,)))
    # Poured by Tuesday evening, cured by Saturday evening; a day's work is done on Monday.
    finish = marched([[2.0, 4.0, 1.0]], steps=steps, counter=five_day_week()).finish
    assert finish[0, :, 0].tolist() == [2.0, 6.0, 8.0]


def test_curing_needs_no_crew() -> None:
    steps = (Step(), Step(after=(0,), calendar_days=True))
    finish = marched([[1.0, 10.0]] * 3, steps=steps).finish[:, 1, 0]
    assert finish.tolist() == [11.0, 12.0, 13.0]


def test_a_lag_counts_working_days() -> None:
    steps = (Step(), Step(after=(0,), lag_days=2))
    # Done by Thursday evening; Friday and Monday pass; a day's work is done on Tuesday.
    finish = marched([[4.0, 1.0]], steps=steps, counter=five_day_week()).finish
    assert finish[0, 1, 0] == 9.0


def test_an_activity_may_wait_for_two_others() -> None:
    steps = (Step(), Step(), Step(after=(0, 1)))
    result = marched([[2.0, 5.0, 1.0]], steps=steps)
    assert result.finish[0, 2, 0] == 6.0
    assert result.bound[0, 2, 0] == BOUND_AFTER + 1


def test_the_third_unit_waits_for_the_first_ones_falsework() -> None:
    steps = in_a_row(2, calendar_days=True)
    result = marched([[1.0, 7.0]] * 3, steps=steps, sets=2, turnaround_days=3)
    # The first unit is cured at 8, its set stands free at 11, falsework takes a day.
    assert result.finish[:, 0, 0].tolist() == [1.0, 2.0, 12.0]
    assert result.bound[2, 0, 0] == BOUND_SET
    assert result.set_from.tolist() == [-1, -1, 0]


def test_a_second_crew_halves_the_wait() -> None:
    finish = marched([[4.0]] * 6, crews=(2,)).finish[:, 0, 0]
    assert finish.tolist() == [4.0, 4.0, 8.0, 8.0, 12.0, 12.0]


def test_a_lost_day_moves_everything_behind_it() -> None:
    lost = np.zeros((100, 2), dtype=bool)
    lost[1, 1] = True
    counter = DayCounter(np.ones(DAYS_BACK + 100, dtype=bool), lost)
    finish = marched(np.full((3, 2, 2), 2.0), counter=counter).finish
    assert finish[:, :, 0].tolist() == [[2, 4], [4, 6], [6, 8]]
    assert finish[:, :, 1].tolist() == [[3, 5], [5, 7], [7, 9]]


def test_work_under_a_roof_goes_on_on_a_lost_day() -> None:
    lost = np.ones((100, 1), dtype=bool)
    lost[50:] = False
    counter = DayCounter(np.ones(DAYS_BACK + 100, dtype=bool), lost)
    steps = (Step(weather=False), Step(after=(0,)))
    finish = marched([[2.0, 1.0]], steps=steps, counter=counter).finish
    assert finish[0, :, 0].tolist() == [2.0, 51.0]


def standing(finished: object, started: object = np.nan, **more: object) -> Progress:
    shape = np.shape(finished)
    return Progress(
        np.array(finished, dtype=float),
        np.broadcast_to(np.array(started, dtype=float), shape),
        **more,  # type: ignore[arg-type]
    )


NO = np.nan


def test_work_under_way_counts_by_what_is_left() -> None:
    progress = standing([[NO, NO], [NO, NO]], [[-4.0, NO], [NO, NO]])
    result = marched([[1.0, 3.0], [5.0, 3.0]], progress=progress)
    assert result.finish[..., 0].tolist() == [[1.0, 4.0], [6.0, 9.0]]
    assert result.bound[0, 0, 0] == BOUND_NOW
    assert result.bound[1, 0, 0] == BOUND_CREW


def test_what_is_finished_stays_finished_and_its_crew_is_free() -> None:
    progress = standing([[-3.0, NO], [0.0, NO]])
    result = marched([[9.0, 2.0], [9.0, 2.0]], progress=progress)
    assert result.finish[..., 0].tolist() == [[-3.0, 2.0], [0.0, 4.0]]


def test_a_hold_stops_the_clock_until_resume() -> None:
    progress = standing(
        [[NO, NO], [NO, NO]], [[-4.0, NO], [NO, NO]], held_until={(0, 0): np.array([6.0])}
    )
    result = marched([[1.0, 3.0], [5.0, 3.0]], progress=progress)
    assert result.finish[..., 0].tolist() == [[7.0, 10.0], [12.0, 15.0]]
    assert result.bound[0, 0, 0] == BOUND_HOLD


def test_a_cure_under_way_ends_its_days_after_its_pour() -> None:
    steps = in_a_row(2, calendar_days=True)
    progress = standing([[-3.0, NO]])
    assert marched([[1.0, 7.0]], steps=steps, progress=progress).finish[0, 1, 0] == 4.0
    begun = standing([[-3.0, NO]], [[-5.0, -2.0]])
    assert marched([[1.0, 7.0]], steps=steps, progress=begun).finish[0, 1, 0] == 5.0


def test_a_set_under_a_unit_poured_before_now_still_has_to_come_free() -> None:
    steps = in_a_row(2, calendar_days=True)
    progress = standing([[-3.0, NO], [NO, NO]])
    result = marched([[1.0, 7.0]] * 2, steps=steps, progress=progress, sets=1, turnaround_days=2)
    assert result.finish[1, 0, 0] == 4.0 + 2.0 + 1.0


def test_work_under_way_is_not_done_before_what_it_builds_on() -> None:
    progress = standing([[NO, NO]], [[-4.0, -2.0]])
    result = marched([[6.0, 1.0]], progress=progress)
    assert result.finish[0, 1, 0] == 6.0


def test_a_unit_begun_out_of_turn_is_gone_on_with_first() -> None:
    progress = standing([[NO], [NO], [NO]], [[NO], [NO], [-1.0]])
    result = marched([[4.0], [4.0], [2.0]], progress=progress)
    assert result.finish[:, 0, 0].tolist() == [6.0, 10.0, 2.0]


def test_headings_do_not_wait_for_one_another() -> None:
    result = march(
        in_a_row(1),
        [Run((0, 2)), Run((1, 3))],
        Progress.not_begun(4, 1),
        np.full((4, 1, 1), 5.0),
        every_day(),
    )
    assert result.finish[:, 0, 0].tolist() == [5.0, 5.0, 10.0, 10.0]


def three_errors(spread: float, paths: int) -> float:
    return 3.0 * spread / np.sqrt(paths)


PATHS = 20_000


def test_seventy_seven_cycles_end_as_the_sum_of_normals_does() -> None:
    # Exact: 77 cycles of normal(3.2, 0.8): mean 246.4, spread 7.019972; standard errors of
    # P50, P80 and P95 at 20,000 paths 0.0622, 0.0709 and 0.1049.
    rng = np.random.default_rng(77)
    work = np.maximum(rng.normal(3.2, 0.8, (77, 1, PATHS)), 0.0)
    end = marched(work).finish[-1, 0]
    assert end.mean() == pytest.approx(246.4, abs=three_errors(7.019972, PATHS))
    exact = {0.50: (246.4, 0.0622), 0.80: (252.3082, 0.0709), 0.95: (257.9468, 0.1049)}
    for share, (days, standard_error) in exact.items():
        assert np.quantile(end, share) == pytest.approx(days, abs=3 * standard_error)


# Exact: with each day lost with probability p, w working days take w + negative binomial:
# mean w/(1 − p), variance wp/(1 − p)².
@pytest.mark.parametrize(
    ("work_days", "p", "mean", "spread", "by_day", "probability"),
    [(231, 0.12, 262.5, 5.982930, 270, 0.905588), (10, 0.25, 13.3333, 2.108185, 14, 0.741535)],
)
def test_lost_days_lengthen_work_by_a_negative_binomial(
    work_days: int, p: float, mean: float, spread: float, by_day: int, probability: float
) -> None:
    lost = np.random.default_rng(12).random((500, PATHS)) < p
    counter = DayCounter(np.ones(DAYS_BACK + 500, dtype=bool), lost)
    end = marched(np.full((1, 1, PATHS), float(work_days)), counter=counter).finish[0, 0]
    assert end.mean() == pytest.approx(mean, abs=three_errors(spread, PATHS))
    share = (end <= by_day).mean()
    off = three_errors(np.sqrt(probability * (1 - probability)), PATHS)
    assert share == pytest.approx(probability, abs=off)


def test_lost_days_of_ten_working_days_have_the_exact_quantiles() -> None:
    # Exact: P50 P80 P95 = 13 15 17 and P(13) = C(12, 3) 0.75¹⁰ 0.25³ = 0.193578.
    lost = np.random.default_rng(3).random((200, PATHS)) < 0.25
    counter = DayCounter(np.ones(DAYS_BACK + 200, dtype=bool), lost)
    end = marched(np.full((1, 1, PATHS), 10.0), counter=counter).finish[0, 0]
    assert np.quantile(end, [0.5, 0.8, 0.95], method="inverted_cdf").tolist() == [13, 15, 17]
    off = three_errors(np.sqrt(0.193578 * (1 - 0.193578)), PATHS)
    assert (end == 13).mean() == pytest.approx(0.193578, abs=off)


def test_single_precision_gives_the_same_days() -> None:
    rng = np.random.default_rng(5)
    work = rng.choice([2.25, 3.0, 3.5, 4.0], (60, 6, 40))
    lost = rng.random((1200, 40)) < 0.1
    counter = DayCounter((np.arange(-DAYS_BACK, 1200) % 7) < 5, lost)
    double = marched(work, counter=counter, sets=4, turnaround_days=2).finish
    run = Run(tuple(range(60)), 4, 2)
    single = march(
        in_a_row(6), [run], Progress.not_begun(60, 6), work.astype(np.float32), counter
    ).finish
    assert single.dtype == np.float32
    assert np.abs(single - double).max() < 0.01


def a_line_with_everything(
    paths: int, seed: int
) -> tuple[NDArray[np.float64], NDArray[np.bool_], NDArray[np.bool_]]:
    """Work, worked days and lost days of 12 units, three trades and a cure."""
    rng = np.random.default_rng(seed)
    work = rng.gamma(6.0, 0.5, (12, 4, paths))
    work[:, 3] = 7.0
    worked = (np.arange(400) % 7) < 5
    return work, worked, rng.random((400, paths)) < 0.12


def ours(
    work: NDArray[np.float64], worked: NDArray[np.bool_], lost: NDArray[np.bool_]
) -> NDArray[np.float64]:
    steps = in_a_row(4, calendar_days=True, weather=False)
    back = (np.arange(-DAYS_BACK, 0) % 7) < 5
    held = {(0, 0): np.full(work.shape[2], 3.5)}
    started = np.full((12, 4), np.nan)
    started[0, 0] = -1.0
    progress = Progress(np.full((12, 4), np.nan), started, held)
    run = Run(tuple(range(12)), 3, 2)
    counter = DayCounter(np.concatenate([back, worked]), lost)
    return np.asarray(march(steps, [run], progress, work, counter).finish)


def by_events(
    work: NDArray[np.float64], worked: NDArray[np.bool_], lost: NDArray[np.bool_], path: int
) -> NDArray[np.float64]:
    from tests.model.event_line import EventLine

    line = EventLine(work[:, :, path], worked, lost[:, path], 3, 2, {(0, 0): 3.5})
    return line.finishes()


def test_an_event_simulation_of_the_line_finishes_at_the_same_hour() -> None:
    pytest.importorskip("simpy")
    work, worked, lost = a_line_with_everything(30, seed=8)
    finish = ours(work, worked, lost)
    for path in range(30):
        assert finish[..., path] == pytest.approx(by_events(work, worked, lost, path), abs=0.01)


def test_an_event_simulation_with_chances_of_its_own_agrees_in_distribution() -> None:
    # Two-sample Kolmogorov–Smirnov test on the last finish, different seeds on both sides.
    pytest.importorskip("simpy")
    finish = ours(*a_line_with_everything(4000, seed=21)).max(axis=(0, 1))
    other = a_line_with_everything(250, seed=22)
    rival = [by_events(*other, path).max() for path in range(250)]
    assert stats.ks_2samp(finish, rival).pvalue > 0.001


def test_the_next_unit_of_a_free_crew_is_at_hand_once_what_comes_before_is_finished() -> None:
    finished = [[-9.0, -3.0, np.nan], [-4.0, np.nan, np.nan], [np.nan] * 3, [np.nan] * 3]
    three = in_a_row(3)
    assert standing(finished).at_hand(Run(tuple(range(4))), three) == [(2, 0), (1, 1), (0, 2)]
    busy = [[np.nan] * 3, [np.nan] * 3, [-1.0, np.nan, np.nan], [np.nan] * 3]
    assert standing(finished, busy).at_hand(Run(tuple(range(4))), three) == [(1, 1), (0, 2)]
    two_sets = Run(tuple(range(4)), sets=2)
    assert standing(finished).at_hand(two_sets, three) == [(1, 1), (0, 2)]


@settings(max_examples=60, deadline=None)
@given(
    stood=st.lists(
        st.lists(st.sampled_from("-bf"), min_size=3, max_size=3), min_size=6, max_size=6
    ),
    sets=st.none() | st.integers(1, 4),
    crews=st.lists(st.integers(1, 2), min_size=3, max_size=3),
)
def test_at_hand_is_what_begins_on_the_same_day_whatever_work_is_left(
    stood: list[list[str]], sets: int | None, crews: list[int]
) -> None:
    """The march as the judge: work left that is long or short moves all other starts."""
    cells = np.array(stood)
    ago = -1.0 - np.arange(18.0)[::-1].reshape(6, 3)
    now = Progress(
        np.where(cells == "f", ago, np.nan), np.where(np.isin(cells, ["b", "f"]), ago, np.nan)
    )
    steps = in_a_row(3, calendar_days=True)
    run = Run(tuple(range(6)), sets, crews=tuple(crews))
    work = np.broadcast_to(np.array([1.0, 100.0]), (6, 3, 2)).copy()
    found = march(steps, [run], now, work, every_day(), keep_starts=True)
    assert found.start is not None
    same = found.start[..., 0] == found.start[..., 1]
    same[:, 2] = False  # a cure has no crew
    assert set(now.at_hand(run, steps)) == set(
        map(tuple, np.argwhere(same & (cells == "-")).tolist())
    )
