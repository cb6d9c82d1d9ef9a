"""Long lips split into pieces whose ground works stand apart."""

from collections.abc import Iterator, Sequence

import numpy as np
import shapely

from soakline.siting.lines import END_GAP_M, END_ROOM_M, LipLine, PlacingLimits
from soakline.siting.stations import Siteable, quads, stations_along
from soakline.terrain.cells import GeometryArray

_APART_M = 1.0
# Ends are looked at over this length, and drawn back by this much at a time.
_END_M = 25.0
_STEP_M = 1.0
_MOST_STEPS = 20
# Straight from end to end, and how far each of two is drawn back at a time.
_ENDS_APART_M = 5.05
_BACK_M = 0.25
_MOST_ROUNDS = 80
# The works of ends farther apart than this do not meet.
_LOOKED_AT_M = 15.0


def _equal_pieces(line: LipLine, limits: PlacingLimits) -> Iterator[LipLine]:
    """Equal pieces no longer than allowed, ends apart; a short ring stays whole."""
    length = line.length_m
    if line.closed and length <= limits.max_length_m + END_GAP_M:
        yield line  # it will be opened by more than that
        return
    if line.closed:
        count = int(np.ceil(length / (limits.max_length_m + END_GAP_M) - 1e-9))
        piece = length / count - END_GAP_M
    else:
        count = int(np.ceil((length + END_GAP_M) / (limits.max_length_m + END_GAP_M) - 1e-9))
        piece = (length - (count - 1) * END_GAP_M) / count
    for i in range(count):
        start = i * (piece + END_GAP_M)
        yield line.part(start, min(start + piece, length))


def _end_works(line: LipLine, siteable: Siteable, *, at_start: bool) -> GeometryArray:
    """Strips of the ground works over the last metres of a lip, the mound's turn included."""
    length = line.length_m
    part = (
        line.part(0.0, min(_END_M, length))
        if at_start
        else line.part(max(0.0, length - _END_M), length)
    )
    stations = stations_along(part.coordinates)
    uphill, downhill = siteable.reach_at(stations.easting_m, stations.northing_m)
    strips = quads(stations, uphill, downhill)
    end = strips[0] if at_start else strips[-1]
    return np.append(strips, shapely.buffer(end, END_ROOM_M, join_style="mitre"))


def _drawn_apart(one: LipLine, other: LipLine, siteable: Siteable) -> tuple[LipLine, LipLine]:
    """Two neighbours on a level line, their ends drawn back until their works stand 1 m apart.

    Where a line is split at a sharp bend the works on its inner side would meet across the bend.
    """
    for _ in range(_MOST_STEPS):
        meet = _works_meet((one, other), (0, 1), (1, 0), siteable)
        if not meet or min(one.length_m, other.length_m) <= 2.0 * _STEP_M:
            break
        one = one.part(0.0, one.length_m - _STEP_M)
        other = other.part(_STEP_M, other.length_m)
    return one, other


def split(line: LipLine, siteable: Siteable, limits: PlacingLimits) -> list[LipLine]:
    """Pieces of a lip no longer than allowed, their footprints 1 m and their ends 5 m apart.

    Parameters
    ----------
    line : LipLine
    siteable : Siteable
    limits : PlacingLimits

    Returns
    -------
    the pieces in order along the line; a ring that its opening makes short enough stays whole
    """
    pieces = list(_equal_pieces(line, limits))
    for i in range(len(pieces) - 1):
        pieces[i], pieces[i + 1] = _drawn_apart(pieces[i], pieces[i + 1], siteable)
    if line.closed and len(pieces) > 1:
        pieces[-1], pieces[0] = _drawn_apart(pieces[-1], pieces[0], siteable)
    return pieces


def ends_apart(
    lines: Sequence[LipLine], siteable: Siteable, limits: PlacingLimits
) -> list[LipLine]:
    """Lips of one level with ends 5 m and ground works 1 m apart, however they came to end there.

    Where a spot between two pieces is left out for its ground, their ends may face each other over
    less than that, or their mounds meet inside a bend. Both are drawn back alike; what gets shorter
    than a swale may be is left out.

    Parameters
    ----------
    lines : LipLine
    siteable : Siteable
    limits : PlacingLimits

    Returns
    -------
    the lips in their order
    """
    kept = list(lines)
    for _ in range(_MOST_ROUNDS):
        close = _close_ends(kept, siteable)
        if not close:
            break
        kept = [
            line.part(_BACK_M * ((i, 0) in close), line.length_m - _BACK_M * ((i, 1) in close))
            if (i, 0) in close or (i, 1) in close
            else line
            for i, line in enumerate(kept)
        ]
        kept = [line for line in kept if line.length_m >= limits.min_length_m]
    return kept


def _close_ends(lines: Sequence[LipLine], siteable: Siteable) -> set[tuple[int, int]]:
    """Ends too close to another's of their level: line, and 0 for its start or 1 for its end."""
    ends = [(i, at) for i, line in enumerate(lines) if not line.closed for at in (0, 1)]
    coordinates = np.array([lines[i].coordinates[-at] for i, at in ends]).reshape(-1, 2)
    places = np.asarray(shapely.points(coordinates))
    tree = shapely.STRtree(places)
    pairs = zip(*tree.query(places, predicate="dwithin", distance=_LOOKED_AT_M), strict=True)
    close = set()
    for one, other in ((ends[a], ends[b]) for a, b in pairs if a < b):
        own, theirs = lines[one[0]], lines[other[0]]
        if own is theirs or own.level_m != theirs.level_m:
            continue
        apart_m = np.hypot(*(own.coordinates[-one[1]] - theirs.coordinates[-other[1]]))
        if apart_m < _ENDS_APART_M or _works_meet(lines, one, other, siteable):
            close |= {one, other}
    return close


def _works_meet(
    lines: Sequence[LipLine], one: tuple[int, int], other: tuple[int, int], siteable: Siteable
) -> bool:
    """Whether the works at two ends come within a metre."""
    own, theirs = (_end_works(lines[i], siteable, at_start=at == 0) for i, at in (one, other))
    near = shapely.STRtree(own).query(theirs, predicate="dwithin", distance=_APART_M)
    return bool(near.size)
