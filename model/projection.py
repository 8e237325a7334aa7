"""Many marches down the line: dates for every unit, with their confidence and what drives them.

The days each crew takes are drawn from its recent units. A history of eight units is itself
uncertain, and over a long line that uncertainty outweighs the luck of single units, so every
path first draws its own idea of the crew's pace and then its units from that. Where there is
little history, the activity's other headings and the planned cycle stand in, and it says so.

Planning figures only: dates say nothing about strength, stripping or release of falsework,
which the engineer of record decides.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from model.cycle import RECENT_UNITS, recent_cycles
from model.drivers import drivers
from model.fold import State
from model.job import Job
from model.line_now import LineNow, line_now
from model.lost_days import NONE_KNOWN
from model.pace import learning_words
from model.simulation import OnBlock, simulate

PATHS = 10_000
SEED = 1
CONFIDENCES = {"p10": 0.10, "p50": 0.50, "p80": 0.80, "p90": 0.90}
POUR_WORKDAYS = 15
LEAST_CHANCE = 0.05
LITTLE_HISTORY = 3
"""Fewer recent cycles than this are called little, and said so."""


@dataclass(frozen=True, slots=True)
class Band:
    """Dates by which something is finished with 10, 50, 80 and 90 per cent confidence."""

    p10: dt.date
    p50: dt.date
    p80: dt.date
    p90: dt.date

    def as_dict(self) -> dict[str, str]:
        """Return ISO dates by name."""
        return {name: getattr(self, name).isoformat() for name in self.__slots__}


@dataclass(frozen=True)
class Forecast:
    """When units, headings and the whole line finish, how sure that is, and what drives it.

    Parameters
    ----------
    as_of
        The log was read to the end of this day.
    known_on
        Only what the log knew by then; None for all of it.
    paths, seed
        Marches simulated, and the seed that gives the same ones again.
    finish, headings
        Of the whole line, and by heading.
    units
        One row per unit and activity in the job's order: ``unit``, ``heading``, ``activity``,
        ``p10``, ``p50``, ``p80``, ``p90`` and ``finished`` (datetime64; NaT where it does not
        apply).
    cycle
        As ``model.cycle.recent_cycles``.
    drivers
        ``constraint`` (``crew``, ``predecessor``, ``set``, ``cure``, ``weather``, ``hold``),
        ``activity``, ``heading``, ``share``: of the days left on the chain of work that ends
        last, how many each constraint accounts for; the largest first, together 1.
    finish_days
        Date of the last finish on every path (datetime64), sorted.
    pours
        Concrete activities to be expected in the next 15 working days: ``day`` (datetime64),
        ``unit``, ``heading``, ``activity``, ``chance`` (share of paths that finish it on that
        day); by day, then the likeliest first. Chances below 5 per cent are left out.
    notes
        What a reader should know, for example where there was too little history.
    """

    as_of: dt.date
    known_on: dt.datetime | None
    paths: int
    seed: int
    finish: Band
    headings: Mapping[str, Band]
    units: pd.DataFrame
    cycle: pd.DataFrame
    drivers: pd.DataFrame
    finish_days: NDArray[np.datetime64]
    pours: pd.DataFrame
    notes: tuple[str, ...] = ()

    @property
    def distribution(self) -> pd.DataFrame:
        """How likely the whole line is finished by each day: ``day`` and ``share``, 0…1."""
        days, counts = np.unique(self.finish_days, return_counts=True)
        share = np.cumsum(counts) / self.finish_days.size
        return pd.DataFrame({"day": days.astype("datetime64[us]"), "share": share})

    def as_dict(self) -> dict[str, Any]:
        """Return what ``viaduct forecast --json`` prints."""
        return {
            "as_of": self.as_of.isoformat(),
            "known_on": self.known_on and self.known_on.isoformat(),
            "paths": self.paths,
            "seed": self.seed,
            "finish": self.finish.as_dict(),
            "headings": {key: band.as_dict() for key, band in self.headings.items()},
            "units": _records(self.units),
            "cycle": _records(self.cycle, keep_missing=True),
            "drivers": _records(self.drivers),
            "pours": _records(self.pours),
            "distribution": _records(self.distribution),
            "notes": list(self.notes),
        }

    def __str__(self) -> str:
        lines = [
            f"finish: {self.finish.p50:%a %d %b %Y} as likely as not, "
            f"{self.finish.p80:%d %b %Y} with 80 per cent confidence "
            f"({self.finish.p10:%d %b %Y} … {self.finish.p90:%d %b %Y})"
        ]
        lines += [
            f"  {key}: {band.p50:%d %b %Y}, 80 per cent {band.p80:%d %b %Y}"
            for key, band in self.headings.items()
        ]
        return "\n".join([*lines, *self.notes])


def _records(frame: pd.DataFrame, *, keep_missing: bool = False) -> list[dict[str, Any]]:
    """Turn rows into plain values; missing ones are None, or left out."""
    rows = []
    for row in frame.to_dict("records"):
        plain = {
            str(name): None
            if pd.isna(value)
            else value.date().isoformat()
            if isinstance(value, pd.Timestamp)
            else value
            for name, value in row.items()
        }
        rows.append({k: v for k, v in plain.items() if keep_missing or v is not None})
    return rows


def project_finish(
    job: Job,
    state: State,
    *,
    as_of: dt.date,
    paths: int = PATHS,
    seed: int = SEED,
    recent: int = RECENT_UNITS,
    recent_weeks: float | None = None,
    known_on: dt.datetime | None = None,
    on_block: OnBlock | None = None,
) -> Forecast:
    """Project every unit's dates from the recent cycle, on the working calendar.

    Parameters
    ----------
    job
        The job as planned.
    state
        The log folded as of the end of ``as_of``.
    as_of
        Work goes on from the next day.
    paths, seed
        Marches to simulate; the same seed gives the same forecast.
    recent, recent_weeks
        How many recent units of each heading and activity to draw from, or how many weeks.
    known_on
        What the forecast says the log was known on; by default what the state says.
    on_block
        Called now and then with the paths done and the paths in all; where it returns False
        the forecast is made of the paths done so far.

    Returns
    -------
    Forecast

    Notes
    -----
    Past days already hold what weather took, and future days lose some again. So that they
    are not counted twice, a crew's past days are first reduced by the days that the calendar
    expects to be lost in them, or where it has no list, by those counted from the log.

    Confidence dates are the smallest day by which that share of paths is finished. Days are
    whole, so that from the 10 to the 90 per cent date there is never less than 80 per cent, and
    more where few days matter. Of 200 jobs made by other rules, asked for the next units
    complete (``tests.benchmarks.bench_calibration``):

    =============== ===== ===== ===== ===== ===== ===== =====
    units ahead         1     2     3     4     5     7    10
    =============== ===== ===== ===== ===== ===== ===== =====
    held            98.6% 96.8% 94.1% 92.6% 89.8% 85.1% 78.6%
    said to hold    99.0% 97.3% 94.8% 92.2% 90.2% 88.1% 86.7%
    least possible  98.4% 95.4% 91.2% 86.8% 84.0% 81.9% 81.2%
    spread out      79.9% 80.6% 80.4% 81.6% 80.9% 77.6% 71.2%
    =============== ===== ===== ===== ===== ===== ===== =====

    *Held*: finishes from the 10 to the 90 per cent date, both counted. *Said to hold*: what the
    projection itself gave those days. *Least possible*: what it gave the fewest days in a row
    with 80 per cent or more. *Spread out*: finishes between 10 and 90 per cent of the
    projection's own distribution, each day's chance spread evenly over it; 80 if honest. So near
    bands are as wide as whole days make them, and no wider. Those of ten units are too narrow by
    themselves, which whole days make up for.
    """
    now = line_now(job, state, as_of, recent=recent, recent_weeks=recent_weeks)
    return forecast_of(
        now,
        recent_cycles(state, job, units=recent, weeks=recent_weeks),
        paths=paths,
        seed=seed,
        known_on=known_on or state.known_on,
        on_block=on_block,
    )


def forecast_of(
    now: LineNow,
    cycle: pd.DataFrame,
    *,
    paths: int,
    seed: int,
    known_on: dt.datetime | None = None,
    on_block: OnBlock | None = None,
) -> Forecast:
    """Project a line from where it stands.

    Parameters
    ----------
    now
        Where it stands.
    cycle
        The recent cycles that the forecast shows.
    paths, seed, known_on, on_block
        As ``project_finish``.
    """
    simulated = simulate(now, paths, seed, on_block=on_block)
    days, paths = simulated.days, simulated.paths
    last = days.reshape(-1, paths).max(axis=0)
    return Forecast(
        as_of=dt.date.fromisoformat(str(now.as_of)),
        known_on=known_on,
        paths=paths,
        seed=seed,
        finish=band(last, now.as_of),
        headings={
            key: band(days[list(run.units)].reshape(-1, paths).max(axis=0), now.as_of)
            for key, run in zip(now.headings, now.runs, strict=True)
        },
        units=_unit_dates(now, days),
        cycle=cycle,
        drivers=drivers(
            simulated.driven,
            simulated.lost,
            now.steps,
            [activity.key for activity in now.activities],
            now.headings,
        ),
        finish_days=_dates(np.sort(last), now.as_of),
        pours=_pours(now, days),
        notes=_notes(now, cycle),
    )


def _dates(days: NDArray[np.integer[Any]], as_of: np.datetime64) -> NDArray[np.datetime64]:
    """Return dates of day numbers."""
    return np.asarray(as_of + 1 + days.astype(np.int64))


def quantile_days(days: NDArray[np.int16]) -> NDArray[np.int16]:
    """Return the smallest day by which each confidence is reached, along the last axis."""
    paths = days.shape[-1]
    # A hair less, so that a share that is whole in decimals is not pushed over by its binary.
    ranks = [int(np.ceil(share * paths - 1e-9)) - 1 for share in CONFIDENCES.values()]
    return np.asarray(np.partition(days, ranks, axis=-1)[..., ranks])


def band(days: NDArray[np.int16], as_of: np.datetime64) -> Band:
    """Return the confidence dates of one finish."""
    return Band(*_dates(quantile_days(days), as_of).tolist())


def _unit_dates(now: LineNow, days: NDArray[np.int16]) -> pd.DataFrame:
    """Return dates per unit and activity: four to come, or the one that was."""
    keys, units = [activity.key for activity in now.activities], np.array(now.units)
    to_do = now.to_do.reshape(-1)
    dates = np.full((to_do.size, len(CONFIDENCES)), np.datetime64("NaT", "D"))
    dates[to_do] = _dates(quantile_days(days.reshape(to_do.size, -1)[to_do]), now.as_of)
    was = _dates(np.nan_to_num(now.finished).astype(np.int64) - 1, now.as_of).reshape(-1)
    columns = {
        "unit": units.repeat(len(keys)),
        "heading": pd.Series(_heading_of(now), dtype="str").repeat(len(keys)).to_numpy(),
        "activity": np.tile(keys, units.size),
    }
    columns |= {
        name: dates[:, place].astype("datetime64[us]") for place, name in enumerate(CONFIDENCES)
    }
    was = np.where(to_do, np.datetime64("NaT", "D"), was)
    return pd.DataFrame({**columns, "finished": was.astype("datetime64[us]")})


def _pours(now: LineNow, days: NDArray[np.int16]) -> pd.DataFrame:
    """Return the concrete to be expected on each of the next working days."""
    first = now.calendar.index_of(now.as_of + 1)
    dates = now.calendar.date_of(first + np.arange(POUR_WORKDAYS))
    numbers = (dates - now.as_of).astype(np.int64) - 1
    paths, rows = days.shape[-1], []
    heading_of = _heading_of(now)
    for place, activity in enumerate(now.activities):
        if activity.measure != "concrete":
            continue
        for unit in np.flatnonzero(now.to_do[:, place]):
            falls = days[unit, place]
            counts = np.bincount(falls[falls <= numbers[-1]], minlength=numbers[-1] + 1)
            for day, chance in zip(dates, counts[numbers] / paths, strict=True):
                if chance >= LEAST_CHANCE:
                    rows.append((day, now.units[unit], heading_of[unit], activity.key, chance))
    frame = pd.DataFrame(rows, columns=["day", "unit", "heading", "activity", "chance"])
    frame = frame.astype({"day": "datetime64[us]"})
    return frame.sort_values(["day", "chance"], ascending=[True, False], ignore_index=True)


def _heading_of(now: LineNow) -> NDArray[np.object_]:
    """Return the heading of every unit."""
    heading_of = np.full(len(now.units), "", dtype=object)
    for key, run in zip(now.headings, now.runs, strict=True):
        heading_of[list(run.units)] = key
    return heading_of


def _notes(now: LineNow, cycle: pd.DataFrame) -> tuple[str, ...]:
    """Say where there was too little history to draw from, who learns, and how it rains."""
    names = {a.key: a.name for a in now.activities if not a.calendar_days}
    left = {
        (key, activity.key)
        for key, run in zip(now.headings, now.runs, strict=True)
        for place, activity in enumerate(now.activities)
        if now.to_do[list(run.units), place].any()
    }
    weather = (str(now.lost_days),) if now.lost_days else ()
    if now.calendar.lost_days_per_month is None:
        weather = (NONE_KNOWN,)
    little = cycle[cycle["samples"] < LITTLE_HISTORY]
    too_little = tuple(
        f"{names[str(row.activity)]} on {row.heading}: "
        f"{row.samples} recent {'cycle is' if row.samples == 1 else 'cycles are'} too few "
        f"to go by; the planned cycle of {row.planned_cycle:g} working days and other headings "
        "count as well."
        for row in little.itertuples()
        if row.activity in names and (row.heading, row.activity) in left
    )
    learning = tuple(
        f"{activity.name}: {learning_words(slope)}."
        for activity, slope in zip(now.activities, now.learning, strict=False)
        if slope is not None
    )
    return too_little + learning + weather
