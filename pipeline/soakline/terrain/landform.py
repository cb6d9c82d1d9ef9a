"""Landform hints: ridge, valley, saddle or slope, from curvature at the swale's own scale."""

from typing import Literal

import numpy as np

from soakline.grid import FloatArray, Grid, GroundArray
from soakline.terrain.ground import sample

Landform = Literal["ridge", "valley", "slope", "saddle"]

# Curvature radius over the scale of the measure: gentler than this is plain hillside.
_MARKED = 0.1


def landforms(
    ground_m: GroundArray,
    grid: Grid,
    easting_m: FloatArray,
    northing_m: FloatArray,
    left_east: FloatArray,
    left_north: FloatArray,
    scale_m: FloatArray,
) -> list[Landform]:
    """Landform at the middle of each swale.

    Parameters
    ----------
    ground_m : (rows, columns) float32, m
    grid : Grid
    easting_m, northing_m : (n,) places
    left_east, left_north : (n,) unit vector uphill
    scale_m : (n,) distance over which curvature is measured: the swale's own spacing

    Returns
    -------
    list of n: along the contour the ground falls away on both sides on a ridge and rises on both in
    a valley; on a saddle it falls along the contour and rises across it, or the reverse
    """
    half = scale_m / 2.0

    def beside(east: FloatArray, north: FloatArray) -> FloatArray:
        return sample(ground_m, grid, easting_m + half * east, northing_m + half * north)

    here = sample(ground_m, grid, easting_m, northing_m)
    along = beside(left_north, -left_east) + beside(-left_north, left_east) - 2.0 * here
    across = beside(left_east, left_north) + beside(-left_east, -left_north) - 2.0 * here
    relief = np.maximum(
        np.abs(beside(left_east, left_north) - beside(-left_east, -left_north)), 0.1
    )
    found: list[Landform] = []
    for a, c in zip(along / relief, across / relief, strict=True):
        if np.isnan(a) or np.isnan(c) or abs(a) < _MARKED:
            found.append("slope")
        elif abs(c) > 1.0 and a * c < 0:
            found.append("saddle")
        else:
            found.append("ridge" if a < 0 else "valley")
    return found
