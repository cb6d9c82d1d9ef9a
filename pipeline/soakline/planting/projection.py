"""Sight lines from the tops of trees to the swale above: the tree-height projection."""

from dataclasses import dataclass

import numpy as np
import shapely

from soakline.grid import FloatArray
from soakline.section.stations import IntArray
from soakline.terrain.cells import GeometryArray

# The neighbour above is looked for between these shares of H higher, and within so many spacings.
_LEAST, _MOST = 0.25, 1.5


@dataclass(frozen=True, eq=False, slots=True)
class Projection:
    """Pairs of neighbouring swales, in order of the upper one and then of the lower; all (n,).

    Parameters
    ----------
    above, below : index of each swale
    start, end : (n, 2) where they are nearest: on the lower lip and on the upper one, m
    distance_m : between them in plan
    drop_m : of the upper level down to the lower one
    """

    above: IntArray
    below: IntArray
    start: FloatArray
    end: FloatArray
    distance_m: FloatArray
    drop_m: FloatArray


def neighbours(
    lips: GeometryArray,
    level_m: FloatArray,
    tree_height_m: FloatArray,
    slope_pct: FloatArray,
    drainage: GeometryArray,
) -> Projection:
    """Pair each swale with those that follow above it.

    Parameters
    ----------
    lips : (swales,) lines, flat
    level_m : (swales,) m
    tree_height_m, slope_pct : (swales,) H and mean slope across the lip
    drainage : lines of flowing water; no pair is seen across one

    Returns
    -------
    Projection: swales 0.25 H to 1.5 H higher within 1.5 H / tan(slope), as the measured spacing has
    it, where the straight line between meets no other lip and no drainage line
    """
    reach = _MOST * tree_height_m * 100.0 / np.maximum(slope_pct, 0.1)
    tree = shapely.STRtree(lips)
    below, above = tree.query(lips, predicate="dwithin", distance=reach)
    rise = level_m[above] - level_m[below]
    height = tree_height_m[below]
    fits = (rise >= _LEAST * height - 1e-9) & (rise <= _MOST * height + 1e-9)
    below, above = below[fits], above[fits]
    between = np.asarray(shapely.shortest_line(lips[below], lips[above]), dtype=np.object_)
    met, other = tree.query(between, predicate="intersects")
    in_way = met[(other != below[met]) & (other != above[met])]
    crossed = shapely.STRtree(drainage).query(between, predicate="intersects")[0]
    clear = np.ones(below.size, dtype=bool)
    clear[in_way] = False
    clear[crossed] = False
    below, above, between = below[clear], above[clear], between[clear]
    order = np.lexsort((below, above))
    below, above, between = below[order], above[order], between[order]
    ends = shapely.get_coordinates(between).reshape(-1, 2, 2)
    return Projection(
        above,
        below,
        ends[:, 0],
        ends[:, 1],
        shapely.length(between),
        level_m[above] - level_m[below],
    )
