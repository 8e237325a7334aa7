"""The march of ``model.line`` compiled, with its draws made on the way: the fast twin.

NumPy takes every path through one step after the other and must keep the days of all of them.
Here a few paths at a time (``LANES``) go through the whole program while their tables stay in
the cache, draw what they need as they go, and leave only the day of each finish and the sums of
what drove the last. Chance is looked up by place (``model.chance``) and days are counted in
whole ``TICKS``, so that both ways give the same days, path by path.

Work that weather can stop is followed in days that count: there, a start is the latest of what
it waits for, and a finish is a plain sum. The calendar is looked up only for what is kept.

The program is a table of small steps, made by ``model.march_program``; a row is a step and three
numbers. A cell is a row of ``at`` and ``counted``: a unit's activity, or a crew or set.

All that is compiled is in this one file: what Numba keeps of a function is made anew when the
file of that function has changed, and not when one has from which it calls another.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple, TypeVar, cast

import numpy as np
from numba import njit
from numpy.typing import NDArray

from model.chance import GAMMA, IN_A_WORD, MIX_1, MIX_2
from model.line import BOUND_CREW, BOUND_HOLD, BOUND_NOW, DAYS_BACK, TICKS

LANES = 64
"""Paths that march side by side: a multiple of the chances in a word."""

BITS = TICKS.bit_length() - 1
BACK = DAYS_BACK * TICKS
NEVER = -(2**30)
"""A moment before any other."""

(
    BEGIN,  # not before a moment
    WAIT,  # for a cell; code
    BOTH,  # begin with a trade and where its one crew comes from; code of the trade
    FREE,  # a crew or set when it was free and a cell is over
    LAG,  # a cell so many working days after another
    DRAW,  # a whole unit's work: cell, its pool's first row and size
    LEFT,  # the work left: row
    HELD,  # begin when the hold is lifted: row
    AGAIN,  # take up a cell's finish as if it were a start
    WORK,  # that weather can stop: finish of a cell
    DRY_WORK,  # … that weather cannot stop
    CURE,  # … that counts every day
    KNOWN,  # a finish that was: cell, moment
    KEEP,  # what was taken up is the cell's finish
) = range(14)

Ints = NDArray[np.int32]
Function = TypeVar("Function", bound=Callable[..., Any])


class Calendar(NamedTuple):
    """Which days count, in tables that all paths share.

    Parameters
    ----------
    dry_code, dry_end
        Twice the working days before each day and whether it is one; end of the n-th; both
        from ``DAYS_BACK`` days before now.
    lost_chance, day_keys
        By day from now: chance to be lost (-1: not worked), and keys of the weather's chances.
    """

    dry_code: Ints
    dry_end: Ints
    lost_chance: Ints
    day_keys: NDArray[np.uint64]


class Chains(NamedTuple):
    """How to follow the last finish back.

    Parameters
    ----------
    came_from
        Shape (cells, codes): the cell that was waited for; -1 for now.
    slot
        Shape (cells,): place of the cell's heading and activity among all.
    stops
        Shape (cells,): whether weather can stop it.
    ends
        The cells that no other waits for any more, in order.
    earliest
        Shape (cells,): the first day a finish is given.
    """

    came_from: Ints
    slot: Ints
    stops: NDArray[np.bool_]
    ends: Ints
    earliest: Ints


class Desk(NamedTuple):
    """Room to march in, used again for one block of paths after the other.

    Parameters
    ----------
    at, counted, bound
        Shape (cells, LANES).
    mine
        Shape (pool rows × LANES,): the pools of these paths.
    code, end_of
        Shape (days, LANES) and flat: the weather of these paths.
    """

    at: Ints
    counted: Ints
    bound: NDArray[np.uint8]
    mine: NDArray[np.float32]
    code: NDArray[np.int16]
    end_of: NDArray[np.int16]


def compiled(function: Function, **options: Any) -> Function:
    """Compile a function and keep what was compiled on disk, where there is a place for it.

    Kept beside the module, or else in the user's cache folder; where neither can be written,
    each process compiles anew.
    """
    options |= {"nogil": True, "error_model": "numpy"}
    try:
        made: Any = njit(cache=True, **options)(function)
    except RuntimeError:
        made = njit(**options)(function)
    return cast(Function, made)


def step(function: Function) -> Function:
    """Compile a step of the program into the walk itself: a call would cost as much as it does."""
    return compiled(function, inline="always")


@compiled
def _mixed(word: Any) -> Any:
    """Mix a number's bits; the twin of ``model.chance.mix``."""
    word = (word ^ (word >> np.uint64(30))) * np.uint64(MIX_1)
    word = (word ^ (word >> np.uint64(27))) * np.uint64(MIX_2)
    return word ^ (word >> np.uint64(31))


# Every loop over the lanes below writes one array: only then can the compiler see that lanes do
# not touch one another, and take eight or more at once. It is told how many there are, so that it
# need not ask what is left over; but in the weather, where it then does worse.


@step
def _fill(bits: Any, key: Any, numbers: Any) -> None:
    """Draw the chances of all lanes from a stream."""
    for word in range(bits.size):
        bits[word] = _mixed(key + numbers[word])


@compiled
def _numbers(first: int) -> Any:
    """Return what the mix adds to a key for the words of all lanes."""
    numbers = np.empty(LANES // IN_A_WORD, dtype=np.uint64)
    for word in range(numbers.size):
        numbers[word] = np.uint64(first // IN_A_WORD + word + 1) * np.uint64(GAMMA)
    return numbers


@compiled
def _draw_weather(
    code: Any, end_of: Any, lost_chance: Ints, day_keys: Any, first: int, days: int
) -> None:
    """Draw which days count: twice how many do before each day and whether it does; their ends."""
    wide = code.shape[1]
    bits, numbers = np.empty(LANES // IN_A_WORD, dtype=np.uint64), _numbers(first)
    chance = bits.view(np.uint16)
    twice, dry = np.zeros(LANES, dtype=np.int16), np.zeros(LANES, dtype=np.int16)
    rows = end_of.size // LANES
    place = np.arange(1, end_of.size, rows).astype(np.int32)
    for day in range(days):
        lost = lost_chance[day]
        if lost < 0:
            for lane in range(wide):
                code[day, lane] = twice[lane]
            continue
        if lost > 0:  # no chance is below 0, so that none is drawn where none is needed
            _fill(bits, day_keys[day], numbers)
        for lane in range(wide):
            dry[lane] = np.int16(chance[lane] >= lost)
        for lane in range(wide):
            code[day, lane] = twice[lane] + dry[lane]
        for lane in range(wide):
            # A day that does not count is overwritten by the next one that does.
            end_of[np.uint64(place[lane])] = day + 1
        for lane in range(wide):
            twice[lane] += dry[lane] << 1
        for lane in range(wide):
            place[lane] += dry[lane]
    for lane in range(wide):
        end_of[lane * rows] = 0
        for n in range(place[lane], lane * rows + days + 2):
            end_of[n] = days + 1


@compiled
def _counted(code: Any, at: Any, lane: int, last: int) -> Any:
    """Return how much counts before a moment."""
    at = min(max(at, 0), last << BITS)
    found = code[np.uint64(at >> BITS), lane]
    return ((found >> 1) << BITS) + (-(found & 1) & at & (TICKS - 1))


@compiled
def _dry_counted(dry_code: Ints, at: Any) -> Any:
    """Return how much working time there is before a moment."""
    at = min(max(at + BACK, 0), (dry_code.size - 1) << BITS)
    found = dry_code[np.uint64(at >> BITS)]
    return ((found >> 1) << BITS) + (-(found & 1) & at & (TICKS - 1))


@compiled
def _after_dry(dry_code: Ints, dry_end: Ints, at: Any, work: Any) -> Any:
    """Return when so many ticks of working time have passed, lost or not."""
    done = _dry_counted(dry_code, at) + work
    number = (done + TICKS - 2) >> BITS
    end = dry_end[np.uint64(min(number, dry_code.size))]
    return max((end << BITS) + min(done - (number << BITS), 0) - BACK, at)


@compiled
def _count(
    at_counted: Ints, at: Ints, cell: int, since: Ints, found: Ints, code: Any, last: int
) -> None:
    """Look up how much counts before each path's moment of a cell."""
    for lane in range(LANES):
        since[lane] = min(max(at[cell, lane], 0), last << BITS)
    for lane in range(LANES):
        found[lane] = code[np.uint64(since[lane] >> BITS), lane]
    for lane in range(LANES):
        part = -(found[lane] & 1) & since[lane] & (TICKS - 1)
        at_counted[cell, lane] = ((found[lane] >> 1) << BITS) + part


@compiled
def _lag(
    at: Ints,
    cell: int,
    other: int,
    work: int,
    since: Ints,
    found: Ints,
    dry_code: Ints,
    dry_end: Ints,
) -> None:
    """Put a cell so much working time, lost or not, after another."""
    last = dry_code.size - 1
    for lane in range(LANES):
        since[lane] = min(max(at[other, lane] + BACK, 0), last << BITS)
    for lane in range(LANES):
        found[lane] = dry_code[np.uint64(since[lane] >> BITS)]
    for lane in range(LANES):
        part = -(found[lane] & 1) & since[lane] & (TICKS - 1)
        since[lane] = ((found[lane] >> 1) << BITS) + part + work
    for lane in range(LANES):
        found[lane] = dry_end[np.uint64(min((since[lane] + TICKS - 2) >> BITS, last + 1))]
    for lane in range(LANES):
        number = min((since[lane] + TICKS - 2) >> BITS, last + 1)
        over = ((found[lane] - number) << BITS) + min(since[lane], number << BITS) - BACK
        at[cell, lane] = max(over, at[other, lane])


@step
def _draw(
    work: Ints,
    which: Ints,
    days: Any,
    chance: Any,
    lane_of: Ints,
    pools: Any,
    row: int,
    size: int,
    effort: Any,
) -> None:
    """Draw a whole unit's work from each path's pool."""
    base, few = row * LANES, size & 0xFFFF
    for lane in range(LANES):
        which[lane] = ((chance[lane] * few) >> 16) * LANES + lane_of[lane]
    for lane in range(LANES):
        days[lane] = pools[np.uint64(which[lane] + base)]
    for lane in range(LANES):
        work[lane] = np.int32(days[lane] * effort * np.float32(TICKS) + np.float32(0.5))


@step
def _say_why(start: Ints, why: Any, at: Ints, cell: int, code: int) -> None:
    """Note that a start waits for a cell."""
    for lane in range(why.size):
        why[lane] = code if at[cell, lane] > start[lane] else why[lane]


@step
def _wait(start: Ints, counted: Ints, at: Ints, at_counted: Ints, cell: int) -> None:
    """Let a start wait for a cell."""
    for lane in range(LANES):
        start[lane] = max(start[lane], at[cell, lane])
    for lane in range(LANES):
        counted[lane] = max(counted[lane], at_counted[cell, lane])


@step
def _say_why_both(why: Any, at: Ints, trade: int, crew: int, code: int) -> None:
    """Note whether a start waits for the trade before or for the crew."""
    for lane in range(why.size):
        ready = max(at[trade, lane], 0)
        waited = code if ready > 0 else BOUND_NOW
        why[lane] = BOUND_CREW if at[crew, lane] > ready else waited


@step
def _wait_for_both(
    start: Ints, counted: Ints, at: Ints, at_counted: Ints, trade: int, crew: int
) -> None:
    """Let a start wait for the trade before and for the crew, from now on."""
    for lane in range(LANES):
        start[lane] = max(at[trade, lane], at[crew, lane], 0)
    for lane in range(LANES):
        counted[lane] = max(at_counted[trade, lane], at_counted[crew, lane])


@compiled
def _free(at: Ints, at_counted: Ints, cell: int, other: int) -> None:
    """Let a crew or set be free no earlier than another cell is over."""
    for lane in range(LANES):
        at[cell, lane] = max(at[cell, lane], at[other, lane])
    for lane in range(LANES):
        at_counted[cell, lane] = max(at_counted[cell, lane], at_counted[other, lane])


@step
def _work(
    at: Ints,
    at_counted: Ints,
    cell: int,
    start: Ints,
    counted: Ints,
    work: Ints,
    number_of: Ints,
    end_of: Any,
    row_of: Ints,
    last: int,
) -> None:
    """Finish work that weather can stop."""
    for lane in range(LANES):
        done = work[lane] + counted[lane]
        number_of[lane] = min((done + (TICKS - 2)) >> BITS, last + 1)
    for lane in range(LANES):
        at_counted[cell, lane] = min(work[lane] + counted[lane], number_of[lane] << BITS)
    for lane in range(LANES):
        work[lane] = end_of[np.uint64(number_of[lane] + row_of[lane])]
    for lane in range(LANES):
        over = ((work[lane] - number_of[lane]) << BITS) + at_counted[cell, lane]
        at[cell, lane] = max(over, start[lane])


@compiled
def _seldom(
    kind: int, cell: int, other: int, start: Ints, counted: Ints, why: Any, work: Ints, left: Ints,
    held: Ints, first: int, at: Ints, at_counted: Ints, bound: Any, dry_code: Ints, dry_end: Ints,
    code: Any, last: int,
) -> None:  # fmt: skip
    """Take one of the steps that are few."""
    for lane in range(why.size):
        path = min(first + lane, left.shape[1] - 1)
        if kind == LEFT:
            work[lane] = left[cell, path]
        elif kind == HELD:
            start[lane] = max(held[cell, path], 0)
            counted[lane] = _counted(code, start[lane], lane, last)
            why[lane] = BOUND_HOLD
        elif kind == AGAIN:
            start[lane], counted[lane] = at[cell, lane], at_counted[cell, lane]
        elif kind == DRY_WORK:
            at[cell, lane] = _after_dry(dry_code, dry_end, start[lane], work[lane])
            at_counted[cell, lane] = _counted(code, at[cell, lane], lane, last)
            bound[cell, lane] = why[lane]
        elif kind == KNOWN:
            at[cell, lane] = other
            at_counted[cell, lane] = _counted(code, other, lane, last)
            bound[cell, lane] = BOUND_NOW
        elif kind == KEEP:
            at[cell, lane], at_counted[cell, lane] = start[lane], counted[lane]
            bound[cell, lane] = why[lane]


@compiled
def _walk(
    program: Ints,
    effort: Any,
    keys: Any,
    pools: Any,
    left: Ints,
    held: Ints,
    first: int,
    dry_code: Ints,
    dry_end: Ints,
    code: Any,
    end_of: Any,
    last: int,
    at: Ints,
    at_counted: Ints,
    bound: Any,
    followed: bool,
) -> None:
    """Go through the program with one block of paths; ``followed``: note what was waited for."""
    start, counted = np.zeros(LANES, dtype=np.int32), np.zeros(LANES, dtype=np.int32)
    work, why = np.zeros(LANES, dtype=np.int32), np.zeros(LANES, dtype=np.uint8)
    spare, days = np.zeros(LANES, dtype=np.int32), np.zeros(LANES, dtype=np.float32)
    bits, numbers = np.empty(LANES // IN_A_WORD, dtype=np.uint64), _numbers(first)
    chance, lane_of = bits.view(np.uint16), np.arange(LANES).astype(np.int32)
    row_of = np.arange(0, end_of.size, end_of.size // LANES).astype(np.int32)
    for row in range(program.shape[0]):
        kind, cell, other = program[row, 0], program[row, 1], program[row, 2]
        number = program[row, 3]
        if kind == BOTH:
            if followed:
                _say_why_both(why, at, cell, other, number)
            _wait_for_both(start, counted, at, at_counted, cell, other)
        elif kind == DRAW:
            _fill(bits, keys[cell], numbers)
            _draw(work, spare, days, chance, lane_of, pools, other, number, effort[cell])
        elif kind == WORK:
            _work(at, at_counted, cell, start, counted, work, spare, end_of, row_of, last)
            if followed:
                for lane in range(LANES):
                    bound[cell, lane] = why[lane]
        elif kind == BEGIN:
            for lane in range(LANES):
                start[lane], counted[lane], why[lane] = cell, 0, BOUND_NOW
        elif kind == WAIT:
            if followed:
                _say_why(start, why, at, cell, other)
            _wait(start, counted, at, at_counted, cell)
        elif kind == FREE:
            _free(at, at_counted, cell, other)
        elif kind == LAG:
            _lag(at, cell, other, number << BITS, spare, work, dry_code, dry_end)
            _count(at_counted, at, cell, spare, work, code, last)
        elif kind == CURE:
            for lane in range(LANES):
                at[cell, lane] = start[lane] + work[lane]
            _count(at_counted, at, cell, spare, work, code, last)
            if followed:
                for lane in range(LANES):
                    bound[cell, lane] = why[lane]
        else:
            _seldom(kind, cell, other, start, counted, why, work, left, held, first, at, at_counted,
                    bound, dry_code, dry_end, code, last)  # fmt: skip


@compiled
def _follow_back(
    at: Ints,
    at_counted: Ints,
    bound: Any,
    cells: Ints,
    ends: Ints,
    lanes: int,
    came_from: Ints,
    slot: Ints,
    stops: Any,
    dry_code: Ints,
    driven: Any,
    lost: Any,
) -> None:
    """Follow the last finish of every path back to now; the twin of ``model.drivers``."""
    dry_now = _dry_counted(dry_code, 0)
    wet, left = np.zeros(LANES, dtype=np.int32), lanes
    for lane in range(lanes):
        wet[lane] = _dry_counted(dry_code, ends[lane]) - at_counted[cells[lane], lane]
    while left:
        left = 0
        for lane in range(lanes):
            end = ends[lane]
            if end <= 0:
                continue
            cell = np.uint64(cells[lane])
            why = bound[cell, lane]
            earlier = came_from[cell, why]
            begin, wet_before = 0, dry_now
            if earlier >= 0:
                begin = at[np.uint64(earlier), lane]
                wet_before = _dry_counted(dry_code, begin) - at_counted[np.uint64(earlier), lane]
                if begin <= 0:
                    begin, wet_before = 0, dry_now
                elif begin >= end:
                    begin, wet_before = end, wet[lane]
            rain = (wet[lane] - wet_before) * stops[cell]
            driven[slot[cell], why] += end - begin - rain
            lost[slot[cell], why] += rain
            cells[lane], ends[lane], wet[lane] = earlier, begin, wet_before
            left += 1


@compiled
def _keep_days(days: Any, at: Ints, earliest: Ints, first: int, lanes: int) -> None:
    """Keep the day of each finish, none before now for what is to do."""
    for cell in range(earliest.size):
        floor = earliest[cell]
        for lane in range(lanes):
            day = ((at[cell, lane] + TICKS - 2) >> BITS) - 1
            days[cell, first + lane] = max(day, floor)


@compiled
def _find_last(at: Ints, ends: Ints, latest: Ints, last_cell: Ints) -> None:
    """Find the last finish of every path; of several, the last in the order of cells."""
    for lane in range(LANES):
        latest[lane], last_cell[lane] = NEVER, 0
    for cell in ends:
        for lane in range(LANES):
            last_cell[lane] = cell if at[cell, lane] >= latest[lane] else last_cell[lane]
        for lane in range(LANES):
            latest[lane] = max(latest[lane], at[cell, lane])


@compiled
def _row_of_ends(days: int) -> Any:
    """Return how long a lane's row is: an odd number of cache lines; few share a set of it."""
    return ((days + 2) // 32 + 1 | 1) * 32


def desk_for(cells: int, pool_rows: int, days: int) -> Desk:
    """Make room to march in.

    Parameters
    ----------
    cells, pool_rows
        How many the program speaks of.
    days
        How many are likely enough; a march that needs more makes more room.
    """
    row = _row_of_ends(days)
    return Desk(
        np.empty((cells, LANES), dtype=np.int32),
        np.empty((cells, LANES), dtype=np.int32),
        np.zeros((cells, LANES), dtype=np.uint8),
        np.empty(pool_rows * LANES, dtype=np.float32),
        np.empty((days, LANES), dtype=np.int16),
        np.empty(row * LANES, dtype=np.int16),
    )


@compiled
def march_paths(
    program: Ints,
    effort: NDArray[np.float32],
    keys: NDArray[np.uint64],
    calendar: Calendar,
    chains: Chains,
    pools: NDArray[np.float32],
    left: Ints,
    held: Ints,
    desk: Desk,
    first: int,
    end: int,
    horizon: Ints,
    followed: int,
    days: NDArray[np.int16],
    driven: NDArray[np.int64],
    lost: NDArray[np.int64],
) -> None:
    """March some paths to their end.

    Parameters
    ----------
    program
        Shape (steps, 4).
    effort, keys
        Shape (units × activities,): times an average first unit's days; keys of its chances.
    calendar, chains
        Which days count; how to follow the last finish back.
    pools, left, held
        Shape (rows, paths): pools one below the other (days); days left and ends of holds
        (ticks).
    desk
        Room to march in; see ``desk_for``.
    first, end
        From which path to before which; ``first`` a multiple of ``IN_A_WORD``.
    horizon
        Shape (paths,): days that are likely enough; twice as many are taken where they are not.
    followed
        Before which path the last finish is followed back.
    days
        Shape (units × activities, paths), filled: the day of each finish, 0 for the first day
        from now.
    driven, lost
        Shape (headings × activities, codes), added to: ticks each link of the last chain
        accounts for, and those lost to weather within.
    """
    dry_code, dry_end, lost_chance, day_keys = calendar
    came_from, slot, stops, ends, earliest = chains
    at, at_counted, bound, mine, code, end_of = desk
    latest, last_cell = np.zeros(LANES, dtype=np.int32), np.zeros(LANES, dtype=np.int32)
    for begin in range(first, end, LANES):
        lanes = min(LANES, end - begin)
        for row in range(pools.shape[0]):
            for lane in range(LANES):
                mine[row * LANES + lane] = pools[row, min(begin + lane, end - 1)]
        days_ahead = horizon[begin : begin + lanes].max()
        while True:
            if days_ahead > code.shape[0]:
                code = np.empty((days_ahead, LANES), dtype=np.int16)
                end_of = np.empty(_row_of_ends(days_ahead) * LANES, dtype=np.int16)
            last = days_ahead - 1
            _draw_weather(code, end_of, lost_chance, day_keys, begin, days_ahead)
            at[slot.size :], at_counted[slot.size :] = NEVER, 0
            _walk(program, effort, keys, mine, left, held, begin, dry_code, dry_end, code, end_of,
                  last, at, at_counted, bound, begin < followed)  # fmt: skip
            _find_last(at, ends, latest, last_cell)
            if latest.max() >> BITS < last or days_ahead >= lost_chance.size:
                break
            days_ahead = min(2 * days_ahead, lost_chance.size)
        _keep_days(days, at, earliest, begin, lanes)
        _follow_back(
            at,
            at_counted,
            bound,
            last_cell,
            latest,
            min(lanes, max(followed - begin, 0)),
            came_from,
            slot,
            stops,
            dry_code,
            driven,
            lost,
        )
