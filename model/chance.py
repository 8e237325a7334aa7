"""Chance that is looked up by place: the same draw for the same seed, unit and path.

A generator that counts: the n-th number of a stream is a mix of its key and n, so any part of
a stream can be drawn without the rest, by whoever needs it and in any order. Paths can then be
marched in blocks, by several threads, in NumPy or compiled, and every way draws the same.

References
----------
.. [1] Steele, G. L., Lea, D. and Flood, C. H. (2014), Fast Splittable Pseudorandom Number
   Generators, OOPSLA 2014 (from memory): SplitMix64, the mix used here.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

GAMMA = 0x9E3779B97F4A7C15
MIX_1, MIX_2 = 0xBF58476D1CE4E5B9, 0x94D049BB133111EB
ONES = (1 << 64) - 1

CHANCES = 65_536
"""A chance is a whole number from 0 to one less than this."""

IN_A_WORD = 4
"""Chances in a number of 64 bits; a block of paths begins at a multiple of it."""

WORDS_AT_ONCE = 6_144
"""As many as stay in a core's cache while they are mixed."""

Keys = NDArray[np.uint64]


def mix(words: Keys) -> Keys:
    """Mix every number's bits, in place."""
    spare = words >> np.uint64(30)
    words ^= spare
    words *= np.uint64(MIX_1)
    np.right_shift(words, np.uint64(27), out=spare)
    words ^= spare
    words *= np.uint64(MIX_2)
    np.right_shift(words, np.uint64(31), out=spare)
    words ^= spare
    return words


def keys(seed: int, *place: ArrayLike) -> Keys:
    """Return the key of the stream of each place.

    Parameters
    ----------
    seed
        Any whole number.
    place
        Whole numbers of 0 or more, or arrays of them that go together.

    Examples
    --------
    >>> keys(1, 0, [7, 8]).tolist() == [int(keys(1, 0, 7)), int(keys(1, 0, 8))]
    True
    """
    key = mix(np.array([(seed * GAMMA + GAMMA) & ONES], dtype=np.uint64))
    for part in place:
        step = (np.atleast_1d(np.asarray(part, dtype=np.uint64)) + np.uint64(1)) * np.uint64(GAMMA)
        key = mix(key + step)
    return key.reshape(np.broadcast_shapes(*(np.shape(part) for part in place)))


def chances(streams: Keys, first: int, paths: int) -> NDArray[np.uint16]:
    """Draw one chance of every stream on some paths.

    Parameters
    ----------
    streams
        Shape (streams,): their keys.
    first, paths
        The first path, a multiple of ``IN_A_WORD``, and how many.

    Returns
    -------
    array of uint16
        Shape (streams, paths), evenly distributed over 0 … 65,535.
    """
    words = -(-paths // IN_A_WORD)
    number = np.arange(1, words + 1, dtype=np.uint64) + np.uint64(first // IN_A_WORD)
    number *= np.uint64(GAMMA)
    drawn = np.empty((streams.size, words), dtype="<u8")
    rows = max(WORDS_AT_ONCE // max(words, 1), 1)
    for row in range(0, streams.size, rows):
        drawn[row : row + rows] = mix(streams[row : row + rows, None] + number)
    return drawn.view("<u2")[:, :paths]
