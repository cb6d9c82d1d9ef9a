"""Which stretches of lips carry the mound, and which are sills that it leaves open."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from soakline.grid import BoolArray, FloatArray
from soakline.section.stations import IntArray

Span = tuple[float, float]
"""From and to, m along a lip."""

# No machine heaps less than this between two sills.
SHORTEST_MOUND_M = 3.0
# A stretch that begins this near to the lip's end begins there.
AT_END_M = 0.1
# What is shorter is no stretch.
_NOTHING_M = 1e-6


@dataclass(frozen=True, eq=False, slots=True)
class Stretches:
    """Stretches of lips one after another, the whole of each lip; all (n,).

    Parameters
    ----------
    lip : rising
    start_m, end_m : along the lip, m
    sill : bool
    mounded : bool; it carries the mound
    """

    lip: IntArray
    start_m: FloatArray
    end_m: FloatArray
    sill: BoolArray
    mounded: BoolArray

    def mounded_m(self) -> FloatArray:
        """Length of each lip that carries the mound, (lips,) m."""
        carries = np.where(self.mounded, self.end_m - self.start_m, 0.0)
        return np.bincount(self.lip, weights=carries).astype(float)

    def where(self, wanted: BoolArray) -> "Stretches":
        """Some of them; (n,) bool."""
        return Stretches(
            self.lip[wanted],
            self.start_m[wanted],
            self.end_m[wanted],
            self.sill[wanted],
            self.mounded[wanted],
        )


def joined(spans_m: Sequence[Span]) -> list[Span]:
    """Spans in order, those that meet made one.

    Examples
    --------
    >>> joined([(5.0, 9.0), (0.0, 5.0), (20.0, 22.0)])
    [(0.0, 9.0), (20.0, 22.0)]
    """
    kept: list[Span] = []
    for start, end in sorted(spans_m):
        if kept and start <= kept[-1][1]:
            kept[-1] = (kept[-1][0], max(kept[-1][1], end))
        else:
            kept.append((start, end))
    return kept


def stretches(length_m: FloatArray, sills_m: Sequence[Sequence[Span]]) -> Stretches:
    """Stretches between the ends and sills of lips.

    Parameters
    ----------
    length_m : (lips,) m
    sills_m : of each lip, start and end of its sills, m along the lip

    Returns
    -------
    Stretches; natural ground shorter than 3 m between two sills carries no mound

    Examples
    --------
    >>> found = stretches(np.array([100.0]), [[(20.0, 30.0), (31.0, 41.0)]])
    >>> found.start_m[found.mounded], found.end_m[found.mounded]
    (array([ 0., 41.]), array([ 20., 100.]))
    """
    edges = [
        [0.0, *(edge for sill in sorted(own) for edge in sill), length]
        for length, own in zip(length_m.tolist(), sills_m, strict=True)
    ]
    number = [len(own) - 1 for own in edges]
    lip = np.repeat(np.arange(len(edges)), number)
    start = np.array([edge for own in edges for edge in own[:-1]], dtype=float)
    end = np.array([edge for own in edges for edge in own[1:]], dtype=float)
    sill = np.array([i % 2 == 1 for own in number for i in range(own)], dtype=bool)
    mounded = ~sill & (end - start >= SHORTEST_MOUND_M)
    return Stretches(lip, start, end, sill, mounded).where(end - start > _NOTHING_M)
