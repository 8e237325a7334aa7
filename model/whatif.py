"""What a change would buy: cases side by side, with the same luck for all of them.

A case changes cycles, crews, falsework sets, the working week, weather, the order of units or
the headings, and is marched from where the line stands now. It never touches the log.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from model.added_heading import AddedHeading, added_heading
from model.cycle import RECENT_UNITS
from model.fold import State
from model.job import Job
from model.line import Run
from model.line_now import LineNow, line_now
from model.pace import Pace
from model.problems import InputError, Problem
from model.projection import Band, band
from model.simulation import MarchedDays, march_days

PATHS = 4_000
MOST_CASES = 4
AS_IT_IS = "as it is"

Value = TypeVar("Value")


@dataclass(frozen=True)
class Change:
    """One case: what would be different from tomorrow on.

    Parameters
    ----------
    name
        Shown beside the case.
    cycles
        Working days a unit by ``(heading, activity)``; a blank heading means every heading.
    crews
        Crews by ``(heading, activity)``, likewise.
    falsework_sets, turnaround_days
        By heading; likewise.
    workdays
        Days of the week worked from now on.
    weather
        Lost days to come as a multiple of those expected (0.5: half as many).
    order
        By heading, its units not begun yet in the order they would be built. A heading that
        is not among the job's is a new one, with crews of its own; it takes its units from
        the others and goes at the pace of the heading it takes its first unit from.
    """

    name: str
    cycles: Mapping[tuple[str, str], float] = field(default_factory=dict)
    crews: Mapping[tuple[str, str], int] = field(default_factory=dict)
    falsework_sets: Mapping[str, int] = field(default_factory=dict)
    turnaround_days: Mapping[str, int] = field(default_factory=dict)
    workdays: tuple[str, ...] = ()
    weather: float = 1.0
    order: Mapping[str, tuple[str, ...]] = field(default_factory=dict)


@dataclass(frozen=True)
class Case:
    """What one case gives.

    Parameters
    ----------
    name
        Of the change; ``AS_IT_IS`` without any.
    finish, headings
        Of the whole line and by heading.
    sooner_days
        Calendar days the 50 per cent date comes sooner than as it is; negative: later.
    sets_in_use
        By heading: most falsework sets in use on one day, on half of the paths or more.
    pours_per_week
        Units through their last crewed activity a calendar week, from now to the last.
    crew_days
        Working days from each crew's next work to its last, all crews together: what the
        crews cost, on average.
    added
        Headings the job does not have.
    """

    name: str
    finish: Band
    headings: Mapping[str, Band]
    sooner_days: int
    sets_in_use: Mapping[str, int]
    pours_per_week: float
    crew_days: float
    added: tuple[AddedHeading, ...] = ()

    def as_dict(self) -> dict[str, Any]:
        """Return plain values."""
        return {
            "name": self.name,
            "finish": self.finish.as_dict(),
            "headings": {key: dates.as_dict() for key, dates in self.headings.items()},
            "sooner_calendar_days": self.sooner_days,
            "sets_in_use": dict(self.sets_in_use),
            "pours_per_week": round(self.pours_per_week, 2),
            "crew_days": round(self.crew_days, 1),
            "added_headings": [heading.as_dict() for heading in self.added],
        }


@dataclass(frozen=True)
class WhatIf:
    """Cases side by side; the first is the line as it is."""

    as_of: dt.date
    paths: int
    seed: int
    cases: tuple[Case, ...]

    def as_dict(self) -> dict[str, Any]:
        """Return what ``viaduct whatif --json`` prints."""
        return {
            "as_of": self.as_of.isoformat(),
            "paths": self.paths,
            "seed": self.seed,
            "cases": [case.as_dict() for case in self.cases],
        }

    def __str__(self) -> str:
        lines = []
        for case in self.cases:
            sets = ", ".join(f"{key} {number}" for key, number in case.sets_in_use.items())
            lines.append(
                f"{case.name}: {case.finish.p50:%d %b %Y} as likely as not, "
                f"{case.finish.p80:%d %b %Y} with 80 per cent confidence "
                f"({case.finish.p10:%d %b %Y} … {case.finish.p90:%d %b %Y}); "
                f"{case.pours_per_week:.1f} pours a week, {case.crew_days:,.0f} crew-days; "
                f"most sets in use: {sets}"
            )
            lines += [f"  {heading}" for heading in case.added]
        return "\n".join(lines)


def whatif(
    job: Job,
    state: State,
    changes: Sequence[Change],
    *,
    as_of: dt.date,
    paths: int = PATHS,
    seed: int = 1,
    recent: int = RECENT_UNITS,
    recent_weeks: float | None = None,
    on_case: Callable[[int, int], bool] | None = None,
) -> WhatIf:
    """March the line as it is and with each change, side by side.

    Parameters
    ----------
    job, state
        The plan, and the log folded as of the end of ``as_of``.
    changes
        Up to four.
    as_of
        Changes hold from the next day.
    paths, seed, recent, recent_weeks
        As ``model.projection.project_finish``; every case is drawn with the same seed.
    on_case
        Called with the cases done and the cases in all; the rest is left out where it returns
        False.

    Raises
    ------
    InputError
        For more than four changes, or one that names what the job does not have.
    """
    now = line_now(job, state, as_of, recent=recent, recent_weeks=recent_weeks)
    problems = [p for change in changes for p in problems_of(change, job, state)]
    problems += [p for change in changes for p in _weather_problems(change, now)]
    if len(changes) > MOST_CASES:
        problems.append(
            Problem(
                "change",
                f"Found {len(changes)} cases; {MOST_CASES} can be compared at once.",
                "Leave some out.",
            )
        )
    if problems:
        raise InputError(problems)
    base = _case(AS_IT_IS, now, paths, seed, None)
    cases = [base]
    for change in changes:
        if on_case is not None and not on_case(len(cases), len(changes) + 1):
            break
        line = changed(now, change)
        case = _case(change.name, line, paths, seed, base)
        cases.append(replace(case, added=_added(now, line)))
    return WhatIf(as_of, paths, seed, tuple(cases))


def problems_of(change: Change, job: Job, state: State) -> list[Problem]:
    """Say what in a change does not fit the job.

    Parameters
    ----------
    change
        The change.
    job, state
        The plan, and the log folded.
    """
    headings = {heading.key for heading in job.headings}
    known = headings | set(change.order) | {""}
    trades = {activity.key for activity in job.activities}
    problems = []
    for key, values in (("cycles", change.cycles), ("crews", change.crews)):
        for heading, activity in values:
            problems += _unknown(change, key, "heading", heading, known)
            problems += _unknown(change, key, "activity", activity, trades)
    for key, numbers in (
        ("falsework_sets", change.falsework_sets),
        ("turnaround_days", change.turnaround_days),
    ):
        for name in numbers:
            problems += _unknown(change, key, "heading", name, known)
    return problems + _number_problems(change) + _order_problems(change, job, state)


def _number_problems(change: Change) -> list[Problem]:
    """Say which numbers of a change are too small."""
    given: list[tuple[str, float, float]] = [("weather", change.weather, 0.0)]
    given += [(f"cycles, {activity}", days, 0.0) for (_, activity), days in change.cycles.items()]
    given += [(f"crews, {activity}", n, 1.0) for (_, activity), n in change.crews.items()]
    given += [("falsework_sets", sets, 1.0) for sets in change.falsework_sets.values()]
    given += [("turnaround_days", days, 0.0) for days in change.turnaround_days.values()]
    return [
        _problem(change, key, f"Found {number:g}; expected {least:g} or more.", "Correct it.")
        for key, number, least in given
        if not number >= least
    ]


def _weather_problems(change: Change, now: LineNow) -> list[Problem]:
    """Refuse other weather where no lost days are known: it would change nothing."""
    if change.weather == 1.0 or any(now.calendar.lost_days_per_month or ()):
        return []
    message = (
        f"No lost days are known, so {change.weather:g} times as many change nothing: the calendar "
        "has none, and no hold of the log names weather."
    )
    fix = "Give lost_days_per_month in the calendar, or leave weather out."
    return [_problem(change, "weather", message, fix)]


def _order_problems(change: Change, job: Job, state: State) -> list[Problem]:
    """Say what is wrong with an order of units."""
    rows = state.units
    begun = set(rows.loc[rows["status"] != "not_started", "unit"])
    problems: list[Problem] = []
    seen: set[str] = set()
    for heading, units in change.order.items():
        field_name = f"order.{heading}".rstrip(".")
        problems += _order_heading_problems(change, field_name, heading, job)
        for unit in units:
            if unit not in job.heading_of_unit:
                problems += _unknown(change, field_name, "unit", unit, job.heading_of_unit)
            elif unit in begun:
                problems.append(
                    _problem(
                        change,
                        field_name,
                        f"{unit} has begun already.",
                        "List only units that are not begun.",
                    )
                )
            elif unit in seen:
                problems.append(
                    _problem(change, field_name, f"{unit} is listed twice.", "List it once.")
                )
            seen.add(unit)
    return problems


def _order_heading_problems(
    change: Change, field_name: str, heading: str, job: Job
) -> list[Problem]:
    """Refuse an order without a heading, and one whose heading is meant to be the job's own."""
    if not heading.strip():
        keys = ", ".join(known.key for known in job.headings)
        fix = f"Name one of {keys}, or a new one, before the units."
        return [_problem(change, field_name, "These units are on no heading.", fix)]
    for known in job.headings:
        if heading != known.key and _plain(heading) == _plain(known.key):
            message = f"{heading!r} is no heading, nor unlike {known.key!r} enough for a new one."
            return [_problem(change, field_name, message, f"Write {known.key}.")]
    return []


def _plain(key: str) -> str:
    """Return a key's letters and digits alone, without capitals."""
    return "".join(letter for letter in key.casefold() if letter.isalnum())


def _unknown(
    change: Change, key: str, what: str, found: str, known: Mapping[str, Any] | set[str]
) -> list[Problem]:
    """Return a problem for a name that is not known."""
    if found in known:
        return []
    expected = ", ".join(sorted(name for name in known if name)[:12])
    return [_problem(change, key, f"{found!r} is no {what}.", f"Use one of {expected}.")]


def _problem(change: Change, key: str, message: str, fix: str) -> Problem:
    """Return a problem of a change."""
    return Problem(f"case {change.name!r}", message, fix, field=key)


def changed(now: LineNow, change: Change) -> LineNow:
    """Return the line with a change made.

    Parameters
    ----------
    now
        Where it stands.
    change
        Known to fit it; see ``problems_of``.
    """
    calendar = now.calendar
    if change.workdays:
        calendar = replace(calendar, workdays=change.workdays)
    lost = calendar.lost_days_per_month
    if lost is not None and change.weather != 1.0:
        more = tuple(days * change.weather for days in lost)
        calendar = replace(calendar, lost_days_per_month=more)
    line = _reordered(replace(now, calendar=calendar), change)
    keys = [activity.key for activity in line.activities]
    runs = tuple(
        _changed_run(run, heading, keys, change)
        for heading, run in zip(line.headings, line.runs, strict=True)
    )
    cycles: Mapping[tuple[str, str], float | None] = change.cycles
    paces = tuple(
        tuple(
            _at_cycle(line, pace, run, place, _of(cycles, heading, key, None))
            for place, (key, pace) in enumerate(zip(keys, row, strict=True))
        )
        for heading, run, row in zip(line.headings, line.runs, line.paces, strict=True)
    )
    return replace(line, runs=runs, paces=paces)


def _changed_run(run: Run, heading: str, keys: Sequence[str], change: Change) -> Run:
    """Return a heading with its sets and crews changed."""
    sets, turnaround = change.falsework_sets, change.turnaround_days
    crews = run.crews or (1,) * len(keys)
    return replace(
        run,
        sets=sets.get(heading, sets.get("", run.sets or 0)) or None,
        turnaround_days=turnaround.get(heading, turnaround.get("", run.turnaround_days)),
        crews=tuple(_of(change.crews, heading, key, n) for key, n in zip(keys, crews, strict=True)),
    )


def _of(
    values: Mapping[tuple[str, str], Value], heading: str, activity: str, otherwise: Value
) -> Value:
    """Look up a heading's value, or that of every heading."""
    return values.get((heading, activity), values.get(("", activity), otherwise))


def _at_cycle(line: LineNow, pace: Pace, run: Run, activity: int, days: float | None) -> Pace:
    """Bring a pace to so many working days a unit over the units to come."""
    units = np.array(run.units)
    to_do = units[line.to_do[units, activity]]
    if days is None or not to_do.size:
        return pace
    mean = pace.mean_days * float(line.effort[to_do, activity].mean())
    return replace(pace, days=pace.days * (days / mean)) if mean > 0 else pace


def _reordered(now: LineNow, change: Change) -> LineNow:
    """Return the line with units in another order, or on other headings."""
    if not change.order:
        return now
    row_of = {unit: row for row, unit in enumerate(now.units)}
    was_on = {unit: place for place, run in enumerate(now.runs) for unit in run.units}
    moved = {row_of[unit] for units in change.order.values() for unit in units}
    headings, runs, paces = list(now.headings), [], list(now.paces)
    for heading, run in zip(now.headings, now.runs, strict=True):
        listed = tuple(row_of[unit] for unit in change.order.get(heading, ()))
        stay = tuple(unit for unit in run.units if unit not in moved)
        begun = tuple(unit for unit in stay if _is_begun(now)[unit])
        rest = tuple(unit for unit in stay if not _is_begun(now)[unit])
        runs.append(replace(run, units=(*begun, *listed, *rest)))
    for heading, units in change.order.items():
        if heading not in now.headings and units:
            rows = tuple(row_of[unit] for unit in units)
            like = was_on[rows[0]]
            headings.append(heading)
            runs.append(replace(now.runs[like], units=rows))
            paces.append(now.paces[like])
    kept = [place for place, run in enumerate(runs) if run.units]
    return replace(
        now,
        headings=tuple(headings[place] for place in kept),
        runs=tuple(runs[place] for place in kept),
        paces=tuple(paces[place] for place in kept),
    )


def _added(now: LineNow, line: LineNow) -> tuple[AddedHeading, ...]:
    """Say what the headings are built with that a change adds."""
    was_on = {unit: h for h, run in zip(now.headings, now.runs, strict=True) for unit in run.units}
    crewed = {place: a.key for place, a in enumerate(line.activities) if not a.calendar_days}
    return tuple(
        added_heading(heading, run, was_on[run.units[0]], line.units, crewed)
        for heading, run in zip(line.headings, line.runs, strict=True)
        if heading not in now.headings
    )


def _is_begun(now: LineNow) -> NDArray[np.bool_]:
    """Return which units have begun."""
    begun = ~np.isnan(now.started) | ~np.isnan(now.finished)
    return np.asarray(begun.any(axis=1))


def _case(name: str, now: LineNow, paths: int, seed: int, base: Case | None) -> Case:
    """March one case."""
    marched = march_days(now, now.luck(paths, seed), keep_starts=True)
    days = marched.finish
    finish = band(days.reshape(-1, paths).max(axis=0), now.as_of)
    crewed = [place for place, a in enumerate(now.activities) if not a.calendar_days]
    to_pour = now.to_do[:, crewed[-1]]
    last_pour = days[to_pour, crewed[-1]].max(axis=0, initial=-1) + 1
    weeks = float(np.median(last_pour)) / 7
    return Case(
        name,
        finish,
        {
            key: band(days[list(run.units)].reshape(-1, paths).max(axis=0), now.as_of)
            for key, run in zip(now.headings, now.runs, strict=True)
        },
        (base.finish.p50 - finish.p50).days if base else 0,
        {
            key: _sets_in_use(now, marched, run)
            for key, run in zip(now.headings, now.runs, strict=True)
        },
        float(to_pour.sum()) / weeks if weeks > 0 else 0.0,
        _crew_days(now, marched, crewed),
    )


def _sets_in_use(now: LineNow, marched: MarchedDays, run: Run) -> int:
    """Return the most sets in use on one day, on half of the paths or more.

    A set is in use from the day the unit's first activity starts to the day its last ends. The
    most in use is reached at a start: as many as have started less those that have ended. One
    that goes from unit to unit within a day is counted once.
    """
    units, starts = np.array(run.units), marched.start
    assert starts is not None
    ends = np.sort(marched.finish[units].max(axis=1), axis=0)
    begins = np.where(now.to_do[units, 0, None], starts[units, 0], 0)
    begins = np.sort(begins, axis=0)
    most = np.zeros(begins.shape[1], dtype=np.int64)
    for number, begin in enumerate(begins, start=1):
        most = np.maximum(most, number - (ends < begin).sum(axis=0))
    return min(int(np.median(most)), run.sets or len(run.units))


def _crew_days(now: LineNow, marched: MarchedDays, crewed: Sequence[int]) -> float:
    """Return the mean working days from each crew's next work to its last, all crews."""
    first_day, total, starts = now.as_of + 1, 0.0, marched.start
    assert starts is not None
    for run in now.runs:
        units = np.array(run.units)
        for activity in crewed:
            to_do = units[now.to_do[units, activity]]
            if not to_do.size:
                continue
            begin = starts[to_do, activity].min(axis=0).astype(np.int64)
            after = marched.finish[to_do, activity].max(axis=0).astype(np.int64) + 1
            worked = now.calendar.count(first_day + begin, first_day + after)
            crews = min(run.crews[activity] if run.crews else 1, to_do.size)
            total += crews * float(worked.mean())
    return total
