"""What a shift placed, started, finished and left on hold, by heading and activity.

Counted from the same rows the state is folded from, so that the day book says what the status
says: voided entries are left out, amounts typed in any unit are added in SI, and an entry counts
in the shift it is of, whenever the log came to know it.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from model.activities import Activity
from model.fold import MICROS_PER_DAY, NIGHT_ENDS_HOUR
from model.job import Job
from model.log_arrays import HOLD, ON_HOLD, PLACE, RESUME, START, Histories, LogArrays
from model.units import PRINTED, amount_shown, share_words, shown_unit

NIGHT_US = NIGHT_ENDS_HOUR * MICROS_PER_DAY // 24
WHOLE_FROM = 100.0
"""From here on what adds up over weeks is written without decimals."""

Rows = NDArray[np.int64]
Amounts = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class ShiftTotal:
    """What came of one activity of one heading, or of all headings.

    Parameters
    ----------
    heading
        Its key; blank where the total is of all headings, or of units of no heading.
    activity
        As the job has it.
    measure_unit
        Unit it is shown in; blank where nothing is measured.
    placed_si
        Placed in the shift, SI unit of the measure.
    entries
        Number of entries that amount is made of.
    placed_to_date_si
        Placed from the beginning to the end of the shift, SI.
    planned_si
        Planned in all, SI; None without a plan.
    started, finished
        Units begun in the shift, and units complete at its end by a finish of the shift; spans
        where the activity goes span by span.
    put_on_hold, on_hold
        Those put on hold in the shift, and those on hold at its end, whoever put them there.
    """

    heading: str
    activity: Activity
    measure_unit: str
    placed_si: float
    entries: int
    placed_to_date_si: float
    planned_si: float | None
    started: int
    finished: int
    put_on_hold: int
    on_hold: int

    @property
    def moved(self) -> bool:
        """Tell whether the shift has anything to say of it."""
        return bool(self.entries) or any(count for _, count in self.counts)

    @property
    def placed(self) -> float | None:
        """Placed in the shift, in the unit shown; None where nothing is measured."""
        return amount_shown(self.placed_si, self.measure_unit)

    @property
    def placed_to_date(self) -> float | None:
        """Placed by the end of the shift, in the unit shown."""
        return amount_shown(self.placed_to_date_si, self.measure_unit)

    @property
    def planned(self) -> float | None:
        """Planned in all, in the unit shown; None without a plan."""
        return amount_shown(self.planned_si, self.measure_unit)

    @property
    def placed_words(self) -> str:
        """Placed in the shift, with its unit; blank where nothing was.

        Examples
        --------
        >>> pour = Activity("deck_pour", "Deck pour", measure="concrete")
        >>> total = ShiftTotal("east_1", pour, "m3", 72.75, 2, 240.2, 600.0, 1, 1, 0, 0)
        >>> total.placed_words, total.count_words(total.finished)
        ('72.75 m³', '1 unit')
        """
        if self.placed is None or not self.entries:
            return ""
        return f"{_trimmed(self.placed)} {PRINTED[self.measure_unit]}"

    @property
    def to_date_words(self) -> str:
        """Placed by the end of the shift against what is planned."""
        if self.placed_to_date is None:
            return ""
        unit, words = PRINTED[self.measure_unit], _rounded(self.placed_to_date)
        if not self.planned:
            return f"{words} {unit}"
        share = self.placed_to_date / self.planned
        return f"{words} of {_rounded(self.planned)} {unit} ({share_words(share)})"

    @property
    def counts(self) -> tuple[tuple[str, int], ...]:
        """What was counted, in words, and how many."""
        return (
            ("started", self.started),
            ("finished", self.finished),
            ("put on hold", self.put_on_hold),
            ("on hold at the end", self.on_hold),
        )

    def count_words(self, count: int) -> str:
        """Return a number of units or spans in words; blank for none."""
        return f"{count} {self.activity.grain}{'s' if count > 1 else ''}" if count else ""

    def as_dict(self) -> dict[str, Any]:
        """Return the total as one JSON-ready row."""
        return {
            "heading": self.heading or None,
            "activity": self.activity.key,
            "counted_by": self.activity.grain,
            "placed": self.placed,
            "entries": self.entries,
            "placed_to_date": self.placed_to_date,
            "planned": self.planned,
            "measure_unit": self.measure_unit or None,
            "started": self.started,
            "finished": self.finished,
            "put_on_hold": self.put_on_hold,
            "on_hold": self.on_hold,
        }


@dataclass(frozen=True, slots=True)
class ShiftTotals:
    """What came of a shift.

    Parameters
    ----------
    by_heading
        One for each heading and activity that has something to say, in the order of the job.
    all_headings
        One for each activity that stands in ``by_heading``, over all headings of the job.
    """

    by_heading: tuple[ShiftTotal, ...] = ()
    all_headings: tuple[ShiftTotal, ...] = ()

    @property
    def added_up(self) -> tuple[ShiftTotal, ...]:
        """All of ``all_headings`` where more than one heading has something to say, or nothing.

        What one heading alone worked on is among them: who reads only the sums misses nothing.
        """
        several = len({total.heading for total in self.by_heading}) > 1
        return self.all_headings if several else ()

    def as_dict(self) -> dict[str, Any]:
        """Return the totals, JSON-ready."""
        return {
            "by_heading": [total.as_dict() for total in self.by_heading],
            "all_headings": [total.as_dict() for total in self.all_headings],
        }


@dataclass(frozen=True)
class _Sums:
    """The arrays behind the totals, one row a heading and one more for all, (H + 1, A)."""

    placed_si: Amounts
    entries: Rows
    placed_to_date_si: Amounts
    planned_si: Amounts
    started: Rows
    finished: Rows
    put_on_hold: Rows
    on_hold: Rows


def shift_totals(log: LogArrays, day: dt.date, known_on: dt.datetime) -> ShiftTotals:
    """Add up what came of a shift.

    Parameters
    ----------
    log
        The log of the job.
    day
        The day the shift began.
    known_on
        Local moment (naive); only what the log had been told by then.

    Returns
    -------
    ShiftTotals

    Notes
    -----
    A unit counts as started in the shift of its first start or place, and as finished in the
    shift of the finish by which it is complete at the end of this one: a finish that was
    reopened again does not count. Where an entry for a whole unit is meant for all its spans,
    each of them counts.
    """
    known = _known(log, known_on)
    sums = _sums(log, known, shift_days(log, known), int(np.datetime64(day, "D").astype(np.int64)))
    headings = [*_headings(log.job), ""]
    rows = [
        [_total(log.job, sums, heading, row, a) for a in range(log.shape[2])]
        for row, heading in enumerate(headings)
    ]
    by_heading = tuple(total for of_one in rows[:-1] for total in of_one if total.moved)
    return ShiftTotals(by_heading, tuple(total for total in rows[-1] if total.moved))


def _headings(job: Job) -> list[str]:
    """Return keys of headings, and a blank for units of none, where there are any."""
    none = [""] if set(job.units["unit"]) - set(job.heading_of_unit) else []
    return [*(heading.key for heading in job.headings), *none]


def _known(log: LogArrays, known_on: dt.datetime) -> Histories:
    moment = known_on.replace(tzinfo=log.job.timezone)
    newest = log.events["recorded_at"].max()
    # Of a log that knows nothing later, the histories are at hand.
    return log.known_on(moment if len(log.events) and newest > moment else None)


def shift_days(log: LogArrays, known: Histories) -> Rows:
    """Return the day to whose shift each row belongs, days since 1970.

    What happened in the small hours is of the day before, unless the activity was started or
    resumed on the unit in the same small hours and not later.
    """
    rows = known.rows
    date, of_shift = rows.at_us // MICROS_PER_DAY, (rows.at_us - NIGHT_US) // MICROS_PER_DAY
    early = np.flatnonzero(of_shift < date)
    if not early.size:
        return of_shift
    place, activity = np.divmod(rows.cell[early], log.shape[2])
    _, night = np.unique(
        np.stack([_unit_of(log, place), activity, date[early]], axis=1), axis=0, return_inverse=True
    )
    night = night.reshape(-1)
    began = np.full(night.max() + 1, np.iinfo(np.int64).max)
    fresh = np.isin(rows.kind[early], [START, RESUME])
    np.minimum.at(began, night[fresh], rows.at_us[early[fresh]])
    of_shift[early] += began[night] <= rows.at_us[early]
    return of_shift


def _unit_of(log: LogArrays, place: Rows) -> Rows:
    units = np.concatenate([log.plan.unit_of_span, np.arange(log.shape[1])])
    return np.asarray(units[place])


def _sums(log: LogArrays, known: Histories, of_shift: Rows, day: int) -> _Sums:
    rows, now, until = known.rows, of_shift == day, of_shift <= day
    place, activity = np.divmod(rows.cell, log.shape[2])
    heading_of_unit = _heading_rows(log.job)
    box = heading_of_unit[_unit_of(log, place)] * log.shape[2] + activity
    shape = len(_headings(log.job)), log.shape[2]

    def amount(chosen: Flags) -> Amounts:
        sums = np.bincount(box[chosen], rows.quantity_si[chosen], shape[0] * shape[1])
        return _with_all(sums.astype(float).reshape(shape))

    def number(chosen: Rows, of: Rows) -> Rows:
        _, first = np.unique(of[chosen], return_index=True)
        return _with_all(
            np.bincount(box[chosen[first]], minlength=shape[0] * shape[1]).reshape(shape)
        )

    placing = rows.kind == PLACE
    holding = now & (rows.kind == HOLD) & (known.status == ON_HOLD)
    last = _last_of_each_cell(rows.cell, until)
    finish = known.finished[last]
    return _Sums(
        amount(now & placing),
        number(np.flatnonzero(now & placing), rows.event),
        amount(until & placing),
        _planned(log.plan.unit_si, heading_of_unit, shape),
        number(np.flatnonzero(now & (known.begun == np.arange(now.size))), rows.cell),
        number(last[(finish >= 0) & (of_shift[finish] == day)], rows.cell),
        number(np.flatnonzero(holding), rows.cell),
        number(last[known.status[last] == ON_HOLD], rows.cell),
    )


def _heading_rows(job: Job) -> Rows:
    """Return the row of each unit's heading, (U,)."""
    row_of = {key: row for row, key in enumerate(_headings(job))}
    rows = [row_of[job.heading_of_unit.get(unit, "")] for unit in job.units["unit"]]
    return np.array(rows, dtype=np.int64)


def _last_of_each_cell(cell: Rows, among: Flags) -> Rows:
    """Return the last of some rows in each cell; rows rise within a cell."""
    rows = np.flatnonzero(among)
    return rows[np.flatnonzero(np.diff(cell[rows], append=-1))]


def _planned(unit_si: Amounts, heading_of_unit: Rows, shape: tuple[int, int]) -> Amounts:
    """Add up what is planned of each unit; NaN where nothing is."""
    sums, known = np.zeros(shape), np.zeros(shape)
    np.add.at(sums, heading_of_unit, np.nan_to_num(unit_si))
    np.add.at(known, heading_of_unit, ~np.isnan(unit_si))
    return np.where(_with_all(known) > 0, _with_all(sums), np.nan)


def _with_all(sums: NDArray[Any]) -> NDArray[Any]:
    return np.concatenate([sums, sums.sum(axis=0, keepdims=True)])


def _total(job: Job, sums: _Sums, heading: str, row: int, a: int) -> ShiftTotal:
    activity = job.activities[a]
    planned = float(sums.planned_si[row, a])
    return ShiftTotal(
        heading,
        activity,
        shown_unit(activity.measure, job.units_system),
        float(sums.placed_si[row, a]),
        int(sums.entries[row, a]),
        float(sums.placed_to_date_si[row, a]),
        None if np.isnan(planned) else planned,
        int(sums.started[row, a]),
        int(sums.finished[row, a]),
        int(sums.put_on_hold[row, a]),
        int(sums.on_hold[row, a]),
    )


def _trimmed(amount: float) -> str:
    """Write an amount to two decimals at most, so that it can be checked against the entries."""
    return f"{amount:,.2f}".rstrip("0").rstrip(".")


def _rounded(amount: float) -> str:
    return f"{amount:,.0f}" if amount >= WHOLE_FROM else _trimmed(amount)
