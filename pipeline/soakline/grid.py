"""The one grid type: only here do rows and columns become metres."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from affine import Affine

FloatArray = npt.NDArray[np.float64]
GroundArray = npt.NDArray[np.float32]
BoolArray = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Grid:
    """A north-up raster of square cells in a projected CRS with metres.

    Row 0 is the northernmost, column 0 the westernmost. A cell's value stands at its centre.

    Parameters
    ----------
    rows, columns : number of cells
    west_m, north_m : outer corner of the cell (0, 0), in the CRS
    cell_m : side of a cell, m
    crs_wkt : the CRS as WKT
    """

    rows: int
    columns: int
    west_m: float
    north_m: float
    cell_m: float
    crs_wkt: str

    @property
    def shape(self) -> tuple[int, int]:
        return self.rows, self.columns

    @property
    def cells(self) -> int:
        return self.rows * self.columns

    @property
    def cell_area_m2(self) -> float:
        return self.cell_m * self.cell_m

    @property
    def transform(self) -> Affine:
        return Affine(self.cell_m, 0.0, self.west_m, 0.0, -self.cell_m, self.north_m)

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """West, south, east and north, m."""
        return (
            self.west_m,
            self.north_m - self.rows * self.cell_m,
            self.west_m + self.columns * self.cell_m,
            self.north_m,
        )

    def row_column(
        self, easting: FloatArray, northing: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """Fractional row and column; whole numbers stand at cell centres."""
        row = (self.north_m - np.asarray(northing)) / self.cell_m - 0.5
        column = (np.asarray(easting) - self.west_m) / self.cell_m - 0.5
        return row, column

    def easting_northing(
        self, row: FloatArray, column: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """Inverse of `row_column`: the place of a fractional row and column, m."""
        easting = self.west_m + (np.asarray(column) + 0.5) * self.cell_m
        northing = self.north_m - (np.asarray(row) + 0.5) * self.cell_m
        return easting, northing
