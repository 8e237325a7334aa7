"""Is the band honest? Old projections of simulated jobs against what came after.

Run it with ``python -m tests.benchmarks.bench_calibration [JOBS]``. The jobs are made by
``tests.model.simulated_job``, whose rules are other than the projection's: crews with a memory,
ragged days, rare long holds, rain in spells. Wanted for the finish of the next ten units: the
80% band covers 74 to 86%, and the mean absolute error is at least 30% below that of each plain
rival. The table says what it is, whatever it says.
"""

from __future__ import annotations

import datetime as dt
import sys
import time

import pandas as pd

from model.backtest import RIVALS, Backtest, backtest
from tests.model.simulated_job import last_day, simulated_job

LATER = dt.timedelta(days=200)
"""Long enough after the last day for every projection's band to have passed."""


def main(jobs: int) -> None:
    """Print coverage and errors by horizon."""
    begun = time.perf_counter()
    outcomes = []
    for seed in range(jobs):
        simulated = simulated_job(seed)
        now = last_day(simulated) + LATER
        tested = backtest(simulated.job, simulated.log, now=now, paths=1000)
        outcomes.append(tested.outcomes.assign(job=seed))
    whole = Backtest(pd.concat(outcomes))
    print(f"{jobs} jobs, {time.perf_counter() - begun:.0f} s")
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


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
