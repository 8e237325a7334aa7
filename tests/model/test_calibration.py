"""Chances of near finishes against what came, on jobs made by other rules than the projection's."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from tests.model.calibration import judged
from tests.model.simulated_job import simulated_job

JOBS = range(300, 307)
NEAR = 5


@pytest.fixture(scope="module")
def past() -> tuple[pd.DataFrame, pd.DataFrame]:
    """Units ahead and what was due, of some jobs' Friday evenings."""
    jobs = [judged(simulated_job(seed, units=24, headings=2), paths=400) for seed in JOBS]
    ahead, due = (pd.concat(frames) for frames in zip(*jobs, strict=True))
    return ahead, due


def test_what_is_under_way_is_finished_the_next_day_as_often_as_is_said(past):
    due = past[1]
    spread = np.sqrt((due["chance"] * (1 - due["chance"])).sum())
    assert abs(due["came"].sum() - due["chance"].sum()) < 3 * spread


def test_chances_between_come_true_as_often_as_is_said(past):
    due = past[1]
    for low, high in [(0.05, 0.25), (0.25, 0.5)]:
        some = due[(due["chance"] >= low) & (due["chance"] < high)]
        spread = np.sqrt((some["chance"] * (1 - some["chance"])).mean() / len(some))
        assert some["came"].mean() == pytest.approx(some["chance"].mean(), abs=3 * spread)


def test_near_bands_of_whole_days_hold_what_the_projection_gives_them(past):
    near = past[0][past[0]["units_ahead"] <= NEAR]
    assert near["inside"].mean() == pytest.approx(near["said"].mean(), abs=0.04)
    assert near["said"].mean() > near["least"].mean() > 0.8


def test_past_whole_days_the_near_band_is_an_80_per_cent_one(past):
    near = past[0][past[0]["units_ahead"] <= NEAR]
    assert near["place"].between(0.1, 0.9).mean() == pytest.approx(0.8, abs=0.05)
