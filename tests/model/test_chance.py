"""Chance by place: SplitMix64 as published, and as even and independent as NumPy's."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import stats

from model.chance import CHANCES, GAMMA, chances, keys, mix

ROWS, PATHS = 200, 20_000


@pytest.fixture(scope="module")
def drawn() -> NDArray[np.uint16]:
    return chances(keys(1, 0, np.arange(ROWS)), 0, PATHS)


def test_the_mix_gives_splitmix64s_published_numbers() -> None:
    # First five of seed 1234567, as printed by many public copies (from memory).
    counted = np.arange(1, 6, dtype=np.uint64) * np.uint64(GAMMA)
    assert mix(counted + np.uint64(1_234_567)).tolist() == [
        6457827717110365317,
        3203168211198807973,
        9817491932198370423,
        4593380528125082431,
        16408922859458223821,
    ]


def test_a_word_holds_four_chances_low_bits_first() -> None:
    stream = keys(3, 5)
    word = int(mix(stream.reshape(1) + np.uint64(GAMMA))[0])
    expected = [word >> (16 * place) & 0xFFFF for place in range(4)]
    assert chances(stream.reshape(1), 0, 4)[0].tolist() == expected


@given(st.integers(0, 40), st.integers(1, 90), st.integers(-5, 2**70))
def test_any_part_of_a_stream_is_drawn_alike(block: int, paths: int, seed: int) -> None:
    streams, first = keys(seed, [1, 2, 3]), 4 * block
    whole = chances(streams, 0, first + paths)
    assert np.array_equal(chances(streams, first, paths), whole[:, first:])


def test_mean_and_spread_are_those_of_an_even_chance(drawn: NDArray[np.uint16]) -> None:
    # Exact for whole numbers 0 … N − 1: mean (N − 1)/2, variance (N² − 1)/12; four standard
    # errors, the variance's by the fourth moment 1.8 σ⁴.
    n, size = float(CHANCES), drawn.size
    variance = (n**2 - 1) / 12
    assert drawn.mean() == pytest.approx((n - 1) / 2, abs=4 * np.sqrt(variance / size))
    assert drawn.var() == pytest.approx(variance, abs=4 * variance * np.sqrt(0.8 / size))


@pytest.mark.parametrize("along", [0, 1])
def test_every_row_and_path_is_even_by_kolmogorov_and_smirnov(
    drawn: NDArray[np.uint16], along: int
) -> None:
    # Of many p-values the least is as low as 1/many now and then; their own spread is even.
    lines = drawn if along else drawn.T[:500]
    ps = [stats.kstest((line + 0.5) / CHANCES, "uniform").pvalue for line in lines]
    assert min(ps) > 0.01 / len(ps)
    assert stats.kstest(ps, "uniform").pvalue > 0.001


def test_they_are_spread_as_numpys_generator_spreads_them(drawn: NDArray[np.uint16]) -> None:
    theirs = np.random.default_rng(7).integers(0, CHANCES, drawn.shape, dtype=np.uint16)
    assert stats.ks_2samp(drawn[:25].ravel(), theirs[:25].ravel()).pvalue > 0.001
    counts = [np.bincount(some.ravel(), minlength=CHANCES) for some in (drawn, theirs)]
    expected = drawn.size / CHANCES
    for count in counts:
        assert stats.chi2.sf(((count - expected) ** 2 / expected).sum(), CHANCES - 1) > 0.001


@pytest.mark.parametrize(("row_step", "path_step"), [(1, 0), (0, 1), (0, 4), (1, 1), (2, 4)])
def test_neighbours_do_not_go_together(
    drawn: NDArray[np.uint16], row_step: int, path_step: int
) -> None:
    one = drawn[: ROWS - row_step or None, : PATHS - path_step or None].ravel().astype(float)
    other = drawn[row_step:, path_step:].ravel().astype(float)
    assert abs(np.corrcoef(one, other)[0, 1]) < 4 / np.sqrt(one.size)


def test_sums_down_a_line_spread_as_independent_chances_do(drawn: NDArray[np.uint16]) -> None:
    # 200 rows added up on each path: exact variance 200 (N² − 1)/12; its error √(2/paths).
    sums = drawn.sum(axis=0, dtype=np.int64)
    exact = ROWS * (CHANCES**2 - 1) / 12
    assert sums.var() == pytest.approx(exact, rel=4 * np.sqrt(2 / PATHS))
    z = (sums - ROWS * (CHANCES - 1) / 2) / np.sqrt(exact)
    assert stats.kstest(z, "norm").pvalue > 0.001


def test_seeds_next_to_each_other_share_nothing() -> None:
    one, other = (chances(keys(seed, 0, np.arange(50)), 0, 4000) for seed in (1, 2))
    assert abs(np.corrcoef(one.ravel(), other.ravel())[0, 1]) < 4 / np.sqrt(one.size)
