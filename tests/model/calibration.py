"""Is a chance honest? What simulated jobs were told on past evenings against what came after.

Dates are whole days, so a band from the 10 to the 90 per cent date holds at least 80 per cent,
and more where few days matter: with one day at 90 per cent no band can hold less. To see past
that, each outcome is also given its place in the projection's own distribution, a day's chance
being passed by an even draw: then places are even over 0 … 1 if the projection is honest.

References
----------
.. [1] Czado, C., Gneiting, T. and Held, L. (2009), Predictive Model Assessment for Count Data,
   Biometrics 65(4) (from memory): the place in the distribution of what is counted in wholes.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from model.fold import fold
from model.job import Job
from model.line_now import LineNow, line_now
from model.log_arrays import LogArrays
from model.simulation import march_days
from tests.model.simulated_job import SimulatedJob

LOW, HIGH = 0.10, 0.90
BAND = 0.80
FIRST_COMPLETE = 4
"""Evenings begin when so many units are complete."""


def evenings(simulated: SimulatedJob) -> Iterator[tuple[LineNow, NDArray[np.float64]]]:
    """Go through a job's Fridays: the line as it stood, and the day every finish then came on.

    Days are counted as the march does: 0 for the day after.
    """
    job, log = simulated.job, LogArrays(simulated.job, simulated.log)
    day = simulated.log["at"].dt.normalize()
    ended = pd.DataFrame(
        {"unit": simulated.log["unit"], "activity": simulated.log["activity"], "day": day}
    )[simulated.log["kind"] == "finish"]
    finished = ended.pivot(index="unit", columns="activity", values="day")
    finished = finished.reindex(index=job.units["unit"], columns=[a.key for a in job.activities])
    on = finished.to_numpy().astype("datetime64[D]")
    first = np.sort(on.max(axis=1))[FIRST_COMPLETE - 1]
    for friday in pd.date_range(first, on.max(), freq="W-FRI").date:
        evening = dt.datetime.combine(friday, dt.time(23, 59, 59))
        now = line_now(job, fold(log, job, as_of=evening), friday, recent=8)
        if now.to_do.any():
            yield now, (on - np.datetime64(friday)).astype(float) - 1


def next_units(now: LineNow, came: NDArray[np.float64], days: NDArray[np.int16],
               farthest: int, rng: np.random.Generator) -> list[dict[str, float]]:  # fmt: skip
    """Judge when the next units are complete, by how many they are.

    ``inside``: the 80 per cent band had it; ``said``: what the projection itself gave that
    band; ``least``: what it gave the narrowest one of whole days that holds 80 per cent;
    ``place``: see above.
    """
    to_do = now.to_do.any(axis=1)
    ends = np.sort(days[to_do].max(axis=1), axis=0)
    outcome = np.sort(came[to_do].max(axis=1))
    rows = []
    for ahead, (drawn, real) in enumerate(zip(ends, outcome, strict=True), 1):
        if ahead > farthest:
            break
        low, high = np.quantile(drawn, [LOW, HIGH], method="inverted_cdf")
        before, on = float((drawn < real).mean()), float((drawn == real).mean())
        said = float(((drawn >= low) & (drawn <= high)).mean())
        rows.append(
            {"units_ahead": ahead, "inside": low <= real <= high, "said": said,
             "least": _least_band(drawn), "place": before + rng.random() * on}
        )  # fmt: skip
    return rows


def _least_band(drawn: NDArray[np.int16]) -> float:
    """Return the least share of draws in a run of days that holds 80 per cent of them."""
    counts = np.bincount(drawn.astype(np.int64))
    until = np.concatenate([[0], np.cumsum(counts)])
    shares = (until[None, 1:] - until[:-1, None]) / drawn.size
    return float(shares[shares >= BAND - 1e-9].min())


def due_next(
    job: Job, now: LineNow, came: NDArray[np.float64], days: NDArray[np.int16]
) -> list[dict[str, float]]:
    """Judge the chance that a crew finishes what it is on by the end of the next working day."""
    next_day = int((job.calendar.add(now.as_of + 1, 0) - now.as_of).astype(int)) - 1
    crews = np.array([not activity.calendar_days for activity in now.activities])
    at_work = now.to_do & ~np.isnan(now.started) & ~now.on_hold & crews
    chance = (days[at_work] <= next_day).mean(axis=1)
    return [
        {"chance": float(said), "came": bool(real <= next_day)}
        for said, real in zip(chance, came[at_work], strict=True)
    ]


def judged(simulated: SimulatedJob, seed: int = 1, *, paths: int = 1000, farthest: int = 10
           ) -> tuple[pd.DataFrame, pd.DataFrame]:  # fmt: skip
    """Judge a job's evenings: rows of ``next_units`` and of ``due_next``."""
    rng = np.random.default_rng(seed)
    ahead: list[dict[str, float]] = []
    due: list[dict[str, float]] = []
    for now, came in evenings(simulated):
        days = march_days(now, now.luck(paths, seed)).finish
        ahead += next_units(now, came, days, farthest, rng)
        due += due_next(simulated.job, now, came, days)
    return pd.DataFrame(ahead), pd.DataFrame(due)
