"""Footprints that would meet: hairpins, narrow ridges and lines that come too close."""

import numba
import numpy as np
import numpy.typing as npt
import shapely

from soakline.grid import BoolArray, FloatArray
from soakline.siting.stations import STATION_M, Stations, quads

# Half of what two footprints keep between them.
_APART_M = 0.6
# Along a bend the arc is longer than the chord: up to this much, stations are neighbours.
_BEND_RATIO = 1.6
_NEIGHBOUR_M = 4.0
# A line that comes back to itself within this length is a hairpin: the bend itself is left out.
_HAIRPIN_M = 80.0


@numba.njit(cache=True)
def _resolve(
    first: npt.NDArray[np.int64],
    second: npt.NDArray[np.int64],
    line: npt.NDArray[np.int64],
    hairpin: BoolArray,
    length_m: FloatArray,
    blocked: BoolArray,
) -> None:
    """Block stations until no pair is left whole; the longer of two lines keeps its ground."""
    for p in range(first.size):
        i, j = first[p], second[p]
        if blocked[i] or blocked[j]:
            continue
        if hairpin[p]:
            blocked[i : j + 1] = True
        elif length_m[line[i]] < length_m[line[j]]:
            blocked[i] = True
        else:
            blocked[j] = True


def meeting_stations(
    stations: Stations,
    line: npt.NDArray[np.int64],
    closed: BoolArray,
    uphill_m: FloatArray,
    downhill_m: FloatArray,
) -> BoolArray:
    """Stations to give up so that no two footprints meet.

    Parameters
    ----------
    stations : Stations of all lines, one line after the other
    line : (n,) index of each station's line
    closed : (lines,) bool; whether a line is a ring
    uphill_m, downhill_m : (n,) reach on both sides, m

    Returns
    -------
    (n,) bool
    """
    blocked = np.zeros(line.size, dtype=bool)
    if line.size < 2:
        return blocked
    from scipy.spatial import cKDTree  # noqa: PLC0415 - slow to load, no rerun needs it

    length = np.zeros(closed.size)
    np.maximum.at(length, line, stations.along_m)
    room = 2.0 * float(max(uphill_m.max(), downhill_m.max())) + 2.0 * _APART_M
    place = np.column_stack([stations.easting_m, stations.northing_m])
    pairs = cKDTree(place).query_pairs(room, output_type="ndarray")
    first, second = pairs.min(axis=1), pairs.max(axis=1)
    apart = np.hypot(*(place[first] - place[second]).T)
    same = line[first] == line[second]
    arc = np.abs(stations.along_m[first] - stations.along_m[second])
    ring = closed[line[first]] & same
    arc = np.where(ring, np.minimum(arc, length[line[first]] - arc), arc)
    wraps = ring & (arc < np.abs(stations.along_m[first] - stations.along_m[second]) - 1e-9)
    far = ~same | (arc > _BEND_RATIO * apart + _NEIGHBOUR_M)
    first, second, arc, same, wraps = (a[far] for a in (first, second, arc, same, wraps))

    strips = quads(stations, uphill_m + _APART_M, downhill_m + _APART_M)
    at_first = np.minimum(first, strips.size - 1)
    at_second = np.minimum(second, strips.size - 1)
    # The strip after the last station of a line, or before a gap, belongs to nobody: take the one
    # before.
    gap = np.diff(stations.along_m) > 1.5 * STATION_M
    ends = np.concatenate([(line[1:] != line[:-1]) | gap, [True]])
    at_first = np.where(ends[first], first - 1, at_first)
    at_second = np.where(ends[second], second - 1, at_second)
    meets = shapely.intersects(strips[at_first], strips[at_second])
    first, second, arc, same, wraps = (a[meets] for a in (first, second, arc, same, wraps))
    order = np.lexsort((second, first, arc, ~same))
    hairpin = same & (arc < _HAIRPIN_M) & ~wraps
    _resolve(first[order], second[order], line, hairpin[order], length, blocked)
    return blocked
