"""The ground: the DEM averaged over a small disc, and Horn's slope on it."""

import numba
import numpy as np
import numpy.typing as npt

from soakline.grid import FloatArray, Grid, GroundArray

HalfWidths = npt.NDArray[np.int64]

# 1 / 16 µm: finer than float32 from 0.5 m on; 2⁵³ of them are over 500,000 km.
_UNIT = 2.0**24


@numba.njit(cache=True, parallel=True)
def disc_mean(dem_m: GroundArray, half_width: HalfWidths) -> GroundArray:
    """Mean of the valid cells of a disc around each cell.

    Heights are summed in whole units of `_UNIT`, which a sum of floats holds exactly: so what has
    entered and left the disc before leaves no trace, and a row may start anywhere.

    Parameters
    ----------
    dem_m : (rows, columns) float32, m; NaN where not valid
    half_width : of `disc_half_widths`

    Returns
    -------
    (rows, columns) float32, m; NaN where the DEM is
    """
    rows, columns = dem_m.shape
    reach = half_width.size // 2
    out = np.full((rows, columns), np.nan, np.float32)
    for row in numba.prange(rows):
        total = 0.0
        count = 0
        # Fill the disc standing just left of the first column, then slide it along the row:
        # each step adds one cell and drops one per row of the disc.
        for column in range(-reach - 1, columns):
            for step in range(-reach, reach + 1):
                source = row + step
                if source < 0 or source >= rows:
                    continue
                wide = half_width[step + reach]
                enters = column + wide
                leaves = column - wide - 1
                if 0 <= enters < columns:
                    value = dem_m[source, enters]
                    if not np.isnan(value):
                        total += np.rint(value * _UNIT)
                        count += 1
                if 0 <= leaves < columns:
                    value = dem_m[source, leaves]
                    if not np.isnan(value):
                        total -= np.rint(value * _UNIT)
                        count -= 1
            if column >= 0 and count > 0 and not np.isnan(dem_m[row, column]):
                out[row, column] = total / count / _UNIT
    return out


def disc_half_widths(radius_cells: float) -> HalfWidths:
    """Half width, in whole cells, of each row of a disc.

    Parameters
    ----------
    radius_cells : radius in cells; cells whose centres lie within it belong to the disc

    Returns
    -------
    (2 r + 1,) int64 array from the northernmost row of the disc to the southernmost

    Examples
    --------
    >>> disc_half_widths(2.5)
    array([1, 2, 2, 2, 1])
    """
    reach = int(np.floor(radius_cells + 1e-9))
    steps = np.arange(-reach, reach + 1)
    half: HalfWidths = np.floor(np.sqrt(radius_cells**2 - steps**2) + 1e-9).astype(np.int64)
    return half


def mean_ground(dem_m: GroundArray, grid: Grid, smoothing_m: float) -> GroundArray:
    """Mean of the valid cells whose centres lie within half the smoothing length.

    Parameters
    ----------
    dem_m : (rows, columns) float32, m; NaN where not valid
    grid : Grid
    smoothing_m : diameter of the disc, m

    Returns
    -------
    (rows, columns) float32, m; NaN where the DEM is. The DEM itself where no other cell is near.
    """
    half_width = disc_half_widths(smoothing_m / 2.0 / grid.cell_m)
    if half_width.size == 1:
        return dem_m
    ground: GroundArray = disc_mean(dem_m, half_width)
    return ground


@numba.njit(cache=True, parallel=True)
def horn_slope_pct(ground_m: GroundArray, cell_m: float) -> GroundArray:
    """Slope by Horn's third-order finite difference.

    Parameters
    ----------
    ground_m : (rows, columns) float32, m; NaN where not valid
    cell_m : side of a cell, m

    Returns
    -------
    (rows, columns) float32, %; NaN where the ground is

    Notes
    -----
    Horn 1981, Proc. IEEE 69(1). A neighbour that is missing is taken from the one opposite,
    mirrored through the centre (a plane keeps its slope up to the edge). Both missing: a diagonal
    one lies where its two cardinal neighbours say, a cardinal one is level with the centre.
    """
    rows, columns = ground_m.shape
    out = np.full((rows, columns), np.nan, np.float32)
    for row in numba.prange(rows):
        window = np.empty((3, 3))
        for column in range(columns):
            centre = ground_m[row, column]
            if np.isnan(centre):
                continue
            for i in range(3):
                for j in range(3):
                    r, c = row + i - 1, column + j - 1
                    window[i, j] = np.nan
                    if 0 <= r < rows and 0 <= c < columns:
                        window[i, j] = ground_m[r, c]
            # Cardinal neighbours first: they tell where a corner of the DEM would lie.
            for i, j in ((0, 1), (1, 0), (1, 2), (2, 1), (0, 0), (0, 2), (2, 0), (2, 2)):
                if np.isnan(window[i, j]):
                    opposite = window[2 - i, 2 - j]
                    if not np.isnan(opposite):
                        window[i, j] = 2.0 * centre - opposite
                    elif i == 1 or j == 1:
                        window[i, j] = centre
                    else:
                        window[i, j] = window[i, 1] + window[1, j] - centre
            east = (
                window[0, 2] + 2 * window[1, 2] + window[2, 2]
                - window[0, 0] - 2 * window[1, 0] - window[2, 0]
            )  # fmt: skip
            north = (
                window[0, 0] + 2 * window[0, 1] + window[0, 2]
                - window[2, 0] - 2 * window[2, 1] - window[2, 2]
            )  # fmt: skip
            out[row, column] = 100.0 * np.sqrt(east * east + north * north) / (8.0 * cell_m)
    return out


@numba.njit(cache=True)
def bilinear(surface: GroundArray, row: float, column: float) -> float:
    """Value of a raster between cell centres; NaN outside or where any of the four cells is NaN.

    Parameters
    ----------
    surface : (rows, columns) float32
    row, column : fractional; whole numbers stand at cell centres

    Returns
    -------
    float, in the surface's own unit
    """
    rows, columns = surface.shape
    # No way out before the end: with one, each call counts references to the raster, which takes
    # longer than the rest of it.
    inside = 0.0 <= row <= rows - 1.0 and 0.0 <= column <= columns - 1.0
    top = min(int(row), rows - 2) if inside else 0
    left = min(int(column), columns - 2) if inside else 0
    down = row - top
    right = column - left
    upper = (1.0 - right) * surface[top, left] + right * surface[top, left + 1]
    lower = (1.0 - right) * surface[top + 1, left] + right * surface[top + 1, left + 1]
    value: float = (1.0 - down) * upper + down * lower if inside else np.nan
    return value


@numba.njit(cache=True)
def _sample(surface: GroundArray, row: FloatArray, column: FloatArray) -> FloatArray:
    out = np.empty(row.size)
    for i in range(row.size):
        out[i] = bilinear(surface, row[i], column[i])
    return out


def sample(
    surface: GroundArray, grid: Grid, easting: FloatArray, northing: FloatArray
) -> FloatArray:
    """Bilinear values of a raster at given places.

    Parameters
    ----------
    surface : (rows, columns) float32 on `grid`
    grid : Grid
    easting, northing : (n,) m

    Returns
    -------
    (n,) in the surface's own unit; NaN outside the grid or beside an invalid cell
    """
    row, column = grid.row_column(easting, northing)
    values: FloatArray = _sample(surface, np.ascontiguousarray(row), np.ascontiguousarray(column))
    return values
