"""A binary heap for compiled floods: whole numbers, the level above, and below it what is there.

Levels are float32 as whole numbers of the same order, so that one comparison of integers is all.
"""

import numba
import numpy as np
import numpy.typing as npt

from soakline.grid import GroundArray

KeyArray = npt.NDArray[np.uint32]
HeapArray = npt.NDArray[np.uint64]

_SIGN = np.uint32(0x80000000)


def order_keys(level_m: GroundArray) -> KeyArray:
    """Levels as whole numbers of the same order; no NaN among them.

    Examples
    --------
    >>> keys = order_keys(np.array([-2.5, -0.0, 0.0, 1.0], np.float32))
    >>> bool(keys[0] < keys[1] == keys[2] < keys[3])
    True
    """
    bits = (level_m + np.float32(0.0)).view(np.uint32)  # of the two zeros one
    return np.where(bits & _SIGN, ~bits, bits | _SIGN)


def levels_of(keys: KeyArray) -> GroundArray:
    """Inverse of `order_keys`."""
    return np.where(keys & _SIGN, keys ^ _SIGN, ~keys).view(np.float32)


@numba.njit(cache=True)
def pushed(heap: HeapArray, size: int, level: int, what: int) -> HeapArray:
    """The heap with one more entry; a longer copy where it was full.

    Parameters
    ----------
    heap : its first `size` entries
    level, what : under 2³²
    """
    if size == heap.size:
        longer = np.empty(2 * size, np.uint64)
        longer[:size] = heap
        heap = longer
    entry = np.uint64(level) << np.uint64(32) | np.uint64(what)
    at = size
    while at > 0:
        above = (at - 1) >> 1
        if heap[above] <= entry:
            break
        heap[at] = heap[above]
        at = above
    heap[at] = entry
    return heap


@numba.njit(cache=True)
def pop(heap: HeapArray, size: int) -> np.uint64:
    """Take the lowest of `size` entries out: the rest are the first `size` - 1."""
    lowest: np.uint64 = heap[0]
    size -= 1
    last = heap[size]
    at = 0
    while True:
        below = 2 * at + 1
        if below >= size:
            break
        if below + 1 < size and heap[below + 1] < heap[below]:
            below += 1
        if heap[below] >= last:
            break
        heap[at] = heap[below]
        at = below
    heap[at] = last
    return lowest
