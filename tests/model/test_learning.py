"""How the fitted pace learns, against Wright's and Crawford's tables.

The same power ``n^b`` means two things: T. P. Wright (1936, Journal of the Aeronautical
Sciences 3(4)) takes it as the cumulative average of the first n units, J. R. Crawford (1944) as
the time of unit n. The fit reads it Crawford's way. Sources from memory; the numbers are exact.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from numpy.typing import NDArray
from scipy.stats import linregress

from model.job import Job
from model.pace import histories_of
from tests.model.builders import a_job, only

UNITS = 50
HEADINGS = 40
"""Enough history for the fit to leave its usual power, to which it is drawn at first."""

FIRST_UNIT_DAYS = 200.0
ROWS = (1, 2, 4, 8, 16, 50)

# First unit = 1. Slope: n^b, Wright unit n, Crawford total at n = 1, 2, 4, 8, 16, 50.
TABLES = {
    0.80: (
        (1, 0.8, 0.64, 0.512, 0.4096, 0.283827),
        (1, 0.6, 0.453689, 0.354573, 0.280612, 0.193080),
        (1, 1.8, 3.1421, 5.3459, 8.9201, 20.1217),
        14.1914,
    ),
    0.85: (
        (1, 0.85, 0.7225, 0.614125, 0.522006, 0.399623),
        (1, 0.7, 0.571255, 0.477405, 0.402620, 0.306649),
        (1, 1.85, 3.3454, 5.9358, 10.3831, 25.5131),
        19.9812,
    ),
    0.90: (
        (1, 0.9, 0.81, 0.729, 0.6561, 0.551761),
        (1, 0.8, 0.701382, 0.624365, 0.559079, 0.468609),
        (1, 1.9, 3.5562, 6.5737, 12.0398, 32.1420),
        27.5881,
    ),
}
"""The last number is Wright's total of 50 units."""

slopes = pytest.mark.parametrize("slope", TABLES)


def crawford_units(slope: float) -> NDArray[np.float64]:
    return np.arange(1, UNITS + 1) ** np.log2(slope)


def wright_units(slope: float) -> NDArray[np.float64]:
    n = np.arange(1, UNITS + 1)
    totals = n ** (1 + np.log2(slope))
    return np.diff(totals, prepend=0.0)


def a_history(job: Job, unit_times: NDArray[np.float64]) -> pd.DataFrame:
    """Every heading has finished its units in these times."""
    units = [unit for heading in job.headings for unit in heading.units]
    return pd.DataFrame(
        {
            "unit": units,
            "heading": [job.heading_of_unit[unit] for unit in units],
            "activity": "falsework",
            "finished": pd.Timestamp("2026-03-02"),
            "clear_days": np.tile(FIRST_UNIT_DAYS * unit_times, len(job.headings)),
        }
    )


@pytest.fixture(scope="module")
def job() -> Job:
    return a_job(units=UNITS * HEADINGS, headings=HEADINGS, activities=only("falsework"))


def learnt_power(job: Job, unit_times: NDArray[np.float64]) -> float:
    (history,) = histories_of(a_history(job, unit_times), job, units=8)
    return history.learning_power


@slopes
def test_the_tables_are_the_printed_ones(slope: float) -> None:
    power, wright, totals, wright_total = TABLES[slope]
    rows = np.array(ROWS) - 1
    assert crawford_units(slope)[rows] == pytest.approx(power, abs=1e-6)
    assert np.cumsum(crawford_units(slope))[rows] == pytest.approx(totals, abs=1e-4)
    assert wright_units(slope)[rows] == pytest.approx(wright, abs=1e-6)
    assert wright_units(slope).sum() == pytest.approx(wright_total, abs=1e-4)


@slopes
def test_a_crew_on_crawfords_table_is_found_to_learn_at_its_slope(job: Job, slope: float) -> None:
    assert 2 ** learnt_power(job, crawford_units(slope)) == pytest.approx(slope, abs=0.005)


@slopes
def test_wrights_unit_times_are_not_taken_for_crawfords(job: Job, slope: float) -> None:
    # Wright's units fall faster at first: read as single units they look like a steeper slope.
    assert 2 ** learnt_power(job, wright_units(slope)) < slope - 0.01


@slopes
def test_units_to_come_add_up_to_crawfords_total_and_not_to_wrights(job: Job, slope: float) -> None:
    _, _, totals, wright_total = TABLES[slope]
    efforts = np.arange(1, UNITS + 1) ** learnt_power(job, crawford_units(slope))
    assert efforts.sum() == pytest.approx(totals[-1], rel=0.02)
    assert efforts.sum() > 1.1 * wright_total


@slopes
def test_a_history_is_brought_to_the_first_unit(job: Job, slope: float) -> None:
    (history,) = histories_of(a_history(job, crawford_units(slope)), job, units=8)
    assert history.days == pytest.approx(FIRST_UNIT_DAYS, rel=0.03)


def test_a_first_few_units_hardly_move_the_usual_power() -> None:
    few = a_job(units=3, activities=only("falsework"))
    (history,) = histories_of(a_history(few, crawford_units(0.8)[:3]), few, units=8)
    assert -0.15 < history.learning_power < -0.05


# Whether there is learning at all


def test_how_likely_chance_alone_is_agrees_with_scipys_regression() -> None:
    job = a_job(units=12, activities=only("falsework"))
    days = np.array([6.0, 5.0, 6.0, 5.0, 4.0, 5.0, 4.0, 5.0, 4.0, 4.0, 3.0, 4.0])
    (history,) = histories_of(a_history(job, days / FIRST_UNIT_DAYS), job, units=8)
    line = linregress(np.log(np.arange(1, 13)), np.log(days + 0.5), alternative="less")
    assert history.learning_p == pytest.approx(line.pvalue)
    assert history.learning_slope == 2.0**history.learning_power


def test_crews_that_learn_nothing_are_told_to_in_no_more_than_one_of_twenty() -> None:
    job, rng, crews = a_job(units=12, activities=only("falsework")), np.random.default_rng(5), 400
    told = 0
    for _ in range(crews):
        days = np.exp(rng.normal(1.5, 0.3, 12)) / FIRST_UNIT_DAYS
        (history,) = histories_of(a_history(job, days), job, units=8)
        told += history.learning_slope is not None
    # Binomial, three standard errors.
    assert told / crews <= 0.05 + 3 * np.sqrt(0.05 * 0.95 / crews)
    assert told > 0


def test_a_few_units_show_no_learning_however_fast_they_fall() -> None:
    job = a_job(units=4, activities=only("falsework"))
    (history,) = histories_of(a_history(job, np.array([8.0, 4.0, 2.0, 1.0])), job, units=8)
    assert history.learning_slope is None
