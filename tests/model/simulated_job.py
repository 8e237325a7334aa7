"""A job that builds itself day by day, by rules other than the projection's.

Days of work are not independent: a crew that is slow on one unit is likely slow on the next,
learns over its first units, works by ragged days, and now and then stops for weeks. Rain comes
in spells and by season, and the calendar's expected lost days are a planner's guess at it. The
projection knows none of this; it sees the log. All figures are our own (no source).
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from model.activities import Heading
from model.events import EVENT_COLUMNS
from model.job import Job
from tests.model.builders import ACTIVITIES, START, a_calendar, a_job

CURE_DAYS = 7
PLANNED = {"falsework": 4.0, "bottom_slab_stems": 4.0, "deck_forms": 3.0, "rebar": 4.0,
           "deck_pour": 2.0, "curing": 7.0}  # fmt: skip
RAINY = np.array([0.30, 0.28, 0.22, 0.14, 0.08, 0.03, 0.01, 0.01, 0.05, 0.13, 0.24, 0.30])
"""Share of days with rain enough to stop, January … December."""


@dataclass
class _Crew:
    """One trade's crew on one heading."""

    effort: NDArray[np.float64]
    """Clear days it needs for each unit in turn."""

    unit: int = 0
    left: float = np.nan
    stopped: int = 0
    finished: list[int] = field(default_factory=list)


@dataclass(frozen=True)
class SimulatedJob:
    """A job and its whole log, start to end."""

    job: Job
    log: pd.DataFrame


def simulated_job(
    seed: int, *, units: int = 48, headings: int = 4, sets: int = 4, max_days: int = 1500
) -> SimulatedJob:
    """Build a whole job from the first day to the last."""
    rng = np.random.default_rng(seed)
    guess = tuple(float(x) for x in np.round(21 * RAINY * rng.uniform(0.7, 1.3), 1))
    activities = tuple(
        replace(a, grain="unit", planned_cycle_days=PLANNED[a.key]) for a in ACTIVITIES
    )
    sizes = rng.choice([2, 3, 3, 4], units)
    job = a_job(
        units=units,
        spans=sizes.tolist(),
        activities=activities,
        headings=headings,
        calendar=a_calendar(lost_days_per_month=guess),
        falsework_sets=sets,
    )
    job = replace(job, headings=tuple(Heading(h.key, h.units, sets, 2) for h in job.headings))
    days = np.datetime64(START) + np.arange(max_days)
    rain = _spells(days, rng)
    worked = job.calendar.is_workday(days)
    rows: list[tuple[Any, ...]] = []
    size_of = dict(zip(job.units["unit"], sizes, strict=True))
    for heading in job.headings:
        rows += _build(job, heading, size_of, days, worked, rain, rng)
    return SimulatedJob(job, _as_log(rows))


def _spells(days: NDArray[np.datetime64], rng: np.random.Generator) -> NDArray[np.bool_]:
    """Rain by season, in spells: a wet day is likely followed by another."""
    season = RAINY[days.astype("datetime64[M]").astype(int) % 12]
    season = np.clip(season * rng.uniform(0.7, 1.4), 0.0, 0.6)
    wet, rain = False, np.zeros(days.size, dtype=bool)
    for day, share in enumerate(season):
        stay = 0.55 if share > 0.02 else 0.1
        begin = share * (1 - stay) / (1 - share)
        wet = bool(rng.random() < (stay if wet else begin))
        rain[day] = wet
    return rain


def _efforts(units: int, sizes: NDArray[np.float64], planned: float, rng: np.random.Generator
             ) -> NDArray[np.float64]:  # fmt: skip
    """Clear days for a crew's units: its own level, learning, memory, and chance."""
    level = planned * rng.lognormal(0.05, 0.2)
    learning = 1.0 + 0.5 * np.exp(-np.arange(units) / 2.5)
    memory, log_noise = rng.uniform(0.3, 0.7), np.zeros(units)
    noise = rng.normal(0.0, 0.22, units)
    for unit in range(units):
        log_noise[unit] = noise[unit] * np.sqrt(1 - memory**2)
        log_noise[unit] += memory * log_noise[unit - 1] if unit else noise[unit] * memory
    size = (sizes / sizes.mean()) ** 0.7
    return np.asarray(level * learning * size * np.exp(log_noise))


def _build(
    job: Job,
    heading: Heading,
    size_of: dict[str, int],
    days: NDArray[np.datetime64],
    worked: NDArray[np.bool_],
    rain: NDArray[np.bool_],
    rng: np.random.Generator,
) -> list[tuple[Any, ...]]:
    """Build one heading day by day; rows of unit, activity, kind, moment."""
    n = len(heading.units)
    sizes = np.array([size_of[unit] for unit in heading.units], dtype=float)
    trades = [a for a in job.activities if not a.calendar_days]
    crews = [_Crew(_efforts(n, sizes, a.planned_cycle_days, rng)) for a in trades]
    cured, rows = np.full(n, -1), []
    sets = heading.falsework_sets or n
    for day in range(days.size):
        for unit in np.flatnonzero((cured > 0) & (cured == day)):
            rows.append((heading.units[unit], "curing", "finish", days[day], 16))
        if not worked[day]:
            continue
        # The last trade first: nobody starts on the day the trade before finishes.
        for place in reversed(range(len(trades))):
            crew = crews[place]
            if crew.unit >= n:
                continue
            unit = heading.units[crew.unit]
            if np.isnan(crew.left):
                ready = (
                    len(crews[place - 1].finished) > crew.unit
                    if place
                    else crew.unit < sets
                    or (
                        0 <= cured[crew.unit - sets] + heading.turnaround_days + 1 <= day
                        and cured[crew.unit - sets] > 0
                    )
                )
                if not ready:
                    continue
                crew.left = crew.effort[crew.unit]
                rows.append((unit, trades[place].key, "start", days[day], 7))
            if crew.stopped:
                crew.stopped -= 1
                if not crew.stopped:
                    rows.append((unit, trades[place].key, "resume", days[day], 15))
                continue
            if rain[day]:
                continue
            crew.left -= rng.uniform(0.75, 1.25)
            if crew.left <= 0.0:
                rows.append((unit, trades[place].key, "finish", days[day], 15))
                if place == len(trades) - 1:
                    rows.append((unit, "curing", "start", days[day], 17))
                    cured[crew.unit] = day + CURE_DAYS
                crew.finished.append(day)
                crew.unit, crew.left = crew.unit + 1, np.nan
            elif rng.random() < 0.004:
                crew.stopped = int(rng.integers(4, 21))
                rows.append((unit, trades[place].key, "hold", days[day], 16))
        if (cured > 0).all() and day > cured.max():
            break
    return rows


def _as_log(rows: list[tuple[Any, ...]]) -> pd.DataFrame:
    """Turn rows into an event frame as a store returns it."""
    frame = pd.DataFrame(rows, columns=["unit", "activity", "kind", "day", "hour"])
    at = frame["day"].astype("datetime64[us]") + pd.to_timedelta(frame["hour"], unit="h")
    frame = frame.assign(at=at.astype("datetime64[us]")).sort_values("at", kind="stable")
    frame = frame.reset_index(drop=True)
    frame["event_id"] = [f"event-{number:06d}" for number in range(len(frame))]
    frame["seq"] = np.arange(1, len(frame) + 1)
    recorded = frame["at"] + pd.Timedelta(hours=8)
    frame["recorded_at"] = recorded.dt.tz_localize("UTC").astype("datetime64[us, UTC]")
    frame["reason"] = np.where(frame["kind"] == "hold", "no forms", "")
    frame["by"] = "R. Alder"
    frame["quantity"] = np.nan
    for name in ("span", "measure_unit", "note", "voids"):
        frame[name] = ""
    return frame[list(EVENT_COLUMNS)]


def last_day(job: SimulatedJob) -> dt.date:
    """The day of the last event."""
    return job.log["at"].max().date()
