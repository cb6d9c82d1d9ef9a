"""A line of the table: what was measured, what is allowed, what was found, whether it holds."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import shapely

FloatArray = npt.NDArray[np.float64]
Names = Sequence[Any] | npt.NDArray[Any]
_NAMED = 3


@dataclass(frozen=True, slots=True)
class Line:
    """One fact about a plan.

    Parameters
    ----------
    group : part of the plan, as a heading
    what : the fact, with its unit
    allowed : in words, with figures
    found : in words, with figures; names up to three features that break it
    holds : True or False; None where there is nothing to measure
    """

    group: str
    what: str
    allowed: str
    found: str
    holds: bool | None


def within(
    group: str,
    what: str,
    allowed: str,
    off: Sequence[float] | npt.NDArray[Any],
    names: Names,
    most: float,
    unit: str = "",
) -> Line:
    """A line about a measure of each feature that may not exceed a limit.

    Parameters
    ----------
    off : (n,) measure of each feature; not a number breaks the fact
    names : (n,) of the features
    most : greatest measure allowed
    unit : of the measure, for the words
    """
    values = np.asarray(off, dtype=np.float64)
    if values.size == 0:
        return Line(group, what, allowed, "none in this plan", None)
    bad = ~(values <= most)
    worst = float(np.max(np.where(np.isnan(values), np.inf, values)))
    found = f"at most {worst:.3g} {unit}".strip() + f", of {values.size}"
    if bad.any():
        found = f"{_list(names, bad)}; {found}"
    return Line(group, what, allowed, found, not bad.any())


def none_of(group: str, what: str, allowed: str, bad: Names, of: int | None = None) -> Line:
    """A line about features of which none may break a fact.

    Parameters
    ----------
    bad : names of those that do
    of : how many were looked at; None where that is not a number of features
    """
    if of == 0:
        return Line(group, what, allowed, "none in this plan", None)
    looked = f"all {of}" if of is not None else "as asked"
    if not len(bad):
        return Line(group, what, allowed, looked, True)
    return Line(group, what, allowed, _list(bad, np.ones(len(bad), dtype=bool)), False)


def disjoint(
    group: str, what: str, shapes: npt.NDArray[np.object_], names: npt.NDArray[Any]
) -> Line:
    """A line about areas of which no two may share more than 0.01 m²."""
    one, other = shapely.STRtree(shapes).query(shapes, predicate="intersects")
    pair = one < other
    one, other = one[pair], other[pair]
    if not len(one):
        return Line(group, what, "0.01 m²", "none meet", True)
    shared = shapely.area(shapely.intersection(shapes[one], shapes[other]))
    pairs = [f"{names[i]} on {names[j]}" for i, j in zip(one, other, strict=True)]
    return within(group, what, "0.01 m²", shared, pairs, 0.01, "m²")


def _list(names: Names, bad: npt.NDArray[np.bool_]) -> str:
    worst = [str(names[int(i)]) for i in np.flatnonzero(bad)]
    more = f" and {len(worst) - _NAMED} more" if len(worst) > _NAMED else ""
    return ", ".join(worst[:_NAMED]) + more
