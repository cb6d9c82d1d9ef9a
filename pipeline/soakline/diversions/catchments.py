"""Catchments with diversion drains in the ground: what a drain meets first goes to its swale.

A drain moves land from one catchment to another and changes nothing else. What a swale above it
has caught stays that swale's, and ways of overflow take no notice of drains, so the graph of swales
that spill into each other stays as it is: no circle can come of a drain, wherever its swale lies. A
drain never leads up to its swale either (`course` and `walk` see to it). Only two drains could send
water to each other; `receivers` sees to it that every chain of drains ends in a swale.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import networkx as nx
import numba
import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry.base import BaseGeometry

from soakline.diversions.diversion import NONE, Diversion
from soakline.grid import BoolArray, FloatArray, Grid
from soakline.siting.catchments import Catchments, burn_lines, count_labels
from soakline.terrain.cells import burn
from soakline.terrain.flow import Uint8Array
from soakline.terrain.paths import LabelArray, first_intercept

Window = tuple[slice, slice]


@dataclass(frozen=True, eq=False, slots=True)
class Surface:
    """A roof or paving and where its water goes.

    Parameters
    ----------
    name : as the features file has it
    shape : polygon
    swale : index of the swale that takes its water; `NONE` where none does
    diversion : index of the drain that starts at it or that its water meets; `NONE` without one
    """

    name: str
    shape: BaseGeometry
    swale: int
    diversion: int


@dataclass(frozen=True, eq=False, slots=True)
class Diverted:
    """Catchments of the swales, drains counted in.

    Parameters
    ----------
    catchments : of the swales; in `burnt` a drain's cells carry the label of its swale
    through : (rows, columns) int32; k + 1 where water comes to drain k first, 0 where to none
    own_m2 : (diversions,) land whose water comes to each drain first, m²
    catchment_m2 : (diversions,) the same with all drains that run into it: what passes its lower
        end, m²
    """

    catchments: Catchments
    through: LabelArray
    own_m2: FloatArray
    catchment_m2: FloatArray


def window_of(grid: Grid, bounds: npt.ArrayLike, room_m: float) -> tuple[Grid, Window]:
    """The part of a grid about some bounds.

    Parameters
    ----------
    grid : Grid
    bounds : west, south, east and north, m
    room_m : kept on all sides, m

    Returns
    -------
    Grid of the part, at least one cell, and the slices that cut it out of a raster
    """
    west, south, east, north = np.asarray(bounds, dtype=float)
    corner_row, corner_column = grid.row_column(
        np.array([west - room_m, east + room_m]), np.array([north + room_m, south - room_m])
    )
    top, bottom = np.clip(np.rint(corner_row), 0, grid.rows - 1).astype(int)
    left, right = np.clip(np.rint(corner_column), 0, grid.columns - 1).astype(int)
    part = Grid(
        rows=int(bottom - top + 1),
        columns=int(right - left + 1),
        west_m=grid.west_m + float(left) * grid.cell_m,
        north_m=grid.north_m - float(top) * grid.cell_m,
        cell_m=grid.cell_m,
        crs_wkt=grid.crs_wkt,
    )
    return part, (slice(int(top), int(bottom) + 1), slice(int(left), int(right) + 1))


def burn_beside(burnt: LabelArray, line: FloatArray, label: int, grid: Grid) -> None:
    """Add the cells of one line, 4-connected, to those that are burnt; taken cells stay.

    Parameters
    ----------
    burnt : (rows, columns) int32, changed in place
    line : (k, 2) or (k, 3) m
    label : positive
    grid : Grid
    """
    places = line[:, :2]
    bounds = [*places.min(axis=0), *places.max(axis=0)]
    part, window = window_of(grid, bounds, grid.cell_m)
    own = burn_lines([places], part) > 0
    seen = burnt[window]
    seen[own & (seen == 0)] = label


def burn_all(lips: LabelArray, swales: int, drains: Sequence[FloatArray], grid: Grid) -> LabelArray:
    """Cells of lips and drains in one raster; a shared cell is the lip's, then the first drain's.

    Parameters
    ----------
    lips : (rows, columns) int32; i + 1 on swale i
    swales : how many there are
    drains : (k, 2) or (k, 3) of each, m
    grid : Grid

    Returns
    -------
    (rows, columns) int32; i + 1 on swale i, swales + k + 1 on drain k, 0 elsewhere
    """
    burnt = lips.copy()
    for k, line in enumerate(drains):
        burn_beside(burnt, line, swales + k + 1, grid)
    return burnt


def passed_on(diversions: Sequence[Diversion], own: FloatArray) -> FloatArray:
    """Sum of each drain's own quantity and that of all drains that run into it.

    Parameters
    ----------
    diversions : k of them
    own : (k,) or (k, n)

    Returns
    -------
    same shape

    Raises
    ------
    ValueError
        If drains run in a circle: a defect of ours.
    """
    graph: nx.DiGraph[int] = nx.DiGraph()
    graph.add_nodes_from(range(len(diversions)))
    graph.add_edges_from((k, d.into) for k, d in enumerate(diversions) if d.into != NONE)
    if not nx.is_directed_acyclic_graph(graph):
        raise ValueError("diversion drains run in a circle")
    total = np.array(own, dtype=float)
    for k in nx.lexicographical_topological_sort(graph):
        if diversions[k].into != NONE:
            total[diversions[k].into] += total[k]
    return total


@numba.njit(cache=True, nogil=True)
def _resolve(
    label: LabelArray, burnt: LabelArray, through: LabelArray, gets: LabelArray, swales: int
) -> None:
    """Put the label of the swale that gets its water in the place of every drain's."""
    for row in range(label.shape[0]):
        for column in range(label.shape[1]):
            met = label[row, column]
            if met > swales:
                through[row, column] = met - swales
                label[row, column] = gets[met - swales - 1]
            if burnt[row, column] > swales:
                burnt[row, column] = gets[burnt[row, column] - swales - 1]


def divert(
    lips: Catchments,
    diversions: Sequence[Diversion],
    surfaces: Sequence[Surface],
    direction: Uint8Array,
    valid: BoolArray,
    grid: Grid,
) -> Diverted:
    """Catchments of swales with drains in the ground.

    Parameters
    ----------
    lips : first-intercept catchments of the lips alone
    diversions : each with the swale that its water comes to
    surfaces : hard surfaces; the cells whose centres they cover go where their water goes
    direction : (rows, columns) uint8
    valid : (rows, columns) bool; only these cells have an area
    grid : Grid

    Returns
    -------
    Diverted; areas and bypass sum to the valid area exactly

    Notes
    -----
    What runs on to a hard surface from above keeps its own way. Cells of a lip stay the lip's.
    """
    swales = lips.area_m2.size
    if not diversions and not surfaces:
        return Diverted(lips, np.zeros(grid.shape, np.int32), np.empty(0), np.empty(0))
    burnt = burn_all(lips.burnt, swales, [d.coordinates for d in diversions], grid)
    label = first_intercept(direction, burnt)
    through = np.zeros(grid.shape, np.int32)
    _resolve(label, burnt, through, np.array([d.swale + 1 for d in diversions], np.int32), swales)
    for surface in surfaces:
        if surface.swale == NONE:
            continue
        part, window = window_of(grid, shapely.bounds(surface.shape), grid.cell_m)
        own = burn(np.array([surface.shape], dtype=object), part)
        own &= valid[window] & (lips.burnt[window] == 0)
        label[window][own] = surface.swale + 1
        through[window][own] = surface.diversion + 1
    area = count_labels(label, valid, swales).astype(np.float64)
    own_m2 = count_labels(through, valid, len(diversions))[2:].astype(np.float64)
    area *= grid.cell_area_m2
    own_m2 *= grid.cell_area_m2
    resolved = Catchments(burnt, label, area[2:], float(area[0]))
    return Diverted(resolved, through, own_m2, passed_on(diversions, own_m2))
