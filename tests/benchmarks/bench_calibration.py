"""Is the band honest? Old projections of simulated jobs against what came after.

Run it with ``python -m tests.benchmarks.bench_calibration [JOBS]``. The jobs are made by
``tests.model.simulated_job``, whose rules are other than the projection's: crews with a memory,
ragged days, rare long holds, rain in spells. Wanted for the finish of the next ten units: the
80% band covers 74 to 86%, and the mean absolute error is at least 30% below that of each plain
rival. The table says what it is, whatever it says.

The second table asks what an 80% band of whole days could hold at all, by units ahead (see
``tests.model.calibration``); the third, whether a crew finishes what it is on by the end of the
next working day as often as is said.
"""

from __future__ import annotations

import datetime as dt
import sys
import time

import pandas as pd

from model.backtest import RIVALS, Backtest, backtest
from tests.model.calibration import HIGH, LOW, judged
from tests.model.simulated_job import last_day, simulated_job

LATER = dt.timedelta(days=200)
"""Long enough after the last day for every projection's band to have passed."""

CHANCES = [0.0, 0.001, 0.05, 0.15, 0.25, 0.35, 0.5, 0.65, 0.8, 0.95, 1.001]


def main(jobs: int) -> None:
    """Print coverage and errors by horizon, and what came of the chances."""
    begun = time.perf_counter()
    outcomes, ahead, due = [], [], []
    for seed in range(jobs):
        simulated = simulated_job(seed)
        now = last_day(simulated) + LATER
        tested = backtest(simulated.job, simulated.log, now=now, paths=1000)
        outcomes.append(tested.outcomes.assign(job=seed))
        for frames, rows in zip((ahead, due), judged(simulated, seed), strict=True):
            frames.append(rows)
    print(f"{jobs} jobs, {time.perf_counter() - begun:.0f} s")
    print_against_rivals(Backtest(pd.concat(outcomes)))
    print_bands(pd.concat(ahead))
    print_chances(pd.concat(due))


def print_against_rivals(whole: Backtest) -> None:
    """Print coverage, and errors beside those of the rivals."""
    print("next units  projections  in 50%  in 80%  error  " + "  ".join(RIVALS) + "  (days)")
    for row in whole.as_dict()["by_horizon"]:
        rivals = "  ".join(f"{row['rivals'][name]:{len(name)}.2f}" for name in RIVALS)
        print(
            f"{row['units_ahead']:10}  {row['projections']:11}  {row['coverage_50']:6.1%}  "
            f"{row['coverage_80']:6.1%}  {row['mean_abs_error_days']:5.2f}  {rivals}"
        )
    head = whole.as_dict()
    for name in RIVALS:
        better = 1 - head["mean_abs_error_days"] / head["rivals"][name]
        print(f"error {better:.0%} below {name}")
    print(whole)


def print_bands(ahead: pd.DataFrame) -> None:
    """Print what the 80% band held, was said to hold and could least hold; even places: 80%."""
    print("next units  in 80%  said to be  least of whole days  place in 10 … 90%")
    for units, rows in ahead.groupby("units_ahead"):
        print(
            f"{units:10}  {rows['inside'].mean():6.1%}  {rows['said'].mean():10.1%}  "
            f"{rows['least'].mean():19.1%}  {rows['place'].between(LOW, HIGH).mean():18.1%}"
        )


def print_chances(due: pd.DataFrame) -> None:
    """Print what came of the chances that a crew is done by the end of the next working day."""
    print("chance         times   said   came")
    for chances, rows in due.groupby(pd.cut(due["chance"], CHANCES, right=False), observed=True):
        said, came = rows["chance"].mean(), rows["came"].mean()
        print(f"{chances!s:13}  {len(rows):5}  {said:5.1%}  {came:5.1%}")
    print(f"together       {len(due):5}  {due['chance'].sum():5.0f}  {due['came'].sum():5}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
