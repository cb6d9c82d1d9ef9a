"""Which swales are windbreaks, and which stand in their shelter."""

from dataclasses import dataclass

import numpy as np

from soakline.grid import BoolArray, FloatArray
from soakline.section.stations import IntArray

LEAST_MET = 0.5
"""Share of the prevailing wind that a windbreak has to meet: that of a line over open ground 30°
off the wind's own direction. Common practice, no source."""

IN_SHELTER = 0.5
"""Share of the prevailing wind kept off from which a swale counts as sheltered: common practice, no
source."""

# Levels of lips nearer than this share of their interval are one level.
_SAME_LEVEL = 0.2


@dataclass(frozen=True, eq=False, slots=True)
class Windbreaks:
    """Wind on every swale; all (swales,).

    Parameters
    ----------
    chosen : swales that are windbreaks
    met : share of the prevailing wind that meets the swale, squareness and higher land upwind
        counted; NaN where no table of wind is given
    sheltered : share of the prevailing wind that windbreaks and higher land keep off; NaN likewise
    height_m : of the windbreak's lowest species when full-grown; NaN where it is none
    """

    chosen: BoolArray
    met: FloatArray
    sheltered: FloatArray
    height_m: FloatArray

    @classmethod
    def none(cls, swales: int) -> "Windbreaks":
        """Of a plan without a table of wind."""
        unknown = np.full(swales, np.nan)
        return cls(np.zeros(swales, dtype=bool), unknown, unknown, unknown)

    @property
    def in_shelter(self) -> BoolArray:
        """Production swales in shelter, (swales,)."""
        return ~self.chosen & (self.sheltered >= IN_SHELTER - 1e-9)


def ranks_of(level_m: FloatArray, interval_m: FloatArray) -> IntArray:
    """Number of each level from the highest, 0, down; lips of nearly one level share it.

    Examples
    --------
    >>> ranks_of(np.array([84.0, 100.0, 92.01, 92.0]), np.full(4, 8.0))
    array([2, 0, 1, 1])
    """
    order = np.argsort(-level_m, kind="stable")
    lower = -np.diff(level_m[order], prepend=level_m[order][:1])
    rank = np.empty(level_m.size, dtype=np.int64)
    rank[order] = np.cumsum(lower > _SAME_LEVEL * interval_m.min(initial=np.inf))
    return rank


def choose(
    rank: IntArray, met: FloatArray, length_m: FloatArray, near_ridge: BoolArray, every: int
) -> BoolArray:
    """Windbreaks among swales whose levels run on from each other.

    Parameters
    ----------
    rank : (n,) of the levels, as of `ranks_of`
    met : (n,) share of the prevailing wind that meets each
    length_m : (n,) m
    near_ridge : (n,) swales that no other stands above, below a crest
    every : levels from one windbreak to the next

    Returns
    -------
    (n,) bool: on the series of levels, `every` apart, that meets the most wind, and those nearest a
    ridge; of both only what meets `LEAST_MET` of the wind. Fewer levels than `every` leave the
    ridge alone, a single level has none.
    """
    levels = int(rank.max(initial=-1)) + 1
    if levels < 2:
        return np.zeros(rank.size, dtype=bool)
    meets = met >= LEAST_MET - 1e-9
    chosen = near_ridge & meets
    if levels >= every:
        caught = np.bincount(rank % every, np.where(meets, met * length_m, 0.0), every)
        chosen |= meets & (rank % every == int(np.argmax(caught)))
    return np.asarray(chosen)
