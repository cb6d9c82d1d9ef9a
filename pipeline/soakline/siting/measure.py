"""Spacing as built, measured between the lines and not assumed."""

import numpy as np
import shapely

from soakline.grid import FloatArray
from soakline.siting.lines import LipLine
from soakline.terrain.cells import GeometryArray

_PEG_M = 10.0
_LEAST, _MOST = 0.25, 1.5


def spacing_above(
    lines: list[LipLine], interval_m: FloatArray, slope_pct: FloatArray, drainage: GeometryArray
) -> tuple[FloatArray, FloatArray]:
    """Distance and level difference to the next swale uphill.

    Parameters
    ----------
    lines : LipLine
    interval_m : (lines,) vertical interval that each is laid by, H unless another rule sets it
    slope_pct : (lines,) mean slope across each, %
    drainage : drainage lines as drawn

    Returns
    -------
    (lines,) mean distance in plan and (lines,) mean level difference, m; NaN where fewer than half
    of the pegs, 10 m apart, find a swale 0.25 to 1.5 intervals higher within 1.5 times the interval
    over tan(slope) with no drainage line between
    """
    count = len(lines)
    empty = np.full(count, np.nan)
    if count < 2:
        return empty, empty.copy()
    lips = np.empty(count, dtype=object)
    lips[:] = [shapely.linestrings(line.coordinates) for line in lines]
    along = [np.arange(0.0, float(length) + 1e-9, _PEG_M) for length in shapely.length(lips)]
    index = np.repeat(np.arange(count), [own.size for own in along])
    pegs = np.asarray(shapely.line_interpolate_point(lips[index], np.concatenate(along)))
    level = np.array([line.level_m for line in lines])
    reach = _MOST * interval_m * 100.0 / np.maximum(slope_pct, 0.1)
    peg, other = shapely.STRtree(lips).query(pegs, predicate="dwithin", distance=reach[index])
    rise = level[other] - level[index[peg]]
    height = interval_m[index[peg]]
    fits = (rise >= _LEAST * height - 1e-9) & (rise <= _MOST * height + 1e-9)
    peg, other, rise = peg[fits], other[fits], rise[fits]
    distance = np.asarray(shapely.distance(pegs[peg], lips[other]))
    order = np.lexsort((other, distance, peg))
    peg, other, rise, distance = peg[order], other[order], rise[order], distance[order]
    first = np.concatenate([[True], peg[1:] != peg[:-1]]) if peg.size else np.zeros(0, bool)
    peg, other, rise, distance = peg[first], other[first], rise[first], distance[first]
    if drainage.size and peg.size:
        straight = shapely.shortest_line(pegs[peg], lips[other])
        crossed, _ = shapely.STRtree(drainage).query(straight, predicate="intersects")
        clear = np.ones(peg.size, dtype=bool)
        clear[crossed] = False
        peg, rise, distance = peg[clear], rise[clear], distance[clear]
    found = np.bincount(index[peg], minlength=count)
    asked = np.bincount(index, minlength=count)
    enough = (found > 0) & (found * 2 >= asked)
    with np.errstate(invalid="ignore", divide="ignore"):
        spacing = np.bincount(index[peg], weights=distance, minlength=count) / found
        interval = np.bincount(index[peg], weights=rise, minlength=count) / found
    return np.where(enough, spacing, np.nan), np.where(enough, interval, np.nan)
