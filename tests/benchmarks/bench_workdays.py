"""Working days: the table against NumPy's busday_offset, in one run.

Run it with ``python -m tests.benchmarks.bench_workdays``.
"""

from __future__ import annotations

import datetime as dt
import time
from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd

from model.workdays import WorkCalendar, holidays_of

DATES = 1_000_000


def median_ms(action: Callable[[], Any], runs: int = 9) -> float:
    """Return the median time of an action after one warm-up."""
    action()
    times = []
    for _ in range(runs):
        begun = time.perf_counter()
        action()
        times.append(time.perf_counter() - begun)
    return 1e3 * float(np.median(times))


def main() -> None:
    """Print times and ratios."""
    calendar = WorkCalendar(dt.date(2026, 3, 2), holidays=holidays_of("US-CA", range(2024, 2042)))
    rng = np.random.default_rng(1)
    dates = np.datetime64("2026-03-02") + rng.integers(0, 3650, DATES)
    days = rng.integers(0, 400, DATES)
    busdays = calendar.busdays

    def ours() -> Any:
        return calendar.add(dates, days)

    def numpys() -> Any:
        return np.busday_offset(dates, days, roll="forward", busdaycal=busdays)

    assert (ours() == numpys()).all()
    step = pd.offsets.CustomBusinessDay(holidays=list(calendar.holidays))
    few = [pd.Timestamp(day) for day in dates[:2000]]
    pandas_ms = median_ms(lambda: [day + step * 3 for day in few], 3) * DATES / len(few)
    ours_ms, numpy_ms = median_ms(ours), median_ms(numpys)
    copy_ms = median_ms(lambda: (dates.copy(), days.copy()))
    print(f"{DATES:,} dates, each a number of working days further")
    print(f"  table                   {ours_ms:9.2f} ms")
    print(f"  numpy.busday_offset     {numpy_ms:9.2f} ms  {numpy_ms / ours_ms:6.1f}×")
    print(f"  pandas, one by one      {pandas_ms:9.0f} ms  {pandas_ms / ours_ms:6.0f}× (scaled)")
    print(f"  copying both arrays     {copy_ms:9.2f} ms  {ours_ms / copy_ms:6.1f} copies")


if __name__ == "__main__":
    main()
