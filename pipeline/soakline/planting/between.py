"""Rows of trees on the ground between swales, along level lines."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from soakline.grid import BoolArray, FloatArray, Grid, GroundArray
from soakline.planting.first_fit import Mixtures, first_fit
from soakline.section.stations import IntArray, starts_of
from soakline.siting.contours import level_lines
from soakline.siting.lines import evenly
from soakline.terrain.cells import cells_of

# Rows of staggered trees lie as far apart as the height of a triangle of equal sides.
ROW_SHARE = np.sqrt(3.0) / 2.0
# Places are tried this far apart along a row.
_STEP_M = 0.5
# Rows are no nearer to each other in height: flatter ground has no level lines to plant by.
_LEAST_RISE_M = 0.05


@dataclass(frozen=True, eq=False, slots=True)
class BetweenGround:
    """Where trees may stand between swales.

    Parameters
    ----------
    grid : Grid
    ground_m : (rows, columns) float32, m
    owner : (rows, columns) int32; 1 + the swale that the ground drains to, 0 where none stands
    free : (rows, columns) bool; cells that no trunk is kept off
    """

    grid: Grid
    ground_m: GroundArray
    owner: npt.NDArray[np.int32]
    free: BoolArray


def row_levels(
    level_m: FloatArray, interval_m: FloatArray, slope_pct: FloatArray, crown_m: FloatArray
) -> FloatArray:
    """Levels of the rows above each swale, up to the next.

    Parameters
    ----------
    level_m : (swales,) m
    interval_m : (swales,) from a level to the next, m
    slope_pct : (swales,) mean across the line, %
    crown_m : (swales,) mean crown of what stands there, m

    Returns
    -------
    (n,) levels, each once, rising, m

    Examples
    --------
    Crowns of 4 m on 10 % ask for rows 3.46 m apart, 0.35 m in height: four between two swales.

    >>> row_levels(*(np.array([own]) for own in (100.0, 2.0, 10.0, 4.0))).round(2)
    array([100.4, 100.8, 101.2, 101.6])
    """
    rise = np.maximum(ROW_SHARE * crown_m * slope_pct / 100.0, _LEAST_RISE_M)
    parts = np.maximum((interval_m / rise).astype(np.int64), 1)
    lip = np.repeat(np.arange(parts.size), parts - 1)
    nth = np.arange(lip.size) - starts_of(parts - 1)[lip] + 1
    levels = level_m[lip] + nth * interval_m[lip] / parts[lip]
    # Swales of one level differ in slope: rows that all but meet are one.
    levels = np.unique(np.round(levels, 3))
    apart = np.concatenate([[True], np.diff(levels) >= 0.5 * rise.min(initial=np.inf)])
    return np.asarray(levels[apart[: levels.size]], dtype=float)


def stand_between(
    ground: BetweenGround,
    levels_m: FloatArray,
    mixtures: Mixtures,
    crown_m: FloatArray,
    standing: tuple[FloatArray, FloatArray, IntArray],
) -> tuple[IntArray, IntArray, FloatArray, FloatArray]:
    """Plant rows along level lines, each tree where it clears all that stand.

    Parameters
    ----------
    ground : BetweenGround
    levels_m : (n,) of the rows, m
    mixtures : of the swales
    crown_m : (species,) full-grown crown width, m
    standing : easting, northing and species of the trees beside the swales

    Returns
    -------
    (k,) swale, species, easting and northing of each new tree, row after row

    Notes
    -----
    Rows are planted one after the other, so that the trees of each come to stand in the gaps of the
    row before.
    """
    lines = level_lines(ground.ground_m, ground.grid, levels_m, ground.free & (ground.owner > 0))
    points = [evenly(line, _STEP_M) for own in lines for line in own if len(line) > 1]
    place = np.concatenate([np.zeros((0, 2)), *points])
    cell = cells_of(ground.grid, place[:, 0], place[:, 1])
    fits = (cell >= 0) & ground.free.ravel()[cell] & (ground.owner.ravel()[cell] > 0)
    place, lip = place[fits], ground.owner.ravel()[cell[fits]].astype(np.int64) - 1
    east, north, species = standing
    # What stands comes first, each species as a row of its own: as it cleared before, it does now.
    kinds = crown_m.size
    own = Mixtures(
        np.concatenate([np.arange(kinds), kinds + mixtures.start]),
        np.concatenate([np.arange(kinds), mixtures.species]),
    )
    found = first_fit(
        np.concatenate([east, place[:, 0]]),
        np.concatenate([north, place[:, 1]]),
        np.concatenate([species, kinds + lip]),
        own,
        crown_m,
    )[east.size :]
    new = found >= 0
    return lip[new], found[new], place[new, 0], place[new, 1]
