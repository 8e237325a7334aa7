"""Footprints on a sheet: turned, never stretched, north where it belongs."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely import affinity

from model.job import Job
from model.plan_view import plan_view, scale_bar
from tests.model.builders import DECK_WIDTH_M, SPAN_LENGTH_M, a_job


def turned(job: Job, degrees: float) -> Job:
    """The job with its line turned counterclockwise."""
    spans = job.spans.copy()
    shapes = [affinity.rotate(shape, degrees, origin=(0, 0)) for shape in spans.geometry]
    return dataclasses.replace(job, spans=spans.set_geometry(shapes, crs=spans.crs))


def test_a_line_that_runs_east_lies_as_it_is_with_north_up() -> None:
    view = plan_view(a_job(units=2, spans=2))
    assert (view.width_m, view.height_m) == pytest.approx(
        (4 * SPAN_LENGTH_M, DECK_WIDTH_M), abs=1e-5
    )
    assert view.north_deg == pytest.approx(0.0, abs=1e-6)


def test_a_line_that_runs_north_east_has_north_to_the_right_of_up() -> None:
    assert plan_view(turned(a_job(units=2), 30.0)).north_deg == pytest.approx(30.0)


@given(st.floats(-180.0, 180.0))
def test_however_a_line_runs_it_lies_across_with_its_lengths_and_north_upward(
    degrees: float,
) -> None:
    job = a_job(units=2, spans=2)
    view = plan_view(turned(job, degrees))
    assert (view.width_m, view.height_m) == pytest.approx(
        (4 * SPAN_LENGTH_M, DECK_WIDTH_M), abs=1e-5
    )
    assert -90.0 <= view.north_deg <= 90.0
    for [ring] in view.outlines:
        assert shapely.Polygon(ring).area == pytest.approx(SPAN_LENGTH_M * DECK_WIDTH_M, abs=1e-3)
        assert ring.min() >= -1e-5


@given(st.floats(1.0, 1e5), st.sampled_from(["us", "si"]))
def test_a_scale_bar_is_round_and_fits(width_m: float, system: str) -> None:
    bar = scale_bar(width_m, system)  # type: ignore[arg-type]
    assert 0.05 * width_m < bar.length_m <= 0.2 * width_m * (1 + 1e-6)
    number = float(bar.words.split()[0].replace(",", ""))
    if number >= 1:
        digit = number / 10 ** np.floor(np.log10(number))
        assert round(digit, 6) in (1.0, 2.0, 5.0)
