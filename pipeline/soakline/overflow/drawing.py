"""Routes as lines on the ground: drawn from sill to end, heights never rising, and stations."""

import numba
import numpy as np
import numpy.typing as npt
import shapely

from soakline.grid import BoolArray, FloatArray
from soakline.overflow.ranking import Ways
from soakline.overflow.sills import Sill
from soakline.section.stations import IntArray, starts_of
from soakline.terrain.cells import GeometryArray
from soakline.terrain.ground import sample

# A way along cell centres is drawn straighter by at most this many cells.
_STRAIGHTEN_CELLS = 0.75


def drawn_lines(
    sills: list[Sill],
    paths: list[IntArray],
    sill_level_m: FloatArray,
    end_shapes: GeometryArray,
    swales: GeometryArray,
    ways: Ways,
) -> list[FloatArray]:
    """Lines from sills along cells to their ends, heights from the ground, never rising.

    Parameters
    ----------
    sills : where they begin, at least one
    paths : flat indices of the cells on each way down, at least one cell each
    sill_level_m : (sills,) m
    end_shapes : (sills,) line or point that each finishes on
    swales : lips of all swales, which no line is straightened across
    ways : Ways

    Returns
    -------
    for each (n, 3) easting, northing and height, m
    """
    grid = ways.grid
    lips = [ways.lines[sill.way.swale].coordinates for sill in sills]
    starts = shapely.line_interpolate_point(
        _lines(np.concatenate(lips), [len(lip) for lip in lips]),
        [sill.way.along_m for sill in sills],
    )
    row, column = np.divmod(np.concatenate(paths), grid.columns)
    centres = np.column_stack(grid.easting_northing(row.astype(float), column.astype(float)))
    cells = np.array([path.size for path in paths])
    arrived = centres[np.cumsum(cells) - 1]
    lasts = shapely.get_point(shapely.shortest_line(end_shapes, shapely.points(arrived)), 0)
    # The sill, then the cells; the point on the end stands for the last of them.
    first = starts_of(cells + 1)
    points = np.empty((first[-1], 2))
    meets = np.zeros(first[-1], dtype=bool)
    is_start = np.zeros(first[-1], dtype=bool)
    is_start[first[:-1]] = True
    points[~is_start] = centres
    points[is_start] = shapely.get_coordinates(starts)
    points[first[1:] - 1] = shapely.get_coordinates(lasts)
    meets[~is_start] = _meetings(paths)
    meets[first[1:] - 1] = False
    straight = _straightened(points, first, meets, _STRAIGHTEN_CELLS * grid.cell_m, swales)
    xy = shapely.get_coordinates(straight)
    first = starts_of(shapely.get_num_coordinates(straight).astype(np.int64))
    height = sample(ways.ground_m, grid, xy[:, 0], xy[:, 1])
    height[first[:-1]] = sill_level_m
    height[np.isnan(height)] = np.inf
    lines = np.split(np.column_stack([xy, height]), first[1:-1])
    for line in lines:
        np.minimum.accumulate(line[:, 2], out=line[:, 2])
    return lines


def _meetings(paths: list[IntArray]) -> BoolArray:
    """Whether paths come into a cell from several sides, or one begins on another; (cells,)."""
    cell = np.concatenate(paths)
    before = np.concatenate([np.append(-1, path[:-1]) for path in paths])
    distinct, place = np.unique(cell, return_inverse=True)
    into = np.unique(np.column_stack([place, before]), axis=0)[:, 0]
    several: BoolArray = np.bincount(into, minlength=distinct.size) > 1
    return several[place]


def _straightened(
    points: FloatArray,
    first: IntArray,
    fixed: BoolArray,
    tolerance_m: float,
    kept_off: GeometryArray,
) -> GeometryArray:
    """Lines with fewer points, ends and fixed points kept.

    Lines that run together from a fixed point on are drawn as one from there: straightened whole,
    each by its own way to that point, they would cross back and forth. What would come to cross one
    of the lines kept off, as past a swale's end on large cells, stays as it was.
    """
    twice = np.repeat(np.arange(fixed.size), 1 + fixed)
    begins = np.zeros(twice.size, dtype=bool)
    begins[np.searchsorted(twice, first[:-1])] = True
    begins[1:] |= twice[1:] == twice[:-1]
    whole = _lines(points[twice], np.diff(np.append(np.flatnonzero(begins), begins.size)))
    pieces = np.asarray(shapely.simplify(whole, tolerance_m, preserve_topology=False))
    met, other = shapely.STRtree(kept_off).query(pieces, predicate="intersects")
    crosses = met[~shapely.intersects(whole[met], kept_off[other])]
    pieces[crosses] = whole[crosses]
    xy, piece = shapely.get_coordinates(pieces, return_index=True)
    line = np.searchsorted(first, twice[begins], side="right")[piece]
    # A piece that goes on in its line begins with the point that the one before it ended on.
    again = np.append(False, (piece[1:] != piece[:-1]) & (line[1:] == line[:-1]))
    return _lines(xy[~again], np.bincount(line[~again] - 1))


def _lines(points: FloatArray, sizes: npt.ArrayLike) -> GeometryArray:
    """Lines of so many points each, one after the other."""
    count = np.asarray(sizes)
    lines = shapely.linestrings(points, indices=np.repeat(np.arange(count.size), count))
    return np.asarray(lines, dtype=np.object_)


@numba.njit(cache=True)
def stations_every(
    points: FloatArray, first: IntArray, spacing_m: float
) -> tuple[FloatArray, IntArray]:
    """Points about every so many metres along lines, both ends of each included.

    Parameters
    ----------
    points : (n, 2) easting and northing, line after line, m
    first : (lines + 1,) place of each line's first point, and the number of points
    spacing_m : m

    Returns
    -------
    (stations, 2) easting and northing, line after line, m; (lines + 1,) place of each line's first
    station, and the number of stations
    """
    along = np.zeros(points.shape[0])
    first_station = np.zeros_like(first)
    for i in range(first.size - 1):
        for j in range(first[i] + 1, first[i + 1]):
            east, north = points[j] - points[j - 1]
            along[j] = along[j - 1] + np.hypot(east, north)
        reaches = max(1, round(along[first[i + 1] - 1] / spacing_m))
        first_station[i + 1] = first_station[i] + reaches + 1
    stations = np.empty((first_station[-1], 2))
    for i in range(first.size - 1):
        to, last = first[i], first[i + 1] - 1
        step = along[last] / (first_station[i + 1] - first_station[i] - 1)
        for k in range(first_station[i], first_station[i + 1] - 1):
            at = (k - first_station[i]) * step
            while to < last and along[to] <= at:
                to += 1
            share = (at - along[to - 1]) / (along[to] - along[to - 1]) if step > 0.0 else 0.0
            stations[k] = points[to - 1] + share * (points[to] - points[to - 1])
        stations[first_station[i + 1] - 1] = points[last]
    return stations, first_station
