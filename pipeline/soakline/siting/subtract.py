"""Many shapes less large ones that they meet, in time that does not grow with their product.

One polygon may lie over half the property, as steep ground and the drainage lines of a whole valley
do. What is near each shape is cut out of it by halves: first out of all of it for half of the
shapes, then out of that part for a quarter, and so on.
"""

from collections.abc import Iterator

import numpy as np
import shapely

from soakline.grid import FloatArray
from soakline.inputs.types import IndexArray
from soakline.terrain.cells import GeometryArray

# With fewer corners or boxes it is quicker to cut each box out of the whole.
_FEW_CORNERS = 1000
_FEW_BOXES = 4


def less(geometry: GeometryArray, claimed: GeometryArray) -> GeometryArray:
    """Each geometry less whatever of the claimed ground it meets.

    Parameters
    ----------
    geometry, claimed : (n,) and (m,) polygons
    """
    if geometry.size == 0 or claimed.size == 0:
        return geometry
    # What a tree is asked with is prepared: the fewer and larger geometries are, the more it pays.
    if claimed.size < geometry.size:
        other, which = shapely.STRtree(geometry).query(claimed, predicate="intersects")
    else:
        which, other = shapely.STRtree(claimed).query(geometry, predicate="intersects")
    meets = np.empty(which.size, dtype=object)
    boxes = shapely.bounds(geometry[which])
    for pairs in _by_value(other):
        whole = claimed[other[pairs[0]]]
        meets[pairs] = _cut_out(whole, boxes[pairs], _longest_edge(whole))
    out = geometry.copy()
    for pairs in _by_value(which):
        index = which[pairs[0]]
        out[index] = shapely.difference(geometry[index], shapely.union_all(meets[pairs]))
    return out


def _by_value(values: IndexArray) -> Iterator[IndexArray]:
    """Places of each value that occurs, in order."""
    order = np.argsort(values, kind="stable")
    starts = np.flatnonzero(np.diff(values[order], prepend=-1))
    yield from np.split(order, starts)[1:]


def _longest_edge(polygon: shapely.Polygon) -> float:
    places, ring = shapely.get_coordinates(shapely.get_rings(polygon), return_index=True)
    length = np.hypot(*np.diff(places, axis=0).T)
    return float(length[np.diff(ring) == 0].max())


def _cut_out(polygon: shapely.Geometry, boxes: FloatArray, edge: float) -> GeometryArray:
    """What lies in each of some boxes.

    Parameters
    ----------
    polygon : what is left of it about the boxes
    boxes : (n, 4) west, south, east and north
    edge : its longest edge. Where that much is left about the boxes, every edge that comes into one
        is whole, so the cut is to the bit what it would be out of the whole polygon
    """
    out = np.empty(len(boxes), dtype=object)
    if len(boxes) < _FEW_BOXES or shapely.get_num_coordinates(polygon) < _FEW_CORNERS:
        out[:] = [shapely.clip_by_rect(polygon, *box) for box in boxes]
        return out
    middle = boxes[:, :2] + boxes[:, 2:]
    along = int(np.ptp(middle, axis=0).argmax())
    for half in np.array_split(np.argsort(middle[:, along], kind="stable"), 2):
        low, high = boxes[half, :2].min(axis=0) - edge, boxes[half, 2:].max(axis=0) + edge
        out[half] = _cut_out(shapely.clip_by_rect(polygon, *low, *high), boxes[half], edge)
    return out
