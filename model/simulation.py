"""Many marches down the line: the day of every finish on every path, and what drove the last.

There are two ways to march, which give the same: NumPy goes from cell to cell with all paths
of a block at once; the compiled one (``model.march_kernel``; needs Numba) goes from path to
path and is many times faster, but its first call in a process costs a second or so, and the
first on a machine several more, while it is compiled. Which one goes is chosen here alone.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import cache
from importlib.util import find_spec
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from numpy.typing import NDArray

from model.drivers import driven_days
from model.line import BOUND_AFTER, SMALL, TICKS, Days
from model.line_now import LineNow, Luck

if TYPE_CHECKING:
    from model.march_program import Program

Way = Literal["numpy", "compiled"]
OnBlock = Callable[[int, int], bool]

COMPILED_FROM = 20_000_000
"""Units × activities × paths from which on the compiled march pays for its first call."""

CELLS_AT_ONCE = 12_000_000
"""Units × activities × paths that NumPy marches at once: about 200 MB."""

COMPILED_BLOCK = 512
"""Paths that one thread marches before it says so."""

KERNEL = "model.march_kernel"


@dataclass(frozen=True)
class Simulation:
    """What many marches gave.

    Parameters
    ----------
    days
        Shape (units, activities, paths): the day each finish falls on, 0 for the day after
        ``as_of``; below 0 only for what is finished.
    driven, lost
        Shape (headings, activities, codes): days on the chains of work that end last, all
        paths together, by what the work waited for (``BOUND_…``); and those lost to weather.
    """

    days: NDArray[np.int16]
    driven: NDArray[np.float64]
    lost: NDArray[np.float64]

    @property
    def paths(self) -> int:
        """How many paths were marched."""
        return int(self.days.shape[2])


@cache
def can_compile() -> bool:
    """Tell whether the compiler is installed."""
    return find_spec("numba") is not None


def way_for(cells: int) -> Way:
    """Choose the way to march so many units × activities × paths.

    The compiled one where it is there and either pays for its first call or has been called.
    """
    worth_it = cells >= COMPILED_FROM or KERNEL in sys.modules
    return "compiled" if worth_it and can_compile() else "numpy"


def simulate(
    now: LineNow,
    paths: int,
    seed: int,
    *,
    way: Way | None = None,
    on_block: OnBlock | None = None,
) -> Simulation:
    """March a line many times.

    Parameters
    ----------
    now
        Where it stands.
    paths, seed
        How many times; the same seed gives the same days, whichever way is gone.
    way
        Which way; by default the one that is sooner done.
    on_block
        Called after every block with the paths done and the paths in all; the rest is left
        out where it returns False.
    """
    luck = now.luck(paths, seed)
    blocks = {"numpy": _by_numpy, "compiled": _by_kernel}
    days = np.empty((*now.finished.shape, paths), dtype=np.int16)
    shape = len(now.runs), len(now.activities), BOUND_AFTER + len(now.activities)
    driven, lost = np.zeros(shape), np.zeros(shape)
    done = 0
    march = blocks[way or way_for(now.finished.size * paths)]
    for done, driven_here, lost_here in march(now, luck, days):
        driven += driven_here
        lost += lost_here
        if on_block is not None and not on_block(done, paths):
            break
    return Simulation(days[..., :done], driven, lost)


def day_numbers(finish: Days, to_do: NDArray[np.bool_]) -> NDArray[np.int16]:
    """Return the day each finish falls on, 0 for the day after ``as_of``.

    What is not finished is not given a day that has passed: a cure that has run its days, but
    is not recorded as finished, is given the next.

    Parameters
    ----------
    finish
        Shape (units, activities, paths), days from now.
    to_do
        Shape (units, activities): what is not finished.
    """
    days = np.asarray(np.ceil(finish - finish.dtype.type(SMALL)) - 1).astype(np.int16)
    np.maximum(days, np.where(to_do, 0, -(2**15)).astype(np.int16)[..., None], out=days)
    return days


Block = tuple[int, NDArray[Any], NDArray[Any]]
"""Paths done so far; days driven and lost on those of the block."""


def _by_numpy(now: LineNow, luck: Luck, days: NDArray[np.int16]) -> Iterator[Block]:
    """March block by block in NumPy."""
    size = max(CELLS_AT_ONCE // now.finished.size // 4 * 4, 4)
    for first in range(0, luck.paths, size):
        last = min(first + size, luck.paths)
        marched, counter = now.march(now.draws(luck, first, last))
        days[..., first:last] = day_numbers(marched.finish, now.to_do)
        yield (last, *driven_days(marched, counter))


def _by_kernel(now: LineNow, luck: Luck, days: NDArray[np.int16]) -> Iterator[Block]:
    """March block by block compiled, a thread on every core."""
    # Not before it is asked for: importing the compiler takes as long as a small forecast.
    from model.march_program import program_of

    program, horizon = program_of(now, luck), now.guess_days(luck).astype(np.int32)
    firsts = range(0, luck.paths, COMPILED_BLOCK)
    with ThreadPoolExecutor(_cores()) as threads:
        blocks = [
            threads.submit(_compiled_block, program, first, horizon, days) for first in firsts
        ]
        try:
            for first, block in zip(firsts, blocks, strict=True):
                driven, lost = block.result()
                yield min(first + COMPILED_BLOCK, luck.paths), driven / TICKS, lost / TICKS
        finally:
            threads.shutdown(cancel_futures=True)


def _compiled_block(
    program: Program, first: int, horizon: NDArray[np.int32], days: NDArray[np.int16]
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """March one block and return the ticks driven and lost."""
    from model.march_kernel import march_paths

    activities, paths = days.shape[1:]
    slots, codes = program.chains.slot.max() + 1, program.chains.came_from.shape[1]
    driven, lost = np.zeros((2, slots, codes), dtype=np.int64)
    march_paths(
        program.steps, program.effort, program.keys, program.calendar, program.chains,
        program.pools, program.left, program.held, program.cells,
        first, min(first + COMPILED_BLOCK, paths), horizon, days.reshape(-1, paths), driven, lost,
    )  # fmt: skip
    shape = slots // activities, activities, codes
    return driven.reshape(shape), lost.reshape(shape)


def _cores() -> int:
    """Return how many cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1
