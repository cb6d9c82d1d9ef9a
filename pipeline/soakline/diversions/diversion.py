"""A diversion drain: the line that is dug, and where its water goes."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from soakline.grid import FloatArray, Grid, GroundArray
from soakline.terrain.ground import sample

NONE = -1


@dataclass(frozen=True, eq=False, slots=True)
class Diversion:
    """One drain, drawn downhill.

    Parameters
    ----------
    name : as the features file has it; a traced one is named after its hard surface
    source : `given` or `traced`
    coordinates : (n, 3) easting, northing and the water's way down, m; heights never rise
    swale : index of the swale that its water comes to in the end
    into : index of the diversion that it runs into; `NONE` where it comes to the swale by itself
    ground_min_m, ground_max_m : ground minus the drain's level, lowest and highest along it, m
    """

    name: str
    source: Literal["given", "traced"]
    coordinates: FloatArray
    swale: int
    into: int
    ground_min_m: float
    ground_max_m: float

    @property
    def length_m(self) -> float:
        return float(np.hypot(*np.diff(self.coordinates[:, :2], axis=0).T).sum())

    @property
    def drop_m(self) -> float:
        return float(self.coordinates[0, 2] - self.coordinates[-1, 2])

    @property
    def grade(self) -> float:
        """Mean fall along the drain, m/m."""
        return self.drop_m / self.length_m

    @property
    def grade_pct(self) -> float:
        return 100.0 * self.grade


def distances_m(coordinates: FloatArray) -> FloatArray:
    """Distance of each vertex from the first, along the line in plan, m."""
    steps = np.hypot(*np.diff(coordinates[:, :2], axis=0).T)
    return np.concatenate([[0.0], np.cumsum(steps)])


def dense(coordinates: FloatArray, step_m: float) -> tuple[FloatArray, FloatArray]:
    """A line with places added between its vertices.

    Parameters
    ----------
    coordinates : (n, 2) or (n, 3) m
    step_m : longest step, m

    Returns
    -------
    (k,) distance along the line, m, and (k, 2) or (k, 3) m; the vertices are among them
    """
    along = distances_m(coordinates)
    even = np.linspace(0.0, along[-1], int(np.ceil(along[-1] / step_m)) + 1)
    at = np.union1d(along, even)
    return at, np.column_stack([np.interp(at, along, axis) for axis in coordinates.T])


def ground_beside(
    coordinates: FloatArray, ground_m: GroundArray, grid: Grid
) -> tuple[float, float]:
    """Lowest and highest ground minus level along a drain, m.

    Parameters
    ----------
    coordinates : (n, 3) easting, northing and level, m
    ground_m : (rows, columns) float32, m
    grid : Grid
    """
    _, places = dense(coordinates, grid.cell_m / 2.0)
    above = sample(ground_m, grid, places[:, 0], places[:, 1]) - places[:, 2]
    return float(np.nanmin(above)), float(np.nanmax(above))
