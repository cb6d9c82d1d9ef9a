"""Ground as light and shade, coarse enough for a picture."""

import numpy as np

from soakline.grid import BoolArray, FloatArray, Grid, GroundArray

Bounds = tuple[float, float, float, float]

# Steepness, as rise over run, that nine tenths of the ground stay under once exaggerated: a plain
# shows its rises then and a mountain does not turn black.
_SHOWN_STEEPNESS = 0.5

# From where the light comes, degrees from north, and its share: a second, weaker light opens up
# slopes that run along the first.
_LIGHTS = ((315.0, 0.7), (30.0, 0.3))
_HEIGHT_DEG = 45.0


def ground_within(
    grid: Grid, ground_m: GroundArray, bounds: Bounds, pixels: int
) -> tuple[FloatArray, float, Bounds]:
    """Cut the ground to a window and coarsen it by block means.

    Parameters
    ----------
    grid : of `ground_m`
    ground_m : (rows, columns), m; NaN where not valid
    bounds : west, south, east, north of what is wanted, m; may reach beyond the grid
    pixels : most cells wanted along the longer side

    Returns
    -------
    ground : (r, c), m; NaN where a block has no valid cell
    cell_m : side of its cells, m
    bounds : its outer bounds, m, whole blocks
    """
    west, south, east, north = bounds
    first_row = max(0, int((grid.north_m - north) / grid.cell_m))
    last_row = min(grid.rows, int(np.ceil((grid.north_m - south) / grid.cell_m)))
    first_column = max(0, int((west - grid.west_m) / grid.cell_m))
    last_column = min(grid.columns, int(np.ceil((east - grid.west_m) / grid.cell_m)))
    rows, columns = last_row - first_row, last_column - first_column
    if rows < 1 or columns < 1:
        raise ValueError("the ground does not reach into the picture")

    block = int(max(1, np.ceil(max(rows, columns) / pixels)))
    # Whole blocks only: what is cut off at the south and east is under a block, a pixel or so.
    rows, columns = max(rows // block, 1), max(columns // block, 1)
    window = ground_m[
        first_row : first_row + rows * block, first_column : first_column + columns * block
    ]
    coarse = _block_means(window, block) if block > 1 else window.astype(np.float64)
    cell_m = grid.cell_m * block
    left, top = grid.west_m + first_column * grid.cell_m, grid.north_m - first_row * grid.cell_m
    return (
        coarse,
        cell_m,
        (left, top - coarse.shape[0] * cell_m, left + coarse.shape[1] * cell_m, top),
    )


def shade(ground_m: FloatArray, cell_m: float) -> FloatArray:
    """Brightness of lit ground.

    Parameters
    ----------
    ground_m : (rows, columns), m; NaN where not valid
    cell_m : side of a cell, m

    Returns
    -------
    (rows, columns), 0 dark to 1 bright, level ground at sin 45°; NaN where not valid
    """
    if min(ground_m.shape) < 2:
        return np.where(np.isfinite(ground_m), np.sin(np.radians(_HEIGHT_DEG)), np.nan)
    south, east = np.gradient(_with_neighbours(ground_m), cell_m)
    steep = np.hypot(south, east)[np.isfinite(ground_m)]
    common = float(np.quantile(steep, 0.9)) if steep.size else 0.0
    exaggeration = float(np.clip(_SHOWN_STEEPNESS / max(common, 1e-6), 0.5, 8.0))
    rise_north, rise_east = -south * exaggeration, east * exaggeration
    length = np.sqrt(1 + rise_north**2 + rise_east**2)
    height = np.radians(_HEIGHT_DEG)
    brightness = np.zeros_like(length)
    for azimuth_deg, share in _LIGHTS:
        azimuth = np.radians(azimuth_deg)
        towards = rise_north * np.cos(azimuth) + rise_east * np.sin(azimuth)
        lit = (np.sin(height) - np.cos(height) * towards) / length
        brightness += share * np.clip(lit, 0, 1)
    return np.where(np.isfinite(ground_m), brightness, np.nan)


def _block_means(window: GroundArray, block: int) -> FloatArray:
    rows, columns = window.shape[0] // block, window.shape[1] // block
    coarse = np.empty((rows, columns))
    for row in range(rows):  # a band at a time, so that no copy of the whole ground is made
        band = window[row * block : (row + 1) * block].astype(np.float64)
        cells = band.reshape(block, columns, block)
        valid: BoolArray = np.isfinite(cells)
        count = valid.sum(axis=(0, 2))
        total = np.where(valid, cells, 0.0).sum(axis=(0, 2))
        coarse[row] = np.where(count > 0, total / np.maximum(count, 1), np.nan)
    return coarse


def _with_neighbours(ground_m: FloatArray) -> FloatArray:
    """Give cells without a value that of a neighbour, so that the ground's edges are shaded too."""
    filled = ground_m.copy()
    for axis in (0, 1):
        for step in (1, -1):
            neighbour = np.roll(filled, step, axis)
            edge = [slice(None), slice(None)]
            edge[axis] = slice(0, 1) if step == 1 else slice(-1, None)
            neighbour[tuple(edge)] = np.nan
            filled = np.where(np.isfinite(filled), filled, neighbour)
    return filled
