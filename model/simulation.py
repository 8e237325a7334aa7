"""Many marches down the line: the day of every finish on every path, and what drove the last.

There are two ways to march, which give the same: NumPy goes from cell to cell with all paths
of a block at once; the compiled one (``model.march_kernel``; needs Numba) goes from path to
path and is many times faster, but its first call in a process costs a second or so, and the
first on a machine several more, while it is compiled. Which one goes is chosen here alone: a
program that lives long gets the compiled one ready while it serves (``get_ready``) and marches
in NumPy until then; a short one pays for the first call only where there is much to march.
"""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import cache
from importlib.util import find_spec
from queue import SimpleQueue
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from numpy.typing import NDArray

from model.drivers import FOLLOWED, driven_days
from model.line import BOUND_AFTER, SMALL, TICKS, Days, March
from model.line_now import LineNow, Luck

if TYPE_CHECKING:
    from model.march_kernel import Desk
    from model.march_program import Program

Way = Literal["numpy", "compiled"]
OnBlock = Callable[[int, int], bool]

COMPILED_FROM = 20_000_000
"""Units × activities × paths from which on the compiled march pays for its first call."""

CELLS_AT_ONCE = 12_000_000
"""Units × activities × paths that NumPy marches at once: about 200 MB."""

COMPILED_BLOCK = 512
"""Paths that one thread marches before it says so."""


@dataclass
class Kernel:
    """Whether the compiled march can be called without waiting for it.

    Parameters
    ----------
    ready
        It has been called in this process.
    awaited
        Something else gets it ready: nobody who marches should.
    """

    ready: bool = False
    awaited: bool = False


KERNEL = Kernel()
"""Of this process: code that is loaded is there for every project in it."""


@dataclass(frozen=True)
class Simulation:
    """What many marches gave.

    Parameters
    ----------
    days
        Shape (units, activities, paths): the day each finish falls on, 0 for the day after
        ``as_of``; below 0 only for what is finished.
    driven, lost
        Shape (headings, activities, codes): days on the chains of work that end last, by what
        the work waited for (``BOUND_…``), all paths that are followed back together; and those
        lost to weather.
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


def way_for(cells: int, kernel: Kernel | None = None) -> Way:
    """Choose the way to march so many units × activities × paths.

    The compiled one where it is there and has been called, or pays for its first call and
    nothing else gets it ready.

    Parameters
    ----------
    cells
        How many.
    kernel
        Whether the compiled march is ready; that of this process by default.
    """
    kernel = kernel or KERNEL
    worth_it = cells >= COMPILED_FROM and not kernel.awaited
    return "compiled" if can_compile() and (kernel.ready or worth_it) else "numpy"


def await_kernel(kernel: Kernel | None = None) -> None:
    """Leave it to ``get_ready`` to get the compiled march ready; NumPy marches until then."""
    (kernel or KERNEL).awaited = True


def get_ready(now: LineNow) -> None:
    """Load the compiled march, or compile it: march a line once.

    Nothing is done where the compiler is not installed.

    Parameters
    ----------
    now
        Any line.

    Raises
    ------
    ImportError
        When the compiler does not fit what else is installed.
    OSError
        When what it compiled cannot be kept where it chose to.
    RuntimeError
        When it finds no such place at all, or fails at the march itself.
    """
    if not can_compile():
        return
    from numba.core.errors import NumbaError

    try:
        march_days(now, now.luck(COMPILED_BLOCK, seed=0), way="compiled", keep_starts=True)
    except NumbaError as error:
        said = str(error).strip().partition("\n")[0] or type(error).__name__
        raise RuntimeError(said) from error


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
    days = np.empty((1, *now.finished.shape, paths), dtype=np.int16)
    shape = len(now.runs), len(now.activities), BOUND_AFTER + len(now.activities)
    driven, lost = np.zeros(shape), np.zeros(shape)
    done = 0
    march = blocks[way or way_for(now.finished.size * paths)]
    for done, driven_here, lost_here in march(now, luck, days):
        driven += driven_here
        lost += lost_here
        if on_block is not None and not on_block(done, paths):
            break
    return Simulation(days[0, ..., :done], driven, lost)


@dataclass(frozen=True)
class MarchedDays:
    """The days of many marches.

    Parameters
    ----------
    finish
        Shape (units, activities, paths): as ``Simulation.days``.
    start
        The same shape: the day each start falls on, 0 for the day after ``as_of``. Only for
        what is to do and has a crew; elsewhere it means nothing. None unless asked for.
    """

    finish: NDArray[np.int16]
    start: NDArray[np.int16] | None = None


def march_days(
    now: LineNow,
    luck: Luck,
    *,
    way: Way | None = None,
    keep_starts: bool = False,
) -> MarchedDays:
    """March a line many times without asking what drives it.

    Parameters
    ----------
    now
        Where it stands.
    luck
        As ``LineNow.luck`` gives it.
    way
        Which way; by default the one that is sooner done.
    keep_starts
        Whether to keep starts as well as finishes.
    """
    days = np.empty((1 + keep_starts, *now.finished.shape, luck.paths), dtype=np.int16)
    if (way or way_for(now.finished.size * luck.paths)) == "compiled":
        deque(_by_kernel(now, luck, days, followed=0), maxlen=0)
    else:
        for first, last in _numpy_blocks(now, luck):
            marched, _ = now.march(now.draws(luck, first, last), keep_starts=keep_starts)
            _keep_days(now, marched, days[..., first:last])
    return MarchedDays(*days)


def _keep_days(now: LineNow, marched: March, days: NDArray[np.int16]) -> None:
    """Keep the days of a march's finishes and, where there is room, of its starts."""
    days[0] = day_numbers(marched.finish, now.to_do)
    if len(days) > 1 and marched.start is not None:
        days[1] = np.nan_to_num(np.floor(marched.start))


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
    for first, last in _numpy_blocks(now, luck):
        marched, counter = now.march(now.draws(luck, first, last))
        _keep_days(now, marched, days[..., first:last])
        yield (last, *driven_days(marched, counter, max(FOLLOWED - first, 0)))


def _numpy_blocks(now: LineNow, luck: Luck) -> Iterator[tuple[int, int]]:
    """Return the first path of each block that NumPy marches at once, and the end of it."""
    size = max(CELLS_AT_ONCE // now.finished.size // 4 * 4, 4)
    for first in range(0, luck.paths, size):
        yield first, min(first + size, luck.paths)


def _by_kernel(
    now: LineNow, luck: Luck, days: NDArray[np.int16], followed: int | None = None
) -> Iterator[Block]:
    """March block by block compiled, a thread on every core."""
    followed = FOLLOWED if followed is None else followed
    # Not before it is asked for: importing the compiler takes as long as a small forecast.
    from model.march_kernel import desk_for
    from model.march_program import program_of

    program = program_of(now, luck, keep_starts=len(days) > 1)
    horizon, flat = now.guess_days(luck).astype(np.int32), days.reshape(-1, luck.paths)
    firsts = range(0, luck.paths, COMPILED_BLOCK)
    workers = min(_cores(), len(firsts))
    desks: SimpleQueue[Desk] = SimpleQueue()
    for _ in range(workers):
        desks.put(desk_for(program.cells, len(program.pools), int(horizon.max())))
    with ThreadPoolExecutor(workers) as threads:
        blocks = [
            threads.submit(_compiled_block, program, first, horizon, flat, desks, followed)
            for first in firsts
        ]
        try:
            for first, block in zip(firsts, blocks, strict=True):
                driven, lost = (
                    ticks.reshape(len(now.runs), len(now.activities), -1) / TICKS
                    for ticks in block.result()
                )
                KERNEL.ready = True
                yield min(first + COMPILED_BLOCK, luck.paths), driven, lost
        finally:
            threads.shutdown(cancel_futures=True)


def _compiled_block(
    program: Program,
    first: int,
    horizon: NDArray[np.int32],
    days: NDArray[np.int16],
    desks: SimpleQueue[Desk],
    followed: int,
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """March one block and return the ticks driven and lost, by heading and activity."""
    from model.march_kernel import march_paths

    paths = days.shape[1]
    slots, codes = program.chains.slot.max() + 1, program.chains.came_from.shape[1]
    driven, lost = np.zeros((2, slots, codes), dtype=np.int64)
    desk = desks.get()
    try:
        march_paths(
            program.steps, program.effort, program.keys, program.calendar, program.chains,
            program.pools, program.left, program.held, desk,
            first, min(first + COMPILED_BLOCK, paths), horizon, followed, days, driven, lost,
        )  # fmt: skip
    finally:
        desks.put(desk)
    return driven, lost


def _cores() -> int:
    """Return how many cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1
