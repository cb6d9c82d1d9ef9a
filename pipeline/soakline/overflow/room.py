"""Room for sills on a lip: as long as is asked for, over the best ways that are allowed."""

from collections.abc import Callable, Iterator, Sequence
from functools import partial
from itertools import chain

import numpy as np

from soakline.grid import BoolArray
from soakline.overflow.ranking import LONGEST_SILL_M, SHORTEST_SILL_M, Ways
from soakline.section.stations import IntArray
from soakline.section.stretches import Span
from soakline.siting.exits import Exit, Exits
from soakline.siting.stretches import Stretch

_APART_M = 1.0  # ground left between two sills of one lip
_GROWN_TIMES = 4
# Where sills are too short, places are tried this close together.
_CLOSE_M = 2.0

LaidSill = tuple[Exit, float, float]
"""Exit at its middle, from and to, m along a lip."""


def _free_span(way: Exit, used: list[Span]) -> Span | None:
    """The part of an exit's stretch around it that no sill takes yet."""
    low, high = way.stretch.start_m, way.stretch.end_m
    for start, end in used:
        if start - _APART_M < way.along_m < end + _APART_M:
            return None
        if end <= way.along_m:
            low = max(low, end + _APART_M)
        else:
            high = min(high, start - _APART_M)
    return (low, high) if high - low >= SHORTEST_SILL_M else None


def _sill_on(
    way: Exit, span: Span, length_m: float, allowed: BoolArray, ways: Ways
) -> LaidSill | None:
    """Sill of a length around an exit, walked again from its middle; None where that may not be.

    From its middle a long sill may lead elsewhere than the exit, but not by a way that is ranked
    after it: over the property's edge, or over a track.
    """
    start = min(max(way.along_m - length_m / 2.0, span[0]), span[1] - length_m)
    middle = ways.exit_at(way.stretch, way.swale, start + length_m / 2.0, way.at_end)
    if middle is None or not allowed[middle.goal]:
        return None
    if middle.crosses_track > way.crosses_track or ways.off_edge(middle) > ways.off_edge(way):
        return None
    return middle, start, start + length_m


def _longest(wanted_m: float, sill_of: Callable[[float], LaidSill | None]) -> LaidSill | None:
    """Longest sill up to the length wanted, about: halved until it may be, then grown again."""
    length, too_long = wanted_m, 0.0
    found = sill_of(length)
    while found is None:
        too_long = length
        length = length / 2.0 if length > SHORTEST_SILL_M * 2.0 else length - SHORTEST_SILL_M
        if length < SHORTEST_SILL_M:
            return None
        found = sill_of(length)
    for _ in range(_GROWN_TIMES if too_long > 0.0 else 0):
        between = (length + too_long) / 2.0
        longer = sill_of(between)
        if longer is None:
            too_long = between
        else:
            length, found = between, longer
    return found


def _further_ways(exits: Exits, swale: int, allowed: BoolArray, ways: Ways) -> Iterator[Exit]:
    """Ways from places between those tried at first, to goals that are allowed.

    Over no track nor the property's edge; natural stretches first, then along the lip.
    """
    own = exits.swale == swale
    stretches = np.unique(
        np.column_stack([exits.cut_in[own], exits.start_m[own], exits.end_m[own]]), axis=0
    )
    for cut_in, start, end in stretches.tolist():
        stretch = Stretch(start, end, bool(cut_in))
        for at in np.arange(start + _CLOSE_M / 2.0, end, _CLOSE_M).tolist():
            way = ways.exit_at(stretch, swale, at, at_end=False)
            if way is None or not allowed[way.goal] or way.crosses_track or ways.off_edge(way):
                continue
            yield way


def sills_laid(
    exits: Exits,
    best: IntArray,
    wanted_m: float,
    allowed: BoolArray,
    ways: Ways,
    before: Sequence[LaidSill] = (),
) -> list[LaidSill]:
    """Sills over the best exits, to goals that are allowed, until they are long enough.

    Parameters
    ----------
    exits : Exits
    best : places in `exits` of a swale's own, the best first
    wanted_m : length of all sills together, m
    allowed : (ends + 1,) bool, of each value of the end map
    ways : Ways
    before : sills of the swale that lie already, and count

    Returns
    -------
    those laid before, then the new ones
    """
    laid = list(before)
    missing = wanted_m - sum(end - start for _, start, end in laid)
    further = _further_ways(exits, int(exits.swale[best[0]]), allowed, ways) if best.size else ()
    for way in chain((exits.one(j) for j in best.tolist()), further):
        if missing < 1e-9:
            break
        span = _free_span(way, [(start, end) for _, start, end in laid])
        if span is None:
            continue
        wanted = min(LONGEST_SILL_M, max(missing, SHORTEST_SILL_M), span[1] - span[0])
        sill = _longest(wanted, partial(_sill_on, way, span, allowed=allowed, ways=ways))
        if sill is not None:
            laid.append(sill)
            missing -= sill[2] - sill[1]
    return laid
